"""The sharp lane over time: places on the picture are those of the figures, and what people typed stays text."""

import itertools
import re

import pytest

from tapehook.picture.floor_plan import FloorPlan, Way, floor_plan
from tapehook.picture.lane_chart import LaneChart, PersonLine, lane_chart
from tapehook.picture.lettering import text_width
from tests.picture.reading import parse

EVIL = '<b>"Ada" & co</b>'


def _chart(name: str = "Ada", *, soft: bool = False) -> LaneChart:
    time = [k / 4 for k in range(9)]
    distance = [4.0 - k / 4 for k in range(9)]
    people = [PersonLine(name, distance, [soft and k > 5 for k in range(9)])]
    return LaneChart(
        time, [0.9 * d for d in distance], [1.1 * d for d in distance], distance, people, [0.0, 2.0], "T2.8"
    )


def _drawn(chart: LaneChart) -> str:
    return lane_chart(chart, system="metric", width=400.0, height=200.0, title="A walk")


def test_the_line_lies_in_the_lane() -> None:
    """At each moment the pull is between the ends of the lane, and it runs from the first moment to the last."""
    root = parse(_drawn(_chart()))
    paths = [one.get("d") or "" for one in root.iter() if one.tag.endswith("path")]
    points = [[tuple(map(float, pair)) for pair in re.findall(r"(-?[\d.]+) (-?[\d.]+)", text)] for text in paths]
    lane = next(one for text, one in zip(paths, points, strict=True) if text.endswith("Z") and len(one) == 18)
    pull = [one for one in points if len(one) == 9][-1]
    near, far = lane[:9], lane[9:][::-1]
    for (x, y), top, bottom in zip(pull, near, far, strict=True):
        assert x == top[0] == bottom[0]
        assert top[1] <= y <= bottom[1]  # near is higher up
    assert pull[0][0] < pull[-1][0]


def test_softness_is_crossed_and_named() -> None:
    """Soft frames have crosses, an entry in the legend and a sentence; without them there is none of it."""
    soft, sharp = _drawn(_chart(soft=True)), _drawn(_chart())
    assert "x: soft" in soft
    assert "Ada soft in 3 frames" in soft
    assert "x: soft" not in sharp
    assert "nobody is soft" in sharp


def test_names_stay_text() -> None:
    """Whatever people are called, in both pictures."""
    plan = FloorPlan(Way("camera", [0.0], [(0.0, 0.0)]), [Way(EVIL, [0.0, 1.0], [(0.0, 2.0), (0.5, 3.0)])], 40.0)
    for drawn in (_drawn(_chart(EVIL)), floor_plan(plan, width=200.0, height=200.0, title=EVIL)):
        assert "<b>" not in drawn
        parse(drawn)


def test_one_moment_is_no_shot() -> None:
    """Fewer than two moments are refused."""
    chart = LaneChart([0.0], [1.0], [2.0], [1.5], [], [], "T2")
    with pytest.raises(ValueError, match="two moments"):
        _drawn(chart)


def test_the_plan_keeps_one_scale() -> None:
    """A metre to the side is as long as one away, farther away is higher up, marks on one spot share their words."""
    way = Way("Ada", [0.0, 2.0, 5.0], [(1.0, 1.0), (1.0, 3.0), (1.0, 3.0)])
    other = Way("Ivo", [0.0], [(3.0, 1.0)])
    drawn = floor_plan(
        FloorPlan(Way("camera", [0.0], [(0.0, 0.0)]), [way, other], None), width=300.0, height=300.0, title="x"
    )
    places = [(float(one.get("cx") or 0), float(one.get("cy") or 0)) for one in parse(drawn).iter() if one.get("cx")]
    ada, ada_far, _, ivo = places
    assert ivo[0] - ada[0] == pytest.approx(ada[1] - ada_far[1], abs=0.02)
    assert ada_far[1] < ada[1]
    assert "2 s, 5 s" in drawn


def test_words_on_the_plan_run_over_no_others() -> None:
    """Two people whose marks nearly meet, at the edge of the picture: all words are apart, and inside."""
    people = [
        Way("Tess", [0.0, 4.0, 6.5], [(0.3, 6.0), (0.0, 2.0), (0.02, 1.98)]),
        Way("Joost", [0.0, 4.4, 6.5], [(0.4, 6.1), (0.03, 2.01), (0.0, 1.95)]),
    ]
    drawn = floor_plan(
        FloorPlan(Way("camera", [0.0], [(0.0, 0.0)]), people, None), width=160.0, height=220.0, title="x"
    )
    boxes = []
    for one in parse(drawn).iter():
        if one.tag.endswith("text") and " s" in (one.text or ""):
            left, base = float(one.get("x") or 0), float(one.get("y") or 0)
            boxes.append((left, base - 6.5, left + text_width(one.text or "", 9.0), base + 1.5))
    assert len(boxes) >= 4
    assert all(left >= 0 and right <= 160.0 and bottom <= 220.0 for left, _, right, bottom in boxes)
    for (x, y, r, b), (left, top, right, bottom) in itertools.combinations(boxes, 2):
        assert not (left < r and x < right and top < b and y < bottom)
