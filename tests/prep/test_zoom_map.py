"""Zooms read at several focal lengths in the main job: what one strip costs, and the drift of the middle."""

import math
from typing import Any

import numpy as np
import pytest

from tapehook.job import ChartTest, Job
from tapehook.job.records import Reading
from tapehook.prep import prepare
from tests.prep.causes import assert_raised_with_cause_only, found
from tests.prep.jobs import BOTH, a_job, a_lens, read_off, true_position

FOCALS_MM = (24.0, 40.0, 70.0)
DISTANCES_M = (0.6, 0.8, 1.2, 2.0, 4.0, 12.0)
ZOOM: dict[str, Any] = {"kind": "zoom", "focal_mm": 70.0, "focal_min_mm": 24.0, "t_stop": 2.8}


def _read(
    stray_um: dict[float, float],
    noise_deg: float = 0.03,
    **instead: Any,  # noqa: ANN401 - any field
) -> tuple[Reading, ...]:
    """Best focus found on taped charts at each focal length, off by the stray of that focal length."""
    rng = np.random.default_rng(8)
    found = []
    for focal_mm in FOCALS_MM:
        for distance in DISTANCES_M:
            q = 1.0 / (distance - 0.15) + stray_um.get(focal_mm, 0.0) * 1e-6 / (focal_mm * 1e-3) ** 2
            position = float(true_position(0.15 + 1.0 / q))
            for way, ahead in zip(BOTH, (-0.1, 0.1), strict=True):
                known = {"lens_id": "L1", "value": distance, "approach": way, "method": "taped", "focal_mm": focal_mm}
                at = position + ahead + rng.normal(0, noise_deg)
                found.append(Reading.model_validate({**known, "position": at, **instead}))
    return tuple(found)


def _job(stray_um: dict[float, float], charts: tuple[ChartTest, ...] = ()) -> Job:
    return a_job([a_lens(**ZOOM)], _read(stray_um), charts=charts)


def _careless() -> Job:
    """Read with half a degree of noise and shot wide open: nobody can tell a quarter of the depth from that."""
    return a_job([a_lens(**ZOOM)], _read({}, noise_deg=0.8), shooting_stop="T2.8")


def _drifting(*places_mm: tuple[float, float, float]) -> tuple[ChartTest, ...]:
    return tuple(
        ChartTest(lens_id="L1", chart_distance_m=5.0, focal_mm=focal, centre_x_mm=x, centre_y_mm=y)
        for focal, x, y in places_mm
    )


CASES: dict[str, tuple[Job, Job]] = {
    "zooming.one_strip": (_job({24.0: 120.0}), _job({})),
    "zooming.one_strip_fine": (_job({}), _job({24.0: 120.0})),
    "zooming.one_strip_unsure": (_careless(), _job({})),
    "zooming.centre_drift": (_job({}, _drifting((24.0, 0.0, 0.0), (70.0, 0.3, -0.4))), _job({})),
}
"""Finding code: a job that raises it, and one like it that does not."""


@pytest.mark.parametrize("code", CASES)
def test_finding_is_raised_with_cause_only(code: str) -> None:
    """The zoom that has the trouble has the finding, in sentences; the one beside it does not."""
    assert_raised_with_cause_only(code, *CASES[code])


def test_a_stray_costs_its_share_at_its_focal_length() -> None:
    """120 um at 24 mm over N c of 3.6 x 24.5 um is 136 % at T4, by hand, within its +-; the others hardly any."""
    rows = {round(row.focal_m * 1e3): row for row in prepare(_job({24.0: 120.0})).lens("L1").zoom}
    share = 120.0 / (3.6 * math.sqrt(25.0**2 - 5.0**2))
    assert rows[24].used == pytest.approx(share, abs=rows[24].plus_minus + 0.1)
    assert rows[24].shift_dpt > 0
    assert rows[70].used < 0.25
    (finding,) = found(_job({24.0: 120.0}), "zooming.one_strip")
    assert finding.severity == "fix"
    assert "at 24 mm and T4" in finding.message
    assert "70 mm" in finding.next_step


def test_what_the_marks_cannot_tell_is_not_called_fine() -> None:
    """Where the +- is over a quarter and over the share, that is said, and which focal length to find again."""
    (finding,) = found(_careless(), "zooming.one_strip_unsure")
    assert finding.severity == "watch"
    assert finding.figure is not None
    assert finding.figure.plus_minus is not None
    assert finding.figure.value < finding.figure.plus_minus
    assert "70 mm" in finding.next_step


def test_the_budget_takes_it_at_its_own_size() -> None:
    """The term stands for the worst focal length, and is as large as the finding's share at its distance or less."""
    budget = prepare(_job({24.0: 120.0})).lens("L1").budget("shooting")
    assert budget is not None
    share = {term.name: share for term, share in budget.budget.at_worst()}["zooming"]
    assert 1.0 < share < 1.7


def test_the_map_of_the_ring_is_that_of_the_long_end() -> None:
    """Marks at other focal lengths do not bend the strip: the ring at 2 m stands where 70 mm has it."""
    entry = prepare(_job({24.0: 120.0})).lens("L1")
    assert entry.focus_map is not None
    assert entry.focus_map.marks.values.size == len(DISTANCES_M)
    assert float(entry.focus_map.position(2.0)[0][0]) == pytest.approx(float(true_position(2.0)), abs=0.3)


def test_the_drift_of_the_middle_is_its_length() -> None:
    """0.3 across and 0.4 down are 0.5 mm, 2 % of 24.89 mm: watch."""
    (finding,) = found(CASES["zooming.centre_drift"][0], "zooming.centre_drift")
    assert finding.figure is not None
    assert finding.figure.value == pytest.approx(0.5)
    assert "2.0 % of the picture's width" in finding.message
    assert finding.severity == "watch"


def test_a_chart_of_the_middle_says_nothing_of_the_flange() -> None:
    """It has no ring position and needs none."""
    assert prepare(CASES["zooming.centre_drift"][0]).lens("L1").flange is None


def test_a_zoom_read_as_before_is_as_before() -> None:
    """Without focal lengths in its readings nothing is said and nothing is added."""
    prep = prepare(a_job([a_lens(**ZOOM)], read_off()))
    assert prep.lens("L1").zoom == ()
    assert not [one for one in prep.findings if one.code.startswith("zooming.")]
    assert "zooming" not in {term.name for term in prep.lens("L1").budgets[0].budget.terms}
