"""The picture of a stop pull: the course where its frame says, all motors named, the error within its lane."""

import re
from dataclasses import replace

import pytest

from tapehook.picture.pull_chart import MotorLane, PullChart, pull_chart, stop_frame

TIMES = [0.0, 1.0, 2.0, 3.0, 4.0]
CHART = PullChart(
    TIMES,
    [2.0, 2.83, 4.0, 5.66, 8.0],
    1.4,
    16.0,
    [
        MotorLane("F", "focus: <far> to near", TIMES, [1.0, 2.0, 2.0, 3.0, 4.0]),
        MotorLane("I", "iris: 15° to 48°", TIMES, [15.0, 20.0, 30.0, 40.0, 48.0]),
        MotorLane("Z", "zoom: a prime"),
        MotorLane("X", "pair: stands", TIMES, [5.0] * 5),
    ],
    [0.03, 0.05, 0.06, 0.05, 0.03],
    0.05,
    [(0.0, 2.0), (4.0, 8.0)],
    5.0,
)


@pytest.mark.parametrize("size", [(660.0, 470.0), (330.0, 430.0)])
def test_the_course_lies_in_its_frame(size: tuple[float, float]) -> None:
    """The line begins where the frame puts 0 s and T2, ends at 4 s and T8; all four letters and words are there."""
    svg = pull_chart(CHART, width=size[0], height=size[1], title="A pull")
    frame = stop_frame(CHART, *size)
    assert f'd="M{frame.x(0.0):.2f} {frame.y(2.0):.2f} ' in svg
    assert f'{frame.x(4.0):.2f} {frame.y(8.0):.2f}"' in svg
    for words in ("&lt;far&gt;", "iris: 15", "zoom: a prime", "pair: stands", "+- 0.06 stop", "0.05 passes"):
        assert words in svg
    assert "<far>" not in svg
    assert re.findall(r">([FIZX])</text>", svg) == ["F", "I", "Z", "X"]
    drawn = [float(value) for value in re.findall(r'\by[12]?="(-?[0-9.]+)"', svg)]
    assert min(drawn) >= 0
    assert max(drawn) <= size[1]


def test_stops_are_even_in_the_frame() -> None:
    """From T2 to T4 is as far as from T4 to T8, and what lies outside is held to the frame."""
    frame = stop_frame(CHART, 660.0, 470.0)
    assert frame.y(4.0) - frame.y(2.0) == pytest.approx(frame.y(8.0) - frame.y(4.0))
    assert (frame.y(1.0), frame.y(64.0)) == pytest.approx((frame.top, frame.bottom))
    assert (frame.x(-1.0), frame.x(9.0)) == (frame.left, frame.right)


def test_what_cannot_be_done_has_no_error() -> None:
    """Without errors the lane says so, and fewer than two moments are no pull."""
    assert "it cannot be done as planned" in pull_chart(
        replace(CHART, error_stops=None), width=660.0, height=470.0, title="x"
    )
    with pytest.raises(ValueError, match="two moments"):
        pull_chart(replace(CHART, time_s=[0.0]), width=660.0, height=470.0, title="x")
