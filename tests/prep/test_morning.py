"""The morning check in the main job: shifts planted in three lenses come back, and the kit is judged by them."""

import math

import numpy as np
import pytest

from tapehook.job import Job
from tapehook.prep import Prep, prepare
from tapehook.prep.morning import Check, Morning, NoCheck, morning_check
from tests.prep.jobs import a_job, a_lens, read_off, true_position

IDS = ("L1", "L2", "L3", "L4")
PIVOT_M = 0.041 + 0.05 / 1.15
"""From the image plane to the front focal point, where a shift of the sensor is the same at every distance."""


def _kit(**job: object) -> Prep:
    lenses = [a_lens(name, serial=name) for name in IDS]
    readings = [one for name in IDS for one in read_off(lens_id=name, noise_deg=0.02)]
    made: Job = a_job(lenses, readings)
    return prepare(made.model_copy(update={"shooting_stop": "T2.8", **job}))


def _check(name: str, shift_um: float, distance_m: float = 3.0) -> Check:
    """Where the ring stands sharp with the sensor so far back: 1/x - delta/f^2 from the front focal point."""
    q = (0.0 if math.isinf(distance_m) else 1.0 / (distance_m - PIVOT_M)) - shift_um * 1e-6 / 0.05**2
    return Check(name, distance_m, float(true_position(PIVOT_M + 1.0 / q)))


def _judge(shifts_um: dict[str, float], prep: Prep | None = None) -> Morning:
    return morning_check(prep or _kit(), [_check(name, um) for name, um in shifts_um.items()])


def test_planted_shifts_come_back() -> None:
    """Within the noise of the map: the right way round, in micrometres."""
    found = _judge({"L1": 10.0, "L2": 12.0, "L3": -14.0})
    assert [1e6 * one.shift_m for one in found.checked] == pytest.approx([10.0, 12.0, -14.0], abs=2.0)
    far = morning_check(_kit(), [_check(name, -10.0, math.inf) for name in IDS[:3]])
    assert [1e6 * one.shift_m for one in far.checked] == pytest.approx([-10.0] * 3, abs=2.0)


def test_a_kit_that_moved() -> None:
    """All alike, 40 micrometres too near: said with its figure, stop and next step, of the lens nobody checked."""
    found = _judge({"L1": -40.0, "L2": -41.0, "L3": -39.0})
    assert found.finding.code == "morning.moved"
    assert "too near" in found.finding.message
    assert found.worst_id == "L4"
    assert found.finding.figure is not None
    assert found.finding.figure.stop == "T2.8"
    assert found.worst_used is not None
    assert found.finding.severity == ("fix" if found.worst_used >= 1 else "watch")


def test_a_chart_that_all_share_leaves_its_tape_on_the_mean() -> None:
    """Found on one chart the kit is less sure than on four at nearly the same place; by the tape, by hand.

    Four lenses share 3 mm and 3 mm a metre of tape, sqrt(4^2 - 4) / 4 of it in micrometres on the mean: (q f)^2 sd.
    """
    apart = morning_check(_kit(), [_check(name, 0.0, 1.0 + k * 1e-4) for k, name in enumerate(IDS)]).kit
    alike = morning_check(_kit(), [_check(name, 0.0, 1.0) for name in IDS]).kit
    tape_m = np.hypot(3e-3, 3e-3) * (0.05 / (1.0 - PIVOT_M)) ** 2
    more = 1.96 * tape_m * np.sqrt(12.0) / 4.0
    assert np.sqrt(alike.mean_plus_minus_m**2 - apart.mean_plus_minus_m**2) == pytest.approx(more, rel=0.02)


def test_a_kit_that_came_through() -> None:
    """Nothing planted, at a stop small enough for three checks to tell."""
    found = _judge({"L1": 0.0, "L2": 0.0, "L3": 0.0}, _kit(shooting_stop="T16"))
    assert found.finding.code == "morning.fine"
    assert found.finding.severity == "info"


def test_lenses_that_differ_cannot_tell() -> None:
    """Each its own way: nothing is said of the others but that."""
    found = _judge({"L1": 30.0, "L2": -30.0, "L3": 5.0})
    assert found.finding.code == "morning.apart"
    assert "cannot tell" in found.finding.message


@pytest.mark.parametrize(
    "checks, said",
    [
        ([Check("L9", 3.0, 10.0)] * 3, "the id of a lens"),
        ([Check("L1", 3.0, 10.0), Check("L2", 3.0, 10.0), Check("L2", 3.0, 11.0)], "3 lenses or more"),
        ([Check("L1", 0.1, 10.0), Check("L2", 3.0, 10.0), Check("L3", 3.0, 11.0)], "no nearer than its map"),
    ],
)
def test_what_says_nothing_is_refused(checks: list[Check], said: str) -> None:
    """A lens nobody knows, two lenses, a chart nearer than the map."""
    with pytest.raises(NoCheck) as refused:
        morning_check(_kit(), checks)
    assert said in refused.value.expected


def test_heat_accounts_for_its_part() -> None:
    """With a drift measured on the lens, and a temperature now, what it makes of it stands beside the check."""
    cold, warm = (read_off(lens_id="L1", method="taped", noise_deg=0.01) for _ in range(2))
    apart = [one.model_copy(update={"temperature_c": 20.0}) for one in cold]
    apart += [one.model_copy(update={"temperature_c": 0.0, "position": one.position - 0.5}) for one in warm]
    readings = [*apart, *(one for name in IDS[1:] for one in read_off(lens_id=name, noise_deg=0.02))]
    prep = prepare(a_job([a_lens(name, serial=name) for name in IDS], readings))
    found = morning_check(prep, [_check(name, 0.0) for name in IDS[:3]], 0.0)
    heat = [one.heat_m for one in found.checked]
    assert heat[0] is not None
    assert heat[0] > 0
    assert heat[1:] == [None, None]
