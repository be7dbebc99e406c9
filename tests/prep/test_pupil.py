"""Charts of known width in the main job: the pupil they give, what is said of them, and what wins over them."""

import math
from typing import Any

import numpy as np
import pytest

from tapehook.finding import Finding
from tapehook.job import Camera, ChartTest, Job
from tapehook.optics import Pupil, depth_of_field, focus_state
from tapehook.prep import LensPrep, prepare
from tapehook.prep.charts import width_charts
from tapehook.prep.room import optics_of
from tests.prep.causes import assert_raised_with_cause_only
from tests.prep.jobs import a_job, a_lens, read_off

WIDTH_MM = 24.89
TRUE = Pupil(to_sensor_m=0.041, magnification=1.15)
"""Pupil of the lens the charts were shot with."""
CAMERA = Camera(letter="A", sensor_width_mm=WIDTH_MM, sensor_height_mm=18.66)


def _chart(distance_m: float, *, fill: float = 0.25, scale: float = 1.0, **instead: object) -> ChartTest:
    """A chart as the 50 mm lens with the true pupil would show it, its width off by ``scale``."""
    m = float(focus_state(distance_m, 0.05, TRUE).magnification)
    known = {"lens_id": "L1", "chart_distance_m": distance_m, "frame_fill": fill, "camera": "A"}
    return ChartTest.model_validate({**known, "chart_width_m": fill * WIDTH_MM * 1e-3 / m * scale, **instead})


def _job(*charts: ChartTest, cameras: tuple[Camera, ...] = (CAMERA,), **lens: Any) -> Job:  # noqa: ANN401 - any field of a lens
    untyped: dict[str, Any] = {"pupil_to_sensor_mm": None, "pupil_magnification": None}
    return a_job([a_lens(**{**untyped, **lens})], charts=charts, cameras=cameras)


def test_typed_pupil_data_are_used_by_what_of_the_lens_moves() -> None:
    """Near to far is 2 c N v (v + g f)/f^2 to first order, v from the front focal point, g = 1/P, half of that, or 0.

    Of a lens that moves whole, or of which nobody said, all is as it was; the +- of the others grows with m.
    """
    widths, spreads = {}, {}
    for moves in (None, "whole", "inner", "front"):
        entry = prepare(a_job([a_lens(focuses_by=moves)])).lens("L1")
        optics = optics_of(entry)
        assert optics is not None
        depth = depth_of_field(0.8, optics.focal_m, 2.8, 5e-6, optics.pupil)
        widths[moves], spreads[moves] = float(depth.far_m - depth.near_m), entry.depth_uncertainty
    v = 0.05 / float(focus_state(0.8, 0.05, TRUE).magnification)
    assert widths[None] == widths["whole"]
    for moves, growth in (("inner", 0.5 / 1.15), ("front", 1e-3)):
        expected = (v + growth * 0.05) / (v + 0.05 / 1.15)
        assert widths[moves] / widths["whole"] == pytest.approx(expected, rel=1e-3)
    assert spreads[None] == spreads["whole"]
    (_, most), m = spreads["inner"] or (0.0, 0.0), float(focus_state(0.6, 0.05, TRUE).magnification)
    assert most == pytest.approx(m / (2.0 * 1.15), rel=1e-3)


def _only(job: Job) -> LensPrep:
    return prepare(job).lens("L1")


def _found(job: Job, code: str) -> list[Finding]:
    return [finding for finding in _only(job).findings if finding.code == code]


TYPED: dict[str, Any] = {"pupil_to_sensor_mm": 41.0, "pupil_magnification": 1.15}
CASES: dict[str, tuple[Job, Job]] = {
    "pupil.from_charts": (_job(_chart(1.0)), _job(_chart(1.0), **TYPED)),
    "pupil.disagrees": (_job(_chart(1.0, scale=1.06), **TYPED), _job(_chart(1.0), **TYPED)),
    "pupil.implausible": (_job(_chart(1.0, scale=4.0)), _job(_chart(1.0))),
    "pupil.charts_disagree": (
        _job(_chart(0.7), _chart(1.0, scale=1.1), _chart(2.0)),
        _job(_chart(0.7), _chart(1.0), _chart(2.0)),
    ),
    "pupil.chart_near_edge": (_job(_chart(1.0, fill=0.6)), _job(_chart(1.0))),
    "pupil.breathing": (_job(_chart(0.7), _chart(3.0)), _job(_chart(1.0), _chart(1.05))),
    "pupil.chart_not_used": (_job(_chart(1.0, frame_fill=None)), _job(_chart(1.0))),
}
"""Finding code: a job that raises it, and one like it that does not."""


@pytest.mark.parametrize("code", CASES)
def test_finding_is_raised_with_cause_only(code: str) -> None:
    """The job that has the trouble has the finding, in sentences; the job beside it does not."""
    assert_raised_with_cause_only(code, *CASES[code])


def test_chart_takes_the_place_of_the_thin_lens() -> None:
    """Depth is then that of the true pupil within what is printed, and more sure than a thin lens's close up."""
    thin, charted = _only(_job()), _only(_job(_chart(0.7), focuses_by="whole"))
    assert (thin.pupil_source, charted.pupil_source, charted.pupil_known) == ("thin", "charts", True)
    assert thin.depth_uncertainty is not None
    assert charted.depth_uncertainty is not None
    assert charted.depth_uncertainty[1] < thin.depth_uncertainty[1] / 2
    assert charted.pupil is not None
    assert charted.depth_focal_m == pytest.approx(0.05)
    stop = charted.depth_stops[0].f_number
    for row in charted.depth_rows:
        truth = depth_of_field(row.distance_m, 0.05, stop, math.sqrt(0.025**2 - 0.005**2) * 1e-3, TRUE)
        if math.isinf(row.far_m[0]) or row.distance_m > 3:
            continue
        width = float(truth.far_m - truth.near_m)
        assert row.far_m[0] - row.near_m[0] == pytest.approx(width, rel=charted.depth_uncertainty[1])


def test_assumptions_name_what_no_chart_tells() -> None:
    """The pupil magnification and the way of focusing are printed as assumptions; the thin lens's sentence is gone."""
    said = " ".join(_only(_job(_chart(1.0))).assumptions)
    assert "pupil magnification, taken as usual" in said
    assert "nobody said" in said
    assert "thin lens" not in said
    assert "its front moves" in " ".join(_only(_job(_chart(1.0), focuses_by="front")).assumptions)


def test_typed_data_win() -> None:
    """With pupil data typed in, the depth is theirs, whatever the chart says."""
    with_chart, without = _only(_job(_chart(1.0, scale=1.06), **TYPED)), _only(_job(**TYPED))
    assert with_chart.pupil == without.pupil
    assert with_chart.depth_uncertainty == without.depth_uncertainty


@pytest.mark.parametrize("scale, word", [(1.06, "narrower"), (1 / 1.06, "wider")])
def test_disagreement_says_which_way(scale: float, word: str) -> None:
    """A chart 6 % wider than it should be says a smaller m, hence more depth: the typed data are 12 % too narrow."""
    finding = _found(_job(_chart(1.0, scale=scale), **TYPED), "pupil.disagrees")[0]
    assert word in finding.message
    assert finding.figure is not None
    assert finding.figure.value == pytest.approx(11.7, abs=1.0)


def test_several_charts_are_surer_than_one() -> None:
    """Charts at three distances leave less doubt at the near end than one of them."""
    one = _only(_job(_chart(2.0), focuses_by="whole"))
    three = _only(_job(_chart(0.7), _chart(1.0), _chart(2.0), focuses_by="whole"))
    assert one.depth_uncertainty is not None
    assert three.depth_uncertainty is not None
    assert three.depth_uncertainty[1] < one.depth_uncertainty[1]


def test_breathing_is_that_of_the_lens() -> None:
    """The figure is 1 minus the ratio of 1 + m/P at both charts, within its +-."""
    finding = _found(_job(_chart(0.7), _chart(3.0)), "pupil.breathing")[0]
    factor = focus_state([0.7, 3.0], 0.05, TRUE).pupil_factor
    assert finding.figure is not None
    assert finding.figure.plus_minus is not None
    assert finding.figure.value == pytest.approx(100 * (1 - factor[1] / factor[0]), abs=finding.figure.plus_minus)
    assert "tighter" in finding.message


def test_breathing_of_a_lens_that_breathes_the_other_way() -> None:
    """Measured m decide, not the way a lens moves: a chart imaged smaller than m u = const says "wider"."""
    finding = _found(_job(_chart(0.7, scale=1.1), _chart(3.0), **TYPED), "pupil.breathing")[0]
    assert "wider" in finding.message


@pytest.mark.parametrize(
    "chart, lens, cameras",
    [
        (_chart(1.0, chart_width_m=None), {}, (CAMERA,)),
        (_chart(1.0), {}, (Camera(letter="A"),)),
        (_chart(1.0, camera=None), {}, (CAMERA, Camera(letter="B", sensor_width_mm=36.0))),
        (_chart(1.0), {"kind": "zoom", "focal_min_mm": 25.0}, (CAMERA,)),
        (_chart(1.0, focal_mm=35.0), {}, (CAMERA,)),
    ],
)
def test_charts_that_cannot_be_used(chart: ChartTest, lens: dict[str, Any], cameras: tuple[Camera, ...]) -> None:
    """A chart without width, sensor or a focal length that fits is left out, and it is said what is missing."""
    entry = _only(_job(chart, cameras=cameras, **lens))
    assert entry.pupil_source == "thin"
    assert "pupil.chart_not_used" in {finding.code for finding in entry.findings}


def test_zoom_uses_charts_at_its_long_end() -> None:
    """A zoom's charts count where they name the focal length its depth is worked out for."""
    zoom = _job(_chart(1.0, focal_mm=50.0), kind="zoom", focal_min_mm=25.0)
    assert _only(zoom).pupil_source == "charts"


def test_best_focus_charts_without_width_are_let_be() -> None:
    """Charts that only tell best focus raise nothing here."""
    job = _job(_chart(1.0, chart_width_m=None, frame_fill=None))
    assert not [finding for finding in _only(job).findings if finding.code.startswith("pupil.")]


def test_magnification_is_fill_times_sensor_over_width() -> None:
    """45 % of 24.89 mm on a chart 400 mm wide: m = 0.0280, by hand."""
    job = _job(ChartTest(lens_id="L1", chart_distance_m=1.8, chart_width_m=0.4, frame_fill=0.45))
    (chart,) = width_charts(job.lenses[0], job)
    assert chart.magnification == pytest.approx(0.0280, abs=1e-4)


def test_other_lenses_charts_do_not_count() -> None:
    """A chart of another lens says nothing about this one."""
    job = a_job([a_lens(pupil_to_sensor_mm=None), a_lens("L2")], read_off(), charts=(_chart(1.0, lens_id="L2"),))
    assert _only(job).pupil_source == "thin"


def test_implausible_charts_leave_the_thin_lens() -> None:
    """Charts that no lens could have shot are not used for the depth."""
    entry = _only(_job(_chart(1.0, scale=4.0)))
    assert entry.pupil_source == "thin"
    assert entry.pupil is not None
    assert float(np.asarray(entry.pupil.magnification)) == 1.0
