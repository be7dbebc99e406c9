"""The map of one ring: position, band, inverse, and what it refuses."""

import math
from collections.abc import Sequence

import numpy as np
import numpy.typing as npt
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from tapehook.lens import FocusScale, LensMap, MapRefusal, Marks, StopScale, fit_map, gather_marks
from tapehook.lens.map import Z95
from tapehook.lens.taping import taping_sd_m

Floats = npt.NDArray[np.float64]

DISTANCES = [0.6, 0.7, 0.85, 1.0, 1.3, 1.8, 2.5, 4.0, 8.0, math.inf]


def _true(distance_m: npt.ArrayLike, turn: float = 250.0) -> Floats:
    """A cam a little off straight in vergence, degrees from infinity."""
    q = (1.0 / (np.asarray(distance_m, dtype=float) - 0.15)) / (1.0 / 0.45)
    curve: Floats = turn * (q + 0.25 * q * (1.0 - q))
    return curve


def _marks(
    distances: Sequence[float] = DISTANCES,
    turn: float = 250.0,
    play: float = 0.4,
    noise: float = 0.1,
    seed: int = 0,
    *,
    taped: bool = False,
) -> Marks:
    """Marks read both ways off that cam; ``play`` runs ahead of the way the ring was turned."""
    rng = np.random.default_rng(seed)
    true = _true(distances, turn)
    half = math.copysign(play / 2.0, turn)
    readings = [true - half + rng.normal(0, noise, true.size), true + half + rng.normal(0, noise, true.size)]
    n = len(distances)
    return gather_marks([*distances] * 2, np.concatenate(readings), [-1] * n + [1] * n, [taped] * (2 * n))


def _map(marks: Marks, *, degrees_per_unit: float = 1.0, near_m: float = 0.6, taped: bool = False) -> LensMap:
    return fit_map(
        marks,
        FocusScale.of(marks.values, 0.05),
        degrees_per_unit=degrees_per_unit,
        far_value=math.inf,
        near_value=near_m,
        taping_sd_m=taping_sd_m(marks.values) if taped else None,
    )


@given(st.integers(0, 1000), st.sampled_from([250.0, -250.0, 95.0]))
def test_map_lies_within_its_band_of_the_truth(seed: int, turn: float) -> None:
    """Between the marks the map is within twice its 95 % half-width of the cam it was read from."""
    found, half = _map(_marks(turn=turn, seed=seed)).position_band(DISTANCES[:-1])
    assert np.all(np.abs(found - _true(DISTANCES[:-1], turn)) < 2.0 * half)


@given(st.integers(0, 1000), st.sampled_from([250.0, -250.0]), st.lists(st.floats(0.6, 300.0), min_size=1, max_size=9))
def test_value_undoes_position(seed: int, turn: float, distances: list[float]) -> None:
    """There and back comes back to 1e-9 in vergence, either way the scale runs; infinity stays out of sight."""
    lens_map = _map(_marks(turn=turn, seed=seed))
    back = lens_map.value(lens_map.position(distances)[0])
    np.testing.assert_allclose(1.0 / back, 1.0 / np.array(distances), rtol=0, atol=1e-9)
    assert float(lens_map.value(lens_map.position(math.inf)[0])[0]) > 1e9


def test_position_undoes_value() -> None:
    """Position to distance and back comes back to 1e-9 of the whole turn over all of the scale."""
    lens_map = _map(_marks())
    ends = np.sort(lens_map.position([math.inf, 0.6])[0])
    positions = np.linspace(ends[0], ends[1], 501)[1:-1]
    found = lens_map.position(lens_map.value(positions))[0]
    np.testing.assert_allclose(found, positions, atol=1e-9 * 250.0)


def test_positions_beyond_the_ends_have_no_distance() -> None:
    """Past infinity or nearer than close focus there is no distance: NaN."""
    lens_map = _map(_marks())
    ends = np.sort(lens_map.position([math.inf, 0.6])[0])
    assert np.isnan(lens_map.value([ends[0] - 1.0, ends[1] + 1.0])).all()


def test_not_monotone_is_refused_not_bent_straight() -> None:
    """A mark a quarter turn off makes the map turn back: it says so, and refuses to be read the other way."""
    marks = _marks(noise=0.0)
    positions = marks.positions.copy()
    positions[4] += 90.0
    bent = _map(gather_marks(marks.values, positions, [0] * positions.size, [False] * positions.size))
    assert not bent.monotone
    with pytest.raises(MapRefusal, match="turns back") as refused:
        bent.value([100.0])
    assert refused.value.code == "not_monotone"
    assert _map(marks).monotone


@pytest.mark.parametrize("count", [1, 2, 3])
def test_too_few_marks_are_refused(count: int) -> None:
    """Fewer than four different values cannot make a map, and the refusal says how many there were."""
    with pytest.raises(MapRefusal, match=f"found {count}") as refused:
        _map(_marks(DISTANCES[:count]))
    assert refused.value.code == "too_few_marks"


def test_no_spread_is_refused() -> None:
    """Readings that are all the same position cannot make a map."""
    with pytest.raises(MapRefusal) as refused:
        _map(gather_marks(DISTANCES, [7.0] * 10, [0] * 10, [False] * 10))
    assert refused.value.code == "no_spread"


@settings(max_examples=30)
@given(st.integers(0, 1000), st.floats(0.01, 200.0))
def test_unit_of_the_read_out_does_not_matter(seed: int, units_per_degree: float) -> None:
    """Degrees, counts or per cent: the same map in other units, residuals, noise and play among it."""
    marks = _marks(seed=seed)
    other = gather_marks(
        [*marks.values] * 2,
        np.concatenate([marks.positions - marks.pair_differences / 2, marks.positions + marks.pair_differences / 2])
        * units_per_degree,
        [-1] * 10 + [1] * 10,
        [False] * 20,
    )
    degrees, units = _map(marks), _map(other, degrees_per_unit=1.0 / units_per_degree)
    at = [0.65, 1.1, 3.0, 20.0, math.inf]
    for one, two in zip(degrees.position_band(at), units.position_band(at), strict=True):
        np.testing.assert_allclose(two, one * units_per_degree, rtol=1e-6, atol=1e-6 * units_per_degree)
    np.testing.assert_allclose(units.residuals(), degrees.residuals() * units_per_degree, atol=1e-6 * units_per_degree)
    assert units.noise == pytest.approx(degrees.noise * units_per_degree, rel=1e-6)
    np.testing.assert_allclose(units.value(units.position(at)[0]), at, rtol=1e-6)


def test_grid_runs_from_the_far_to_the_near_end() -> None:
    """The grid is even in place, ends exactly on the ends asked for, and carries the positions and the band."""
    lens_map = _map(_marks(), near_m=0.55)
    values, positions, band = lens_map.grid(301)
    assert (values[0], values[-1], values.size) == (math.inf, 0.55, 301)
    places = lens_map.scale.place(values)
    np.testing.assert_allclose(np.diff(places), np.diff(places)[0], rtol=1e-6)
    mean, sd = lens_map.position(values)
    np.testing.assert_allclose(positions, mean, atol=1e-8)
    np.testing.assert_allclose(band, Z95 * sd, rtol=1e-5)


def test_direction() -> None:
    """``toward_near`` says which way positions rise."""
    assert _map(_marks(turn=250.0)).toward_near == 1
    assert _map(_marks(turn=-250.0)).toward_near == -1


@given(st.integers(0, 1000), st.floats(0.0, 1.5), st.sampled_from([250.0, -250.0]))
def test_play_is_found_either_way_round(seed: int, play: float, turn: float) -> None:
    """The play comes out positive whichever way the scale runs, within five of its sds."""
    found = _map(_marks(turn=turn, play=play, seed=seed)).play()
    assert found is not None
    assert found.pairs == 10
    assert abs(found.value - play) < 5.0 * 0.1 * math.sqrt(2 / 10) + 1e-9


def test_residuals_and_held_out_marks() -> None:
    """Residuals are small; the mark that was moved stands out among the held-out ones, by about what it was moved."""
    marks = _marks(noise=0.05)
    positions = marks.positions.copy()
    positions[5] += 3.0
    moved = _map(gather_marks(marks.values, positions, [0] * 10, [False] * 10))
    shift, sd = moved.held_out()
    assert int(np.argmax(np.abs(shift) / sd)) == 5
    assert shift[5] == pytest.approx(3.0, abs=1.0)
    assert np.max(np.abs(_map(marks).residuals())) < 0.2


def test_slope_is_that_of_the_curve() -> None:
    """The slope by place agrees with differences over a thousandth of the scale, sign and all."""
    lens_map = _map(_marks())
    u = lens_map.scale.place([0.8, 2.0, 10.0])
    step = 5e-4
    ends = (lens_map.position(lens_map.scale.value(u + sign * step))[0] for sign in (1, -1))
    ahead, behind = ends
    np.testing.assert_allclose(lens_map.slope_per_place([0.8, 2.0, 10.0]), (ahead - behind) / (2 * step), rtol=1e-3)
    assert np.all(lens_map.slope_per_place([0.8, 2.0, 10.0]) > 0)


def test_taped_marks_are_trusted_less_close_up() -> None:
    """The tape's error counts where distance moves the ring most: the band is wider close up, the same at infinity."""
    plain = _map(_marks(taped=True)).position_band([0.65, math.inf])[1]
    taped = _map(_marks(taped=True), taped=True).position_band([0.65, math.inf])[1]
    assert taped[0] > 1.1 * plain[0]
    assert taped[1] == pytest.approx(plain[1], rel=0.3)


def test_tape_counts_by_the_slope_and_the_square_of_vergence() -> None:
    """What the tape adds to a mark's variance goes as (q^2 sd)^2 where the ring turns evenly in vergence, by hand."""
    scale = FocusScale.of(DISTANCES, 0.05)
    even = 200.0 * scale.place(DISTANCES)
    marks = gather_marks(DISTANCES, even, [0] * 10, [True] * 10)
    fit = _map(marks, taped=True).fit
    added = (1.0 / fit.weight[0] ** 2 - marks.relative_variance)[:-1]
    expected = (scale.vergence(DISTANCES[:-1]) ** 2 * taping_sd_m(DISTANCES[:-1])) ** 2
    np.testing.assert_allclose(added / added[0], expected / expected[0], rtol=1e-5)
    assert fit.weight[0, -1] == 1.0, "infinity is not taped"


def test_tape_error() -> None:
    """3 mm and 3 mm a metre in squares, nothing at infinity (common practice, no source)."""
    found = taping_sd_m([0.0, 1.0, 4.0, math.inf])
    assert found.tolist() == pytest.approx([3e-3, 3e-3 * math.sqrt(2), 3e-3 * math.sqrt(17), 0.0])


def test_engraved_marks_do_not_mind_the_tape() -> None:
    """What the tape would cost is not counted where nothing was taped."""
    plain, with_tape = _map(_marks()), _map(_marks(), taped=True)
    np.testing.assert_array_equal(plain.position(DISTANCES)[1], with_tape.position(DISTANCES)[1])


def test_other_rings_map_too() -> None:
    """An iris ring: positions against T-numbers, and the inverse in T-numbers."""
    stops = np.array([1.4, 2.0, 2.8, 4.0, 5.6, 8.0, 11.0, 16.0])
    marks = gather_marks(stops, 12.0 * np.log2(stops**2), [0] * 8, [False] * 8)
    iris = fit_map(marks, StopScale.of(stops), degrees_per_unit=1.0, far_value=1.4, near_value=16.0)
    assert iris.monotone
    assert iris.toward_near == 1
    assert float(iris.value(iris.position(3.4)[0])[0]) == pytest.approx(3.4, rel=1e-9)
    assert float(iris.position(4.0)[0][0]) == pytest.approx(48.0, abs=0.1)
