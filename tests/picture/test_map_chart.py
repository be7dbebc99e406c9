"""The map chart: marks on their curve, errors as bars at a named stop, suspects crossed out and named."""

import math
import re

import numpy as np
import pytest

from tapehook.lens import FocalScale, FocusScale, LensMap, StopScale, fit_map, gather_marks
from tapehook.picture import PAPER, ChartMark, map_chart
from tests.picture.reading import SVG, Element, parse

DISTANCES = [0.6, 0.7, 0.85, 1.0, 1.2, 1.5, 2.0, 3.0, 5.0, 10.0, math.inf]


@pytest.fixture(scope="module")
def lens_map() -> LensMap:
    """A made-up lens whose ring turns 300 degrees, evenly in vergence from 0.1 m, read both ways."""
    positions = [300.0 * (0.5 / (d - 0.1)) for d in DISTANCES]
    marks = gather_marks(DISTANCES * 2, positions * 2, [1] * 11 + [-1] * 11, [False] * 22)
    scale = FocusScale.of(DISTANCES, 0.05)
    return fit_map(marks, scale, degrees_per_unit=1.0, far_value=math.inf, near_value=0.6)


def svg_of(lens_map: LensMap, marks: list[ChartMark], stop_text: str | None = "T2") -> str:
    """A chart of the usual size."""
    return map_chart(
        lens_map, marks, unit="deg", system="metric", stop_text=stop_text, width=300, height=200, title="A <map>"
    )


def chart(lens_map: LensMap, marks: list[ChartMark], stop_text: str | None = "T2") -> Element:
    """The same, parsed."""
    return parse(svg_of(lens_map, marks, stop_text))


def marks_of(lens_map: LensMap, used: float | None = 0.1) -> list[ChartMark]:
    """The map's own marks, all off by one share."""
    pairs = zip(lens_map.marks.values.tolist(), lens_map.marks.positions.tolist(), strict=True)
    return [ChartMark(value, position, f"{value:g} m", used) for value, position in pairs]


def curve_points(root: Element) -> np.ndarray:
    """Points of the curve."""
    node = next(
        n for n in root.iter(f"{SVG}path") if n.attrib.get("stroke") == PAPER.accent and "Z" not in n.attrib["d"]
    )
    return np.array([float(v) for v in re.findall(r"-?\d+\.\d+", node.attrib["d"])]).reshape(-1, 2)


def test_marks_lie_on_their_curve(lens_map: LensMap) -> None:
    """Marks that the map agrees with are drawn on the curve, to 0.2 points; near on the left, higher up larger."""
    root = chart(lens_map, marks_of(lens_map))
    curve = curve_points(root)
    dots = [(float(n.attrib["cx"]), float(n.attrib["cy"])) for n in root.iter(f"{SVG}circle")]
    assert len(dots) == len(DISTANCES)
    order = np.argsort(curve[:, 0])
    for x, y in dots:
        assert y == pytest.approx(np.interp(x, curve[order, 0], curve[order, 1]), abs=0.2)
    assert dots == sorted(dots)  # values come nearest first
    assert [y for _, y in dots] == sorted(y for _, y in dots)


def test_distances_are_spaced_by_vergence(lens_map: LensMap) -> None:
    """Equal steps of 1/(D - d0) are equal steps on the paper, to the digits written."""
    root = chart(lens_map, marks_of(lens_map))
    xs = [float(n.attrib["cx"]) for n in root.iter(f"{SVG}circle")]
    assert isinstance(lens_map.scale, FocusScale)
    q = lens_map.scale.vergence(lens_map.marks.values)
    slope, offset = np.polyfit(q, xs, 1)
    assert xs == pytest.approx((slope * q + offset).tolist(), abs=0.011)
    assert slope < 0


def test_bars_are_as_long_as_their_share(lens_map: LensMap) -> None:
    """A bar of 50 % is half as long as the way to the 100 % line, up for a mark read too high, down for too low."""
    marks = [ChartMark(m.value, m.position, m.text, 0.5 if i % 2 else -0.5) for i, m in enumerate(marks_of(lens_map))]
    root = chart(lens_map, marks)
    zone = next(n for n in root.iter(f"{SVG}rect") if n.attrib["fill"] == PAPER.sharp)
    half = float(zone.attrib["height"]) / 2
    middle = float(zone.attrib["y"]) + half
    bars = [n for n in root.iter(f"{SVG}rect") if n.attrib["fill"] == PAPER.accent]
    assert len(bars) == len(marks)
    for bar, mark in zip(bars, marks, strict=True):
        assert float(bar.attrib["height"]) == pytest.approx(half / 2, abs=0.02)
        assert mark.used is not None
        start = middle if mark.used < 0 else middle - half / 2
        assert float(bar.attrib["y"]) == pytest.approx(start, abs=0.02)


def test_a_suspect_is_crossed_out_and_named(lens_map: LensMap) -> None:
    """A cross with a word and its figure: never colour alone."""
    marks = marks_of(lens_map)
    marks[3] = ChartMark(1.0, 140.0, "1 m", -2.12, suspect=True)
    root = chart(lens_map, marks)
    said = [n.text for n in root.iter(f"{SVG}text")]
    assert "check 1 m" in said
    assert "212 %" in said
    assert len(list(root.iter(f"{SVG}circle"))) == len(marks) - 1
    description = root.findtext(f"{SVG}desc") or ""
    assert "To be checked: 1 m." in description
    assert "212 % of the depth at T2" in description


def test_a_share_names_its_stop(lens_map: LensMap) -> None:
    """Without a stop a share is refused; with one it stands above the bars."""
    with pytest.raises(ValueError, match="name the stop"):
        chart(lens_map, marks_of(lens_map), stop_text=None)
    said = [n.text for n in chart(lens_map, marks_of(lens_map)).iter(f"{SVG}text")]
    assert any("depth used at T2" in (text or "") for text in said)


def test_without_shares_there_is_no_lower_panel(lens_map: LensMap) -> None:
    """A lens without a focal length has a map, and no depth to hold errors against."""
    root = chart(lens_map, marks_of(lens_map, used=None), stop_text=None)
    assert not any("depth used" in (n.text or "") for n in root.iter(f"{SVG}text"))
    assert all(n.attrib["fill"] != PAPER.sharp for n in root.iter(f"{SVG}rect"))


def test_text_of_a_mark_is_text(lens_map: LensMap) -> None:
    """A mark's name from a file cannot become markup."""
    marks = marks_of(lens_map)
    marks[0] = ChartMark(0.6, 300.0, '<script>"&', 3.0, suspect=True)
    root = chart(lens_map, marks)
    assert 'check <script>"&' in [n.text for n in root.iter(f"{SVG}text")]
    assert not [n for n in root.iter() if "script" in n.tag]


@pytest.mark.parametrize(
    "scale, values",
    [
        (StopScale.of([2.0, 22.0]), [2.0, 2.8, 4.0, 5.6, 8.0, 11.0, 22.0]),
        (FocalScale.of([24.0, 75.0]), [24.0, 28.0, 35.0, 50.0, 75.0]),
    ],
    ids=["iris", "zoom"],
)
def test_other_rings_are_drawn_alike(scale: StopScale | FocalScale, values: list[float]) -> None:
    """Iris and zoom: the small end on the left, equal ratios equally far apart, ends labelled inside the picture."""
    positions = [40.0 * math.log2(value) for value in values]
    marks = gather_marks(values, positions, [0] * len(values), [False] * len(values))
    ring = fit_map(marks, scale, degrees_per_unit=1.0, far_value=values[0], near_value=values[-1])
    root = chart(ring, [ChartMark(v, p, f"{v:g}") for v, p in zip(values, positions, strict=True)], stop_text=None)
    xs = [float(n.attrib["cx"]) for n in root.iter(f"{SVG}circle")]
    slope, offset = np.polyfit(np.log(values), xs, 1)
    assert xs == pytest.approx((slope * np.log(values) + offset).tolist(), abs=0.011)
    assert slope > 0


def test_equal_input_gives_equal_text(lens_map: LensMap) -> None:
    """Deterministic to the byte."""
    first, second = (svg_of(lens_map, marks_of(lens_map)) for _ in range(2))
    assert first == second
