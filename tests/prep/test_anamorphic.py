"""Anamorphic lenses in the main job: the gap of their two directions, its share, and from which stop both resolve."""

import math
import re
from typing import Any, Literal

import numpy as np
import pytest

from tapehook.job import ChartTest, Job
from tapehook.prep import prepare
from tapehook.prep.results import FlangePrep
from tapehook.prep.shooting_map import shooting_map
from tests.prep.causes import assert_raised_with_cause_only, found
from tests.prep.jobs import BOTH, NEAREST_M, a_job, a_lens, read_off, true_position

FRONT_M = 0.041 + 0.05 / 1.15
BLUR_M = 1e-6 * math.sqrt(25.0**2 - 5.0**2)


def _charts(
    gap_dpt: float,
    kinds: tuple[Literal["upright", "level"], ...] = ("upright", "level"),
    distances_m: tuple[float, ...] = (1.0, 2.5, 8.0) * 3,
) -> tuple[ChartTest, ...]:
    """Best focus on both kinds of lines, both ways, at three distances; upright lines nearer by the gap."""
    rng = np.random.default_rng(6)
    found = []
    for lines in kinds:
        for distance in distances_m:
            q = 1.0 / (distance - FRONT_M) + (gap_dpt if lines == "upright" else 0.0) + rng.normal(0.0, 0.001)
            for way, ahead in zip(BOTH, (-0.1, 0.1), strict=True):
                known: dict[str, Any] = {"lens_id": "L1", "approach": way, "lines": lines, "t_stop": 2.0, "camera": "A"}
                position = float(true_position(FRONT_M + 1.0 / q)) + ahead
                found.append(ChartTest(chart_distance_m=distance, position=position, **known))
    return tuple(found)


def _job(gap_dpt: float | None, squeeze: float | None = 2.0) -> Job:
    charts = () if gap_dpt is None else _charts(gap_dpt)
    return a_job([a_lens(squeeze=squeeze)], read_off(noise_deg=0.02), charts=charts)


def _once(gap_dpt: float) -> Job:
    """One chart at 2.5 m, one way, on a lens read carelessly, wide open: nobody can tell so small a gap from it."""
    charts = _charts(gap_dpt, distances_m=(2.5,))
    return a_job([a_lens(squeeze=2.0)], read_off(noise_deg=1.0), charts=charts[::2], shooting_stop="T2")


CASES: dict[str, tuple[Job, Job]] = {
    "anamorphic.gap": (_job(0.06), _job(0.0)),
    "anamorphic.gap_fine": (_job(0.0), _job(0.06)),
    "anamorphic.gap_unsure": (_once(0.012), _job(0.06)),
    "anamorphic.untested": (_job(None), _job(None, squeeze=None)),
}
"""Finding code: a job that raises it, and one like it that does not."""


@pytest.mark.parametrize("code", CASES)
def test_finding_is_raised_with_cause_only(code: str) -> None:
    """The lens that has the trouble has the finding, in sentences; the one beside it does not."""
    assert_raised_with_cause_only(code, *CASES[code])


@pytest.mark.parametrize("gap_dpt, way", [(0.06, "nearer"), (-0.06, "farther")])
def test_the_gap_takes_its_share_of_the_depth_of_both(gap_dpt: float, way: str) -> None:
    """g/(3 w) with w = N c/f^2 = 3.6 x 24.5 um/0.05^2: 57 % at T4, within its +-; both resolve from T2.8 on."""
    (finding,) = found(_job(gap_dpt), "anamorphic.gap")
    width = 3.6 * BLUR_M / 0.05**2
    assert finding.figure is not None
    assert finding.figure.stop == "T4"
    assert finding.figure.value == pytest.approx(100 * 0.06 / (3 * width), abs=finding.figure.plus_minus)
    assert finding.figure.plus_minus is not None
    assert finding.figure.plus_minus < 15
    assert f"sharp {way} than its level ones" in finding.message
    # 0.06 x 0.05^2/(3 c) is N 2.04, T2.27: the next usual stop is T2.8.
    assert "resolve from T2.8 on" in finding.message


def test_the_budget_takes_what_is_left_along() -> None:
    """Set between the two, along the picture a third of the gap is left with a squeeze of 2: the same share."""
    budget = prepare(_job(0.06)).lens("L1").budget("shooting")
    assert budget is not None
    share = {term.name: share for term, share in budget.budget.at_worst()}["two directions"]
    assert share == pytest.approx(0.06 / (3 * 3.6 * BLUR_M / 0.05**2), rel=0.2)


def test_upright_lines_pass_for_no_flange() -> None:
    """The flange is that of the level lines, the direction as engraved: sound, whatever the other does."""
    found = prepare(_job(0.06)).lens("L1").flange
    assert isinstance(found, FlangePrep)
    assert {test.lines for test in found.tests} == {"level"}
    flange_m, sd_m = found.fit.flange_m()
    assert abs(flange_m) < 3 * sd_m


def test_one_kind_of_lines_is_said_to_be_too_little() -> None:
    """Charts on level lines alone tell nothing of the gap."""
    job = a_job([a_lens(squeeze=2.0)], read_off(noise_deg=0.02), charts=_charts(0.06, ("level",)))
    (finding,) = found(job, "anamorphic.untested")
    assert "no chart has both kinds of lines" in finding.message


def test_a_lens_without_squeeze_is_as_before() -> None:
    """Nothing is said of directions, and no term is added."""
    prep = prepare(a_job())
    assert not [one for one in prep.findings if one.code.startswith("anamorphic.")]
    assert "two directions" not in {term.name for term in prep.lens("L1").budgets[0].budget.terms}


def _in_focus_dpt(position: float) -> float:
    """Vergence at the front focal point that level lines are sharp at, by the ring as it was made."""
    q = np.linspace(-0.5, 1.0 / (NEAREST_M - FRONT_M) + 0.5, 40_001)
    return float(np.interp(position, true_position(FRONT_M + 1.0 / q), q))


@pytest.mark.parametrize("gap_dpt", [0.06, -0.06])
def test_at_the_shooting_stop_the_ring_stands_between_the_two(gap_dpt: float) -> None:
    """Level lines are off by q and upright ones by q minus the gap, of twice the room: as much of each, either side."""
    found = shooting_map(prepare(_job(gap_dpt)).lens("L1"))
    assert found is not None
    assert found.because == ("two directions",)
    for distance, position in zip(found.distance_m[1:-1:6], found.position[1:-1:6], strict=True):
        level = _in_focus_dpt(float(position)) - 1.0 / (float(distance) - FRONT_M)
        upright = (level - gap_dpt) / 2.0
        assert level == pytest.approx(gap_dpt / 3.0, abs=0.006)
        assert upright == pytest.approx(-level, abs=0.006)


@pytest.mark.parametrize("gap_dpt", [0.06, -0.06])
def test_the_room_lies_on_the_side_where_it_is(gap_dpt: float) -> None:
    """Between the two, level lines hold q + g/3 +- w and upright ones q - 2 g/3 +- 2 w: by hand at 3 m."""
    (finding,) = found(_job(gap_dpt), "anamorphic.gap")
    u = 3.0 - 0.041 - 0.05**2 / (3.0 - FRONT_M)
    w = 3.6 * BLUR_M / 0.05**2 / (1.0 + 0.05 / (3.0 - FRONT_M) / 1.15)
    near = min(1.0 / u + gap_dpt / 3.0 + w, 1.0 / u - 2.0 * gap_dpt / 3.0 + 2.0 * w)
    far = max(1.0 / u + gap_dpt / 3.0 - w, 1.0 / u - 2.0 * gap_dpt / 3.0 - 2.0 * w)
    said = [int(part) for part in re.findall(r"(\d+) cm", finding.message)]
    assert said == pytest.approx([100.0 * (u - 1.0 / near), 100.0 * (1.0 / far - u)], abs=2.0)


def test_a_gap_nobody_can_tell_is_not_called_sharp_together() -> None:
    """Where the +- is more than a quarter and more than the share, that is said, and what to measure next."""
    (finding,) = found(_once(0.012), "anamorphic.gap_unsure")
    assert finding.severity == "watch"
    assert finding.figure is not None
    assert finding.figure.plus_minus is not None
    assert finding.figure.value < finding.figure.plus_minus
    assert "three distances" in finding.next_step
