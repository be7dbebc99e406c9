"""What a late monitor takes, before any shot is planned: against the depth of field by hand, and where it is silent."""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from tapehook.finding import DEPTH_USED_UNIT, Finding
from tapehook.job import Camera
from tapehook.prep import prepare
from tapehook.prep.late_picture import FRAMED_M, WALK_M_S, late_share
from tests.prep.jobs import a_job, a_lens, read_off

SENSOR_M, BLUR_M = 13.3e-3, 25e-6


@given(st.floats(0.018, 0.2), st.floats(1.4, 8.0), st.floats(0.02, 0.3))
def test_the_share_is_that_of_the_image_behind_the_lens(focal_m: float, f_number: float, delay_s: float) -> None:
    """A thin lens focused at the place shown: the blur of the place where they are, over the blur that is allowed.

    1/f = 1/u + 1/v at both places; the disc on the sensor is the pupil f/N times the shift over the image distance. To
    first order in the step; the step is kept short of a hundredth of the distance.
    """
    magnification = SENSOR_M / FRAMED_M
    shown_m = focal_m * (1.0 + 1.0 / magnification)
    delay_s = min(delay_s, 0.01 * shown_m / WALK_M_S)
    there_m = shown_m - WALK_M_S * delay_s
    sensor_m, image_m = (1.0 / (1.0 / focal_m - 1.0 / u) for u in (shown_m, there_m))
    blur_m = focal_m / f_number * (image_m - sensor_m) / image_m
    share = late_share(delay_s, SENSOR_M, f_number, BLUR_M)
    assert blur_m / BLUR_M == pytest.approx(share, rel=0.03)  # 1 % of the step, and m against 1 + m


def _late(**camera: float | None) -> list[Finding]:
    known: dict[str, object] = {"sensor_width_mm": 23.6, "sensor_height_mm": 13.3, "monitor_delay_ms": 83.0}
    job = a_job([a_lens(camera="C")], read_off(), cameras=[Camera.model_validate({"letter": "C", **known, **camera})])
    return [one for one in prepare(job).findings if one.code == "picture.late"]


def test_it_is_said_of_the_camera_with_its_share_and_stop() -> None:
    """120 ms of a walk at 1.4 m/s is 17 cm; the share is that of the shooting stop, and named so."""
    (finding,) = _late(monitor_delay_ms=120.0)
    assert (finding.camera, finding.lens_id, finding.severity) == ("C", None, "watch")
    assert "120 ms late" in finding.message
    assert "17 cm" in finding.message
    assert "assumed: 1.4 m/s" in finding.message
    assert finding.figure is not None
    assert finding.figure.unit == DEPTH_USED_UNIT
    assert finding.figure.stop
    assert f"{finding.figure.value:.0f} %" in finding.message


def test_a_short_delay_is_for_information() -> None:
    """Ten milliseconds take a twentieth or so: nothing to do."""
    (finding,) = _late(monitor_delay_ms=10.0)
    assert finding.severity == "info"


@pytest.mark.parametrize("missing", ["monitor_delay_ms", "sensor_height_mm"])
def test_it_is_silent_where_nobody_knows(missing: str) -> None:
    """Without a measured delay, or the height of the sensor, nothing is said."""
    assert _late(**{missing: None}) == []
