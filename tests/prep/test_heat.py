"""Heat in the main job: drift from taped marks, the aluminium assumption, and maps that mix temperatures."""

import math
from collections.abc import Sequence

import numpy as np
import pytest

from tapehook.finding import DEPTH_USED_UNIT
from tapehook.job import Job, Reading
from tapehook.job.records import Method
from tests.prep.causes import assert_raised_with_cause_only, found
from tests.prep.jobs import BOTH, a_job, a_lens, read_off, true_position

KAPPA = -4e-4
"""Dioptres a kelvin: for the 50 mm a sensor that comes to lie a micrometre farther back with each."""


def _at(
    temperature_c: float,
    *,
    kappa: float = KAPPA,
    distances_m: Sequence[float] = (1.0, 4.0, math.inf),
    noise_deg: float = 0.03,
    method: Method = "taped",
    seed: int = 5,
) -> list[Reading]:
    """Marks found at a temperature, the ring off by the drift from 20 degrees, both ways."""
    rng = np.random.default_rng(seed + int(temperature_c))
    found = []
    for way, ahead in zip(BOTH, (-0.1, 0.1), strict=True):
        for distance in distances_m:
            q = (0.0 if math.isinf(distance) else 1.0 / (distance - 0.041)) + kappa * (temperature_c - 20.0)
            position = float(true_position(0.041 + 1.0 / q if q else math.inf)) + ahead + rng.normal(0.0, noise_deg)
            found.append(
                Reading(
                    lens_id="L1",
                    value=distance,
                    position=position,
                    approach=way,
                    method=method,
                    temperature_c=temperature_c,
                )
            )
    return found


def _warm(readings: Sequence[Reading], temperature_c: float = 20.0) -> list[Reading]:
    return [one.model_copy(update={"temperature_c": temperature_c}) for one in readings]


PLAIN = read_off()
MEASURED = a_job(readings=[*_warm(PLAIN), *_at(0.0), *_at(40.0)])
CASES: dict[str, tuple[Job, Job]] = {
    "heat.drift": (MEASURED, a_job(readings=_warm(PLAIN))),
    "heat.mixed": (MEASURED, a_job(readings=_warm(PLAIN))),
    "heat.engraved_only": (
        a_job(readings=[*_warm(PLAIN), *_warm(read_off(seed=2), 30.0)]),
        a_job(readings=_warm(PLAIN)),
    ),
    "heat.assumed": (a_job(shoot_temperature_c=-10.0), a_job()),
}
"""Finding code: a job that raises it, and one like it that does not."""


@pytest.mark.parametrize("code", CASES)
def test_finding_is_raised_with_cause_only(code: str) -> None:
    """The lens that has the trouble has the finding, in sentences; the one beside it does not."""
    assert_raised_with_cause_only(code, *CASES[code])


def test_drift_comes_back_within_its_spread() -> None:
    """A micrometre a kelvin, planted, comes back as such: sensor too far back, within the +- that is said."""
    (finding,) = found(MEASURED, "heat.drift")
    assert finding.figure is not None
    assert finding.figure.unit == "um/K"
    assert finding.figure.plus_minus is not None
    assert finding.figure.value == pytest.approx(1.0, abs=finding.figure.plus_minus)
    assert finding.figure.plus_minus < 0.3
    assert "too far back" in finding.message
    assert "infinity mark moves" in finding.message


def test_drift_on_the_shoot_is_a_share_at_a_stop() -> None:
    """At -10 degrees, 30 K below a map at 20: 30 um over N c of 3.6 x 24.5 um, 34 % at T4, by hand."""
    job = MEASURED.model_copy(update={"shoot_temperature_c": -10.0})
    (finding,) = found(job, "heat.drift")
    assert finding.figure is not None
    assert (finding.figure.unit, finding.figure.stop) == (DEPTH_USED_UNIT, "T4")
    blur_um = math.sqrt(25.0**2 - 5.0**2)
    assert finding.figure.value == pytest.approx(100 * 30 / (3.6 * blur_um), abs=finding.figure.plus_minus or 0)
    assert "30 K below" in finding.message


def test_far_outside_what_was_measured_is_said() -> None:
    """A drift from 15 and 25 degrees says little about 60."""
    job = a_job(readings=[*_warm(PLAIN), *_at(15.0), *_at(25.0)], shoot_temperature_c=60.0)
    (finding,) = found(job, "heat.drift")
    assert "far outside" in finding.next_step


def test_no_drift_is_said_to_be_none() -> None:
    """Marks that stay where they were say that none can be told, with how much could have hidden."""
    (finding,) = found(a_job(readings=[*_warm(PLAIN), *_at(0.0, kappa=0.0), *_at(40.0, kappa=0.0)]), "heat.drift")
    assert finding.message.startswith("No drift")


def test_aluminium_is_an_assumption_with_its_figure() -> None:
    """From 20 to -10 degrees 52 mm of aluminium shrink by 36 um (23.1e-6 x 0.052 x 30): too near, 41 % at T4."""
    (finding,) = found(CASES["heat.assumed"][0], "heat.assumed")
    assert "Assumption" in finding.message
    assert "36 µm too near" in finding.message
    assert finding.figure is not None
    assert finding.figure.value == pytest.approx(100 * 36.04 / (3.6 * math.sqrt(25.0**2 - 5.0**2)), abs=0.5)
    assert finding.severity == "info"


def test_aluminium_starts_from_the_temperature_of_the_map() -> None:
    """A map read at 5 degrees and shot at 5 degrees needs no assumption."""
    assert not found(a_job(readings=_warm(PLAIN, 5.0), shoot_temperature_c=5.0), "heat.assumed")


def test_mixing_a_little_is_let_be() -> None:
    """Three kelvin between readings are nothing to speak of."""
    assert not found(a_job(readings=[*_warm(PLAIN), *_at(23.0)]), "heat.mixed")


def test_a_lens_without_a_map_does_without() -> None:
    """Temperatures on readings too few for a map raise no figure and no error."""
    job = a_job([a_lens()], _at(0.0, distances_m=(1.0,)), shoot_temperature_c=0.0)
    assert not found(job, "heat.drift")
