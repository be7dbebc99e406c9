"""The pocket page of a lens whose pupil comes from charts: it must not call its depth exact."""

import pytest

from tapehook.handover.pocket import _optics_data
from tapehook.job import Camera, ChartTest
from tapehook.prep import prepare
from tests.prep.jobs import a_job, a_lens


@pytest.mark.parametrize("transmission", [0.81, None])
def test_charts_leave_their_doubt_on_the_page(transmission: float | None) -> None:
    """The page gets the charts' part of the +- at its largest; what the light adds it works out itself."""
    lens = a_lens(pupil_to_sensor_mm=None, pupil_magnification=None, transmission=transmission)
    chart = ChartTest(lens_id="L1", chart_distance_m=1.0, chart_width_m=0.113, frame_fill=0.25)
    job = a_job([lens], charts=(chart,), cameras=(Camera(letter="A", sensor_width_mm=24.89),))
    entry = prepare(job).lens("L1")
    data = _optics_data(entry)
    assert data is not None
    assert entry.depth_uncertainty is not None
    assert data["pupil"] is not None
    light = 0.0 if transmission else 0.85**-0.5 - 1.0
    assert data["spread"] == pytest.approx(entry.depth_uncertainty[1] - light)
    assert data["spread"] > 0.02


def test_typed_data_and_thin_lenses_need_none() -> None:
    """Typed pupil data are exact, and for a thin lens the page knows the steps itself."""
    for lens in (a_lens(), a_lens(pupil_to_sensor_mm=None)):
        data = _optics_data(prepare(a_job([lens])).lens("L1"))
        assert data is not None
        assert data["spread"] is None
