"""Light across the set: which lens is off, which ramps, how far the set spreads, and when nothing is said."""

import numpy as np
import pytest

from tapehook.job import Job, LightTest
from tapehook.prep import prepare
from tapehook.prep.light import light_findings, set_light
from tests.prep.causes import assert_raised_with_cause_only, found
from tests.prep.jobs import a_job, a_lens

STOPS = (2.0, 2.8, 4.0, 5.6, 8.0)


def _tests(
    lens_id: str, levels: float | tuple[float, ...], *, times: int = 1, focal_mm: float | None = None
) -> list[LightTest]:
    """Levels at the five stops, each so many times, a hundredth of a stop to either side."""
    five = (levels,) * 5 if isinstance(levels, float) else levels
    wobble = np.linspace(-0.01, 0.01, times) if times > 1 else [0.0]
    return [
        LightTest(lens_id=lens_id, t_stop=t, level_stops=level + step, focal_mm=focal_mm)
        for t, level in zip(STOPS, five, strict=True)
        for step in wobble
    ]


def _job(*tests: list[LightTest], lenses: int = 3) -> Job:
    return a_job([a_lens(f"L{i + 1}") for i in range(lenses)], [], tstops=tuple(one for some in tests for one in some))


EVEN = _job(*(_tests(f"L{i}", 0.02 * i, times=3) for i in (1, 2, 3)))
CASES: dict[str, tuple[Job, Job]] = {
    "light.off": (_job(_tests("L1", -0.4, times=3), _tests("L2", 0.0), _tests("L3", 0.0)), EVEN),
    "light.ramps_zoom": (
        _job(_tests("L1", 0.0, focal_mm=24.0), _tests("L1", -0.4, focal_mm=75.0)),
        _job(_tests("L1", 0.0, focal_mm=24.0), _tests("L1", -0.1, focal_mm=75.0)),
    ),
    "light.ramps_stops": (
        _job(_tests("L1", (0.1, 0.0, -0.1, -0.2, -0.3)), _tests("L2", 0.0), _tests("L3", 0.0)),
        _job(*(_tests(f"L{i}", (0.1, 0.0, -0.1, -0.2, -0.3)) for i in (1, 2, 3))),
    ),
    "light.spread": (EVEN, _job(_tests("L1", 0.0))),
    "light.reference": (_job(*(_tests(f"L{i}", 0.3) for i in (1, 2, 3))), EVEN),
}
"""Finding code: a job that raises it, and one like it that does not."""


@pytest.mark.parametrize("code", CASES)
def test_finding_is_raised_with_cause_only(code: str) -> None:
    """The set that has the trouble has the finding, in sentences, its figure in stops; the one beside it does not."""
    for finding in assert_raised_with_cause_only(code, *CASES[code]):
        assert finding.figure is not None
        assert finding.figure.unit == "stops"


def test_no_light_tests_no_words() -> None:
    """Without the table nothing is said."""
    assert light_findings(a_job()) == []


def test_off_at_every_stop_is_a_wrong_engraving() -> None:
    """0.4 stop dark at T2 is T2.30, 2 x 2^0.2, and as all stops are, a label will do."""
    (finding,) = found(CASES["light.off"][0], "light.off")
    assert finding.lens_id == "L1"
    assert "0.40 +- 0.01 stop darker" in finding.message
    assert "T2.3" in finding.message
    assert "label" in finding.next_step
    assert finding.severity == "watch"


def test_off_at_one_stop_is_the_iris_scale() -> None:
    """One stop off among good ones is for the technician."""
    job = _job(_tests("L1", (0.0, 0.0, 0.5, 0.0, 0.0), times=3), _tests("L2", 0.0, times=3))
    (finding,) = found(job, "light.off")
    assert "T4" in finding.message
    assert "technician" in finding.next_step


def test_a_doubtful_deviation_asks_for_another_measurement() -> None:
    """0.2 stop measured once, +- 0.1, may be within a sixth: no more than info, and the assumed spread is named."""
    (finding,) = found(_job(_tests("L1", 0.2), _tests("L2", 0.0)), "light.off")
    assert finding.severity == "info"
    assert "again" in finding.next_step
    assert "assumed" in finding.next_step


def test_repeats_make_it_surer() -> None:
    """Nine measurements of each setting leave a third of the +- of one."""
    once, often = (set_light(_job(_tests("L1", 0.1, times=n))) for n in (3, 9))
    assert often.levels["L1"][0].sd < once.levels["L1"][0].sd
    assert often.sd_measured


def test_spread_names_the_ends_of_the_set() -> None:
    """The brightest and the darkest lens are named; a spread over a third of a stop is to be watched."""
    (finding,) = found(_job(_tests("L1", 0.3, times=3), _tests("L2", 0.0), _tests("L3", -0.3, times=3)), "light.spread")
    assert "L1 is the brightest, L3 the darkest" in finding.message
    assert finding.severity == "watch"
    assert finding.figure is not None
    assert finding.figure.value == pytest.approx(0.6, abs=0.01)


def test_a_stop_written_two_ways_is_one() -> None:
    """T2.8 and T2.83 are one setting of a lens."""
    tests = [LightTest(lens_id="L1", t_stop=t, level_stops=0.1) for t in (2.8, 2.83)]
    assert len(set_light(_job(tests)).levels["L1"]) == 1


def test_findings_stand_with_their_lens() -> None:
    """What the set tells of a lens is among that lens's findings too, sorted in."""
    prep = prepare(CASES["light.off"][0])
    assert "light.off" in {finding.code for finding in prep.lens("L1").findings}
    assert "light.off" not in {finding.code for finding in prep.lens("L2").findings}


@pytest.mark.slow
def test_false_alarms_are_rare() -> None:
    """Of 400 even sets of six lenses, levels good to 0.05 stop, fewer than 3 in 100 say that a lens ramps."""
    rng = np.random.default_rng(11)
    alarms = 0
    for _ in range(400):
        tests = [_tests(f"L{i + 1}", tuple(rng.normal(0.0, 0.05, 5).tolist())) for i in range(6)]
        alarms += any(finding.code == "light.ramps_stops" for finding in light_findings(_job(*tests, lenses=6)))
    assert alarms < 12
