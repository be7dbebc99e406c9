"""The depth rule: distances spaced by vergence, a zone that keeps its width, labels that never overlap."""

import itertools
import math
import re

import pytest
from hypothesis import given
from hypothesis import strategies as st

from tapehook.picture import RuleScale, SharpZone, depth_rule
from tapehook.picture.depth_rule import rule_ticks
from tapehook.picture.lettering import text_width
from tests.picture.reading import SVG, parse

SCALE = RuleScale(close_m=0.6, datum_m=0.07, left=30.0, right=510.0)
scales = st.builds(
    lambda datum_m, room_m: RuleScale(datum_m + room_m, datum_m, 30.0, 510.0), st.floats(0.0, 0.3), st.floats(0.1, 3.0)
)


@given(scales, st.floats(1.0, 1e3))
def test_places_are_even_in_vergence(scale: RuleScale, times: float) -> None:
    """A distance lies as far from infinity as its vergence is a part of that of close focus."""
    room = scale.close_m - scale.datum_m
    distance_m = scale.datum_m + room * times
    assert (scale.right - scale.x(distance_m)) / 480.0 == pytest.approx(1.0 / times, rel=1e-9)
    assert scale.x(math.inf) == scale.right


@given(scales, st.floats(0.2, 0.8), st.floats(0.001, 0.15))
def test_the_sharp_zone_keeps_its_width(scale: RuleScale, part: float, width_part: float) -> None:
    """Near and far at q + w and q - w lie equally far from the focus, wherever it stands (docs/optics.md)."""
    q_close = 1.0 / (scale.close_m - scale.datum_m)
    q, w = part * q_close, width_part * q_close
    near, focus, far = (scale.x(scale.datum_m + 1.0 / v) for v in (q + w, q, q - w))
    assert far - focus == pytest.approx(480.0 * width_part, abs=1e-6)
    assert focus - near == pytest.approx(480.0 * width_part, abs=1e-6)


@pytest.mark.parametrize("close_m, datum_m", [(0.1, 0.1), (0.05, 0.1), (math.inf, 0.1)])
def test_a_rule_starts_beyond_its_datum(close_m: float, datum_m: float) -> None:
    """A rule that started at the entrance pupil would be endless."""
    with pytest.raises(ValueError, match="beyond its datum"):
        RuleScale(close_m, datum_m, 0.0, 100.0)


@given(scales, st.sampled_from(["metric", "imperial"]))
def test_labels_never_overlap(scale: RuleScale, system: str) -> None:
    """Labels keep four points between each other; infinity and close focus are always named."""
    named, plain = rule_ticks(scale, "metric" if system == "metric" else "imperial")
    spans = sorted(
        (scale.x(tick.value) - text_width(tick.text, 9.0) / 2, scale.x(tick.value) + text_width(tick.text, 9.0) / 2)
        for tick in named
    )
    assert all(end + 4.0 <= start + 1e-9 for (_, end), (start, _) in itertools.pairwise(spans))
    assert named[0].text == "∞"
    places = [scale.x(tick.value) for tick in [*named, *plain]]
    assert min((abs(a - b) for a in places for b in places if a is not b), default=9.0) >= 2.5


def test_near_and_far_stand_beside_each_row() -> None:
    """Every stop has its row with its name, near and far, and the picture says the same in words."""
    zones = [SharpZone(1.8, 2.3, "T1.5"), SharpZone(1.6, 2.8, "T2.8"), SharpZone(1.2, math.inf, "T11")]
    text = depth_rule(SCALE, zones, focus_m=2.0, system="metric", width=520.0, title="rule")
    root = parse(text)
    words = [node.text for node in root.iter(f"{SVG}text")]
    assert {"T1.5", "1.8 m", "2.3 m", "T2.8", "1.6 m", "2.8 m", "T11", "1.2 m", "∞"} <= {
        part for word in words for part in (word or "").split(" to ")
    }
    description = root.findtext(f"{SVG}desc")
    assert description is not None
    assert description.startswith("Focus at 2 m. T1.5: sharp from 1.8 m to 2.3 m; ")
    assert depth_rule(SCALE, zones, focus_m=2.0, system="metric", width=520.0, title="rule") == text


@given(st.floats(0.6, 50), st.floats(0.001, 1), st.sampled_from([1, 5]))
def test_nothing_leaves_the_picture(near_m: float, deep: float, rows: int) -> None:
    """No number in the picture lies outside it, whatever the zone."""
    far_m = near_m * (1 + 2 * deep) if deep < 0.8 else math.inf
    zones = [SharpZone(near_m, far_m, f"T{i + 1}") for i in range(rows)]
    text = depth_rule(SCALE, zones, focus_m=near_m * (1 + deep), system="imperial", width=520.0, title="rule")
    root = parse(text)
    height = float(root.attrib["height"])
    for node in root.iter():
        for key, most in (("x", 520.0), ("x1", 520.0), ("x2", 520.0), ("y", height), ("y1", height), ("y2", height)):
            if key in node.attrib:
                assert -0.01 <= float(node.attrib[key]) <= most + 0.01
    for node in root.iter(f"{SVG}text"):
        x, wide = float(node.attrib["x"]), text_width(node.text or "", 9.0, bold="font-weight" in node.attrib)
        start = x - {"start": 0.0, "middle": 0.5, "end": 1.0}[node.attrib["text-anchor"]] * wide
        assert -0.01 <= start <= start + wide <= 522.0
    for d in re.findall(r' d="([^"]*)"', text):
        assert all(-0.01 <= float(value) <= 520.01 for value in re.findall(r"-?\d+\.\d+", d))
