"""The demo plan against a simulation of its own: spectra cut into slices, every power added in milliwatts.

Nothing of the planner's is used but the plan and the places: losses, spectra and receivers are written out here. The
receiver passes its own channel whole and weakens what lies beside it by the rejection the standard tests.
"""

import math
from pathlib import Path

import numpy as np
import numpy.typing as npt
import pytest

import tapehook
from tapehook.job import Job, read_job
from tapehook.prep.radio import RadioPrep, plan_radio
from tapehook.radio.links import links_of

DEMO = Path(tapehook.__file__).parent / "demo_job"
SLICE_MHZ = 0.02
PROTECTION_DB, SENSITIVITY_DBM, BODY_DB, SENT_DBM, WIFI_DBM = 6.0, -85.0, 10.0, 10.0, 20.0
ADJACENT_DB, ALTERNATE_DB, OTHER_BAND_DB = 0.0, 30.0, 50.0
Floats = npt.NDArray[np.float64]


def free_space_mw(sent_dbm: float, frequency_mhz: float, distance_m: float) -> float:
    """Power that arrives, by the exact formula: (lambda / 4 pi d)^2."""
    wave_m = 299.792458 / frequency_mhz
    return float(10 ** (sent_dbm / 10) * (wave_m / (4 * math.pi * distance_m)) ** 2)


def street_mw(sent_dbm: float, frequency_mhz: float, distance_m: float) -> float:
    """Wanted power in sight, ITU-R P.1411 table 4, or free space where that is less."""
    loss_db = 21.2 * math.log10(distance_m) + 29.2 + 21.1 * math.log10(frequency_mhz / 1000)
    return min(float(10 ** ((sent_dbm - loss_db) / 10)), free_space_mw(sent_dbm, frequency_mhz, distance_m))


def spectrum(centre_mhz: float, width_mhz: float, at_mhz: Floats, *, wifi: bool) -> Floats:
    """Share of the power in each slice: even over the width, or the mask of 20 MHz OFDM."""
    apart = np.abs(at_mhz - centre_mhz)
    if not wifi:
        return np.where(apart <= width_mhz / 2, SLICE_MHZ / width_mhz, 0.0)
    level_db = np.interp(apart, [0, 9, 10, 11, 20, 30], [0, 0, -10, -20, -28, -40])
    return np.asarray(10 ** (level_db / 10) * SLICE_MHZ / width_mhz)


def counted_mw(own: tuple[float, float, float], other: tuple[float, float], power_mw: float, *, wifi: bool) -> float:
    """What a receiver on ``own`` (centre, width, spacing) takes of a sender at ``other`` (centre, width)."""
    centre, width, spacing = own
    apart = abs(other[0] - centre)
    at = np.arange(centre - width / 2 + SLICE_MHZ / 2, centre + width / 2, SLICE_MHZ)
    inside = min(1.0, float(spectrum(*other, at, wifi=wifi).sum()))
    top = min(other[0] + other[1] / 2, centre + width / 2)
    overlap = max(0.0, top - max(other[0] - other[1] / 2, centre - width / 2))
    steps = max(0.0, apart - max(0.0, other[1] - width) / 2) / spacing
    rejected_db = OTHER_BAND_DB if apart >= 100 else ADJACENT_DB if steps < 1.5 else ALTERNATE_DB
    # As tested: a wanted signal 3 dB above sensitivity bears a sender of that strength and the rejection.
    beside = (1 - overlap / other[1]) / (2 * 10 ** ((rejected_db + PROTECTION_DB) / 10))
    return power_mw * (inside + beside)


def simulated_db(prep: RadioPrep) -> dict[str, list[float]]:
    """Margins of every link, hand unit to camera first, as the demo job stands: cameras 5 m apart, hands 30 m off."""
    letters = sorted(prep.plan.channels)
    own = {one: (c.centre_mhz, c.width_mhz, c.spacing_mhz) for one, c in prep.plan.channels.items()}
    camera = {one: (5.0 * at, 0.0) for at, one in enumerate(letters)}
    hand = {one: (5.0 * at, 30.0) for at, one in enumerate(letters)}
    found: dict[str, list[float]] = {}
    for letter in letters:
        found[letter] = []
        for sender, end in ((hand, camera), (camera, hand)):
            here = end[letter]
            wanted = street_mw(SENT_DBM - BODY_DB, own[letter][0], math.dist(sender[letter], here))
            total = 10 ** ((SENSITIVITY_DBM - PROTECTION_DB) / 10)
            for other in letters:
                if other != letter:
                    places = (hand[other], camera[other])
                    arriving = max(free_space_mw(SENT_DBM, own[other][0], math.dist(one, here)) for one in places)
                    total += counted_mw(own[letter], own[other][:2], arriving, wifi=False)
            stage = free_space_mw(WIFI_DBM, 2437.0, math.dist((30.0, 10.0), here))
            total += counted_mw(own[letter], (2437.0, 20.0), stage, wifi=True)
            found[letter].append(10 * math.log10(wanted / total) - PROTECTION_DB)
    return found


def with_more(job: Job) -> Job:
    """The demo with a fourth and fifth camera, so that channels get close."""
    model = job.radios[0]
    more = [model.model_copy(update={"id": f"hand unit {one}", "camera": one}) for one in "DE"]
    cameras = tuple(job.cameras[0].model_copy(update={"letter": one}) for one in "DE")
    return job.model_copy(update={"radios": (*job.radios, *more), "cameras": (*job.cameras, *cameras)})


@pytest.mark.parametrize("crowded", [False, True])
def test_stated_margins_are_within_1_db_of_the_simulation(crowded: bool) -> None:
    """Each link of each camera of the demo plan, and of the demo with two more cameras."""
    job = read_job(DEMO)
    prep = plan_radio(with_more(job) if crowded else job)
    simulated = simulated_db(prep)
    stated = links_of(prep.air, prep.plan.channels)
    assert stated.keys() == simulated.keys()
    for letter, links in stated.items():
        assert [one.margin_db for one in links] == pytest.approx(simulated[letter], abs=1.0)
        assert prep.plan.margin_db[letter] == pytest.approx(min(simulated[letter]), abs=1.0)


def test_the_simulation_would_notice_another_channel() -> None:
    """Camera A on B's channel: its simulated margin falls by far more than 1 dB, so agreement says something."""
    job = read_job(DEMO)
    prep = plan_radio(job)
    good = simulated_db(prep)["A"]
    clash = {one: ("2450" if one != "C" else "868", c.number) for one, c in prep.plan.channels.items()}
    judged = plan_radio(job, judge=clash | {"A": clash["B"]})
    bad = simulated_db(judged)["A"]
    assert min(good) - min(bad) > 10.0
    assert judged.plan.margin_db["A"] == pytest.approx(min(bad), abs=1.0)
