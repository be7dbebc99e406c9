"""``tapehook depth`` with a chart of known width in place of pupil data."""

import pytest

from tapehook.lens.taping import taping_sd_m
from tapehook.optics import depth_of_field, depth_uncertainty, magnification_sd, pupil_from_charts, width_uncertainty
from tests.cli.running import refused, run_json

USUAL = ("--focal", "25mm", "--f-number", "2", "--distance", "1m")
CHART = {"--chart-width": "220mm", "--frame-fill": "25 %", "--sensor-width": "24.89mm", "--chart-distance": "1m"}


def _args(**instead: str | None) -> list[str]:
    """The chart's options, some changed or left out."""
    options = {**CHART, **{f"--{name.replace('_', '-')}": value for name, value in instead.items()}}
    return [*USUAL, *(part for name, value in options.items() if value for part in (name, value))]


def test_figures_are_those_of_the_optics() -> None:
    """The command adds no arithmetic of its own but m = 25 % of 24.89 mm over 220 mm."""
    answer = run_json("depth", *_args())
    found = pupil_from_charts(0.025, 1.0, 0.25 * 24.89 / 220.0, taping_sd_m(1.0), magnification_sd(0.25))
    depth = depth_of_field(1.0, 0.025, 2.0, 25e-6, found.pupil)
    assert answer["near_m"] == pytest.approx(float(depth.near_m), rel=1e-9)
    assert answer["far_m"] == pytest.approx(float(depth.far_m), rel=1e-9)
    assert answer["uncertainty_percent"] == pytest.approx(100 * float(width_uncertainty(found, 1.0)))
    assert answer["pupil_known"]
    assert "From one chart" in " ".join(answer["assumptions"])


def test_a_chart_is_surer_than_a_thin_lens() -> None:
    """For a wide lens at a metre the +- falls from over 30 % to under 10 %."""
    with_chart, without = run_json("depth", *_args()), run_json("depth", *USUAL)
    assert without["uncertainty_percent"] > 30
    assert with_chart["uncertainty_percent"] < 10
    assert not without["pupil_known"]


def test_far_away_it_is_never_less_sure() -> None:
    """At 30 m a chart shot at a metre adds nothing, and takes nothing away."""
    far = run_json("depth", *_args(), "--distance", "30 m")
    assert far["uncertainty_percent"] <= 100 * float(depth_uncertainty(30.0, 0.025, pupil_known=False)) + 1e-9


@pytest.mark.parametrize("missing", CHART)
def test_a_chart_needs_all_four(missing: str) -> None:
    """Each of the four that is not given is named, beside one that is."""
    result = refused("depth", *_args(**{missing.strip("-").replace("-", "_"): None}))
    assert any(sentence.startswith(missing) for sentence in result)


def test_chart_or_pupil_data() -> None:
    """Both at once are refused: which one counts could not be told."""
    both = [*_args(), "--pupil-to-sensor", "41mm", "--pupil-magnification", "1.15"]
    assert "not both" in refused("depth", *both)[0]


@pytest.mark.parametrize(
    "instead",
    [
        {"chart_width": "24mm"},
        {"chart_width": "5 m"},
        {"frame_fill": "2"},
        {"frame_fill": "0"},
        {"chart_distance": "inf"},
        {"sensor_width": "wide"},
        {"chart_width": "1000 m"},
    ],
)
def test_charts_no_lens_can_show_are_refused(instead: dict[str, str]) -> None:
    """Widths, parts and distances out of reach, and charts that fit no such lens, name the option."""
    assert refused("depth", *_args(**instead))[0].startswith("--" + next(iter(instead)).replace("_", "-"))
