"""Minutes left: the order of the outstanding tests, what fits, and what is said not to be tested."""

from hypothesis import given
from hypothesis import strategies as st

from tapehook.job import ChartTest
from tapehook.prep import Prep, prepare
from tapehook.prep.minutes_left import MINUTES, not_tested, open_tests
from tests.prep.jobs import a_job, a_lens, read_off


def _kit() -> Prep:
    """L1 read both ways, L2 one way only, L3 not at all, L4 wide and fast without charts, L5 with them."""
    fast = {"focal_mm": 24.0, "t_stop": 1.3, "pupil_to_sensor_mm": 90.0, "pupil_magnification": 1.8}
    lenses = [a_lens(), a_lens("L2"), a_lens("L3", serial=None), a_lens("L4", **fast), a_lens("L5")]
    readings = [
        *read_off(noise_deg=0.02),
        *read_off(lens_id="L2", ways=("near_to_far",), noise_deg=0.02),
        *read_off(lens_id="L4", noise_deg=0.02),
        *read_off(lens_id="L5", noise_deg=0.02),
    ]
    charts = [ChartTest(lens_id="L5", chart_distance_m=2.5, position=40.0, t_stop=2.0, camera="A")]
    return prepare(a_job(lenses, readings, charts=charts))


KIT = _kit()


def test_the_most_won_per_minute_comes_first() -> None:
    """Each test wins no more a minute than the one before it, and every one wins something."""
    tests = open_tests(KIT)
    rates = [test.won_per_minute for test in tests]
    assert rates == sorted(rates, reverse=True)
    assert min(rates) > 0
    assert all(test.used_after < test.used_before for test in tests)


def test_what_nobody_did_is_what_is_left() -> None:
    """No map: read it; one way: the other way; no charts on a fast wide lens: charts. Nothing of that for L1 and L5."""
    left = {(test.lens_id, test.kind) for test in open_tests(KIT)}
    assert {("L3", "map"), ("L2", "ways"), ("L4", "flange")} <= left
    assert not {("L1", "ways"), ("L1", "map"), ("L5", "flange")} & left


@given(st.floats(0.5, 60))
def test_what_is_done_fits_into_the_time(minutes: float) -> None:
    """The tests of a list for so many minutes take no longer, and are the first ones that fit."""
    chosen = open_tests(KIT, minutes)
    assert sum(test.minutes for test in chosen) <= minutes
    assert set(chosen) <= set(open_tests(KIT))
    left = minutes - sum(test.minutes for test in chosen)
    assert all(test.minutes > left for test in open_tests(KIT) if test not in chosen)


def test_once_it_is_done_it_is_off_the_list() -> None:
    """Reading L2 the other way takes its test away."""
    job = KIT.job.model_copy(update={"readings": (*KIT.job.readings, *read_off(lens_id="L2", ways=("far_to_near",)))})
    assert ("L2", "ways") not in {(test.lens_id, test.kind) for test in open_tests(prepare(job))}


def test_the_cover_names_what_is_not_tested() -> None:
    """By name, and "all lenses" as an empty tuple; a kit with everything has an empty list but for charts."""
    found = dict(not_tested(KIT))
    assert found["Focus not mapped"] == ("L3",)
    assert found["Read one way only"] == ("L2",)
    assert found["Serial not read"] == ("L3",)
    assert found["Flange not tested on charts"] == ("L1", "L2", "L3", "L4")
    assert dict(not_tested(prepare(a_job()))) == {"Flange not tested on charts": ()}


def test_each_kind_has_its_minutes() -> None:
    """Half a minute at least and under a quarter of an hour: what a prep day has room for."""
    assert all(0.5 <= minutes <= 15 for minutes in MINUTES.values())
