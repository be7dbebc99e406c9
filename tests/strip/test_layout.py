"""Laying a map out flat: the arc by hand, which marks are chosen, what is in doubt, and what cannot be laid."""

import math

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from tapehook.lens import FocusScale, LensMap, fit_map, gather_marks
from tapehook.strip import Ring, Strip, StripRefusal, lay_out
from tapehook.strip.choice import Ends, RowKind, between, candidates
from tapehook.strip.ring import lay

DISTANCES_M = (0.6, 0.7, 0.85, 1.0, 1.3, 1.8, 2.5, 4.0, 8.0, math.inf)


def _width(text: str, size: float) -> float:
    return 0.6 * size * len(text)


def _map(distances: tuple[float, ...] = DISTANCES_M, sign: float = 1.0, near_m: float = 0.6) -> LensMap:
    """A ring that turns 250 degrees evenly in vergence from 150 mm, read without noise."""
    positions = [sign * 250.0 * 0.45 / (distance - 0.15) for distance in distances]
    marks = gather_marks(distances, positions, [0] * len(distances), [False] * len(distances))
    scale = FocusScale.of(distances, 0.05)
    return fit_map(marks, scale, degrees_per_unit=1.0, far_value=math.inf, near_value=near_m)


def _strip(lens_map: LensMap, ring: Ring, kinds: tuple[RowKind, ...] = ("m",), degrees: float | None = 1.0) -> Strip:
    return lay_out(lens_map, ring, kinds, degrees_per_unit=degrees, tape_mm=12.0, text_width=_width)


@given(st.floats(20, 200), st.booleans(), st.sampled_from([-1.0, 1.0]))
def test_arcs_by_hand(diameter: float, left_handed: bool, sign: float) -> None:
    """Whichever way read-out and scale run, a mark lies at the turn from infinity times the arc of a degree."""
    strip = _strip(_map(sign=sign), Ring.of_diameter(diameter, left_handed=left_handed))
    per_degree = math.pi * diameter / 360.0
    assert strip.length_mm == pytest.approx(250.0 * per_degree, rel=1e-3)
    for tick in strip.ticks:
        turned = 250.0 * 0.45 / (tick.value - 0.15) * per_degree
        by_hand = turned if left_handed else strip.length_mm - turned
        assert tick.arc_mm == pytest.approx(by_hand, abs=0.05 * per_degree)
    ends = sorted((tick.value for tick in strip.ticks if tick.label), key=lambda v: -v)
    assert (ends[0], ends[-1]) == (math.inf, 0.6)
    assert strip.overlaps == 0
    assert (strip.ticks[0].arc_mm, strip.ticks[-1].arc_mm) == (0.0, strip.length_mm)


def test_beyond_the_marks_is_outside() -> None:
    """Ticks nearer than the nearest mark, and infinity where it was not read, are outside; those between are not."""
    strip = _strip(_map((0.85, 1.0, 1.3, 1.8, 2.5, 4.0, 8.0)), Ring.of_diameter(80))
    doubts = {tick.label: tick.doubt for tick in strip.ticks if tick.label}
    assert doubts["∞"] == "outside"
    assert doubts["0.6"] == "outside"
    assert doubts["10"] == "outside"
    assert {doubts[label] for label in ("1", "2", "3", "5")} == {None}


def test_a_wide_band_makes_no_firm_tick() -> None:
    """The limit is asked for at each value: where the band is above it, or it is not known, the tick is in doubt."""
    lens_map = _map()

    def limits(values: np.ndarray) -> np.ndarray:
        return np.where(values > 2.0, 0.0, np.where(values > 1.0, np.nan, 10.0))

    strip = lay_out(
        lens_map, Ring.of_diameter(80), ("m",), degrees_per_unit=1.0, tape_mm=12, text_width=_width, limits=limits
    )
    for tick in strip.ticks:
        assert tick.doubt == (None if tick.value <= 1.0 else "wide")


def test_rotation_and_zero() -> None:
    """A disc of half a turn has half its circumference as scale; the line to lay it by is where it was asked for."""
    strip = _strip(_map(), Ring(200.0, 180.0, zero=125.0), degrees=None)
    assert strip.length_mm == pytest.approx(100.0)
    assert strip.zero_mm == pytest.approx(50.0, abs=0.1)
    assert _strip(_map(), Ring(200.0)).zero_mm == pytest.approx(200.0 * 250 / 360, abs=0.1)


def test_rows_of_two_units() -> None:
    """Feet above metres, each with both ends, each in order along the strip."""
    strip = _strip(_map(), Ring.of_diameter(80), ("ft", "m"))
    assert [row.kind for row in strip.rows] == ["ft", "m"]
    for row in strip.rows:
        arcs = [tick.arc_mm for tick in row.ticks]
        assert arcs == sorted(arcs)
        assert sum(tick.label == "∞" for tick in row.ticks) == 1
        assert min(np.diff(arcs)) >= 1.0


@pytest.mark.parametrize(
    "ring, degrees, code",
    [
        (Ring(200.0), None, "turn_unknown"),
        (Ring(200.0), 2.0, "too_long"),
        (Ring(200.0, 361.0), 1.0, "too_long"),
    ],
)
def test_what_cannot_be_laid(ring: Ring, degrees: float | None, code: str) -> None:
    """A turn nobody knows and a scale longer than the ring are refused by name."""
    with pytest.raises(StripRefusal) as refusal:
        _strip(_map(), ring, degrees=degrees)
    assert refusal.value.code == code


def test_a_scale_of_no_length() -> None:
    """Both ends at one position."""
    with pytest.raises(StripRefusal, match="one position"):
        lay(Ring(200.0), 5.0, 5.0, 1.0)


def test_a_map_that_turns_back() -> None:
    """A mark would stand for two distances."""
    marks = gather_marks([0.6, 0.8, 1.0, 2.0, math.inf], [100.0, 40.0, 90.0, 20.0, 0.0], [0] * 5, [False] * 5)
    scale = FocusScale.of([0.6], 0.05)
    lens_map = fit_map(marks, scale, degrees_per_unit=1.0, far_value=math.inf, near_value=0.6)
    assert not lens_map.monotone
    with pytest.raises(StripRefusal) as refusal:
        _strip(lens_map, Ring(200.0))
    assert refusal.value.code == "not_monotone"


def test_a_strip_too_short_for_its_ends_says_so() -> None:
    """A ring 5 mm across with a scale of 4 mm: both ends are labelled still, and what stands over is counted."""
    strip = _strip(_map(), Ring(15.7, 90.0))
    assert [tick.label for tick in strip.ticks if tick.label] == ["0.6", "∞"]


@pytest.mark.parametrize(
    "kind, one, other, wanted",
    [
        ("m", 1.0, 1.2, [1.05, 1.1, 1.15]),
        ("ft", 0.6096, 0.762, [0.6096 + 0.0254 * i for i in range(1, 6)]),
        ("mm", 35.0, 50.0, [40.0, 45.0]),
        ("m", 20.0, math.inf, None),
    ],
)
def test_steps_between_labels(kind: RowKind, one: float, other: float, wanted: list[float] | None) -> None:
    """Smaller ticks count in round steps; nothing is counted towards infinity."""
    found = between(kind, one, other)
    if wanted is None:
        assert found == []
    else:
        assert any(len(values) == len(wanted) and np.allclose(values, wanted) for values in found)


def test_stops_go_in_thirds() -> None:
    """Between T2 and T4: sixths, thirds and halves of the way, in equal ratios."""
    (_, thirds, halves) = between("T", 2.0, 4.0)
    assert thirds == pytest.approx([2 * 2 ** (1 / 3), 2 * 2 ** (2 / 3)])
    assert halves == pytest.approx([2 * math.sqrt(2)])


@pytest.mark.parametrize("kind", ["ft", "m", "T", "mm"])
def test_both_ends_come_first(kind: RowKind) -> None:
    """Whatever the row, its ends are candidates once, before everything else, and nothing lies outside them."""
    ends = Ends(math.inf, 0.45) if kind in ("ft", "m") else Ends(2.0, 90.0)
    found = candidates(kind, ends)
    assert [one.value for one in found[:2]] == [ends.far, ends.near]
    low, high = sorted((ends.far, ends.near))
    assert all(low < one.value < high for one in found[2:])
    assert len({one.text for one in found}) >= 7
