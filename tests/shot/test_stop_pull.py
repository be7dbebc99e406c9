"""Balanced stop pulls: the exposure stands still in an independent simulation, within the budget told."""

import math
from itertools import product

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from tapehook.lens import fit_map, gather_marks
from tapehook.lens.filter_table import fit_filter_table
from tapehook.lens.scale import StopScale
from tapehook.optics import Pupil, blur_diameter_m, depth_of_field
from tapehook.optics.polariser import PolariserPair
from tapehook.shot.stop_course import f_number_for_blur, f_number_for_depth, scaled_course, stop_course
from tapehook.shot.stop_pull import ExtraRing, IrisRing, SetFrom, balanced_pull, largest_part, shortest_stretch
from tests.shot.stop_pulls import exposure_drift, pair_stops, ring_of_stops, stops_of_ring

K0, K90 = 0.32, 5e-5
PAIR = PolariserPair(K0, K90)
LABELLED = np.arange(1, 9)
"""Whole stops from T1.4 to T16."""


def iris(play_deg: float = 0.0, *, both_ways: bool = True, noise_deg: float = 0.0, sense: int = 1) -> IrisRing:
    """A ring of the simulation as it is read: both ways with its play, or one way."""
    rng = np.random.default_rng(7)
    values = np.sqrt(2.0) ** LABELLED
    rows = [(t, way) for t in values for way in ((-1, 1) if both_ways else (0,))]
    noise = rng.normal(0.0, noise_deg, len(rows)) if noise_deg else np.zeros(len(rows))
    places = ring_of_stops(2.0 * np.log2(np.array([t for t, _ in rows])))
    ahead = np.array([way for _, way in rows]) * play_deg / 2.0
    positions = sense * (places + ahead) + noise
    marks = gather_marks([t for t, _ in rows], positions, [way for _, way in rows], [False] * len(rows))
    scale = StopScale.of(marks.values)
    ring = fit_map(marks, scale, degrees_per_unit=1.0, far_value=values[0], near_value=values[-1])
    return IrisRing(ring, 0.4)


def extra(backlash_deg: float = 0.2, speed: float | None = 120.0) -> ExtraRing:
    """The pair on a motor whose travel is the whole quarter turn."""
    return ExtraRing(PAIR, 0.0, 90.0, backlash_deg, 0.02, speed_deg_s=speed)


def course(first: float, last: float, seconds: float, easing: str = "eased") -> tuple[np.ndarray, np.ndarray]:
    """A course at 24 frames a second."""
    times = np.linspace(0.0, seconds, round(seconds * 24) + 1)
    return times, stop_course(times, [0.0, seconds], [first, last], "even" if easing == "even" else "eased")


@pytest.mark.parametrize("easing", ["even", "eased"])
@pytest.mark.parametrize("ends", [(2.0, 8.0), (8.0, 2.0)])
def test_the_exposure_stands_still(easing: str, ends: tuple[float, float]) -> None:
    """T2 to T8 in 6 s and back, perfect motors: from the reported positions the exposure is constant to 0.05 stop."""
    times, t = course(*ends, 6.0, easing)
    pull = balanced_pull(times, t, iris(), extra(), lag_s=0.04, tolerance_stops=0.05)
    assert pull.feasible
    _, drift = exposure_drift(times, pull.iris_positions, pull.extra_deg, stops_of_ring, pair_stops(K0, K90))
    assert np.ptp(drift) <= 0.05
    assert -drift.mean() == pytest.approx(2 * math.log2(8.0) + pull.loss_stops, abs=0.02)


@pytest.mark.parametrize("lags", [(0.04, 0.0), (0.0, 0.04)])
@pytest.mark.parametrize("both_ways", [True, False])
@pytest.mark.parametrize("ends", [(2.0, 8.0), (8.0, 2.0)])
def test_backlash_and_lag_stay_within_the_budget(
    lags: tuple[float, float], both_ways: bool, ends: tuple[float, float]
) -> None:
    """Play of 0.4 degrees on the iris, 0.2 on the filter, 40 ms on either motor: at each moment within what is told."""
    times, t = course(*ends, 6.0)
    ring = iris(0.4, both_ways=both_ways, noise_deg=0.03)
    pull = balanced_pull(times, t, ring, extra(), lag_s=0.04, tolerance_stops=0.05)
    ticks, drift = exposure_drift(
        times,
        pull.iris_positions,
        pull.extra_deg,
        stops_of_ring,
        pair_stops(K0, K90),
        iris_play=0.4,
        extra_play=0.2,
        iris_lag_s=lags[0],
        extra_lag_s=lags[1],
    )
    wanted = -(2 * math.log2(max(ends)) + pull.loss_stops)
    told = np.interp(ticks, times, pull.error_stops)
    assert np.all(np.abs(drift - wanted) <= told)


@pytest.mark.parametrize("ahead", [0.024, -0.04])
@pytest.mark.parametrize("easing", ["even", "eased"])
def test_a_known_lag_is_made_up_for(ahead: float, easing: str) -> None:
    """The slower motor told ahead by what it lags more: in the simulation, both late, the light stands still again, in
    less than half the drift of telling both alike; the first moments, before a motor can be early, apart."""
    times, t = course(2.0, 8.0, 6.0, easing)
    args = stops_of_ring, pair_stops(K0, K90)
    late_iris, late_extra = 0.02 + max(-ahead, 0.0), 0.02 + max(ahead, 0.0)
    drifts = []
    for early in (ahead, 0.0):
        pull = balanced_pull(times, t, iris(), extra(0.0), lag_s=0.01, tolerance_stops=0.05, extra_ahead_s=early)
        told = times, pull.iris_positions, pull.extra_deg
        ticks, drift = exposure_drift(*told, *args, iris_lag_s=late_iris, extra_lag_s=late_extra)
        seen = drift[(ticks > 0.1) & (ticks < 5.9)]
        drifts.append(float(np.abs(seen + 6.0 + pull.loss_stops).max()))
    assert drifts[0] < 0.5 * drifts[1]
    assert drifts[0] <= 0.015


def test_measured_play_is_taken_up() -> None:
    """Read both ways, the iris is told half its play ahead, and the ring ends up where the light is right."""
    times, t = course(2.0, 8.0, 6.0)
    exact, loose = iris(), iris(0.6)
    told = [balanced_pull(times, t, ring, extra(0.0), lag_s=0.0, tolerance_stops=0.05) for ring in (exact, loose)]
    ahead = told[1].iris_positions - told[0].iris_positions
    assert ahead == pytest.approx(np.full(times.size, 0.3), abs=0.02)
    args = stops_of_ring, pair_stops(K0, K90)
    _, drift = exposure_drift(times, told[1].iris_positions, told[1].extra_deg, *args, iris_play=0.6)
    assert np.ptp(drift) <= 0.03


def test_a_ring_that_runs_the_other_way() -> None:
    """Positions that fall towards small stops: the play is taken up to the other side, and the light is right."""
    times, t = course(2.0, 8.0, 6.0)
    pull = balanced_pull(times, t, iris(0.4, sense=-1), extra(0.0), lag_s=0.0, tolerance_stops=0.05)
    args = stops_of_ring, pair_stops(K0, K90)
    _, drift = exposure_drift(times, -pull.iris_positions, pull.extra_deg, *args, iris_play=0.4)
    assert np.ptp(drift) <= 0.03


def test_more_than_the_filter_has_is_refused_with_what_works() -> None:
    """T1.4 to T16 is seven stops; a filter that gives five stops allows five, and a little more is refused again."""
    positions = np.linspace(0.0, 100.0, 11)
    table = fit_filter_table(positions, 0.3 + 1.505 * positions / 100.0)
    ring = ExtraRing(table, 0.0, 100.0, 0.2)
    times, t = course(np.sqrt(2.0), 16.0, 6.0)
    pull = balanced_pull(times, t, iris(), ring, lag_s=0.04, tolerance_stops=0.05)
    assert [limit.kind for limit in pull.limits if limit.hard and not limit.holds] == ["density"]
    part = largest_part(times, t, iris(), ring)
    assert 7.0 * part == pytest.approx(5.0, abs=0.02)
    for factor, works in ((0.999, True), (1.001, False)):
        again = balanced_pull(times, scaled_course(t, part * factor), iris(), ring, lag_s=0.04, tolerance_stops=0.05)
        assert again.feasible is works


def test_too_fast_is_told_with_the_length_that_works() -> None:
    """Four stops in a quarter of a second are too fast; slowed by the factor told they are not."""
    times, t = course(2.0, 8.0, 0.25)
    rings = IrisRing(iris().lens_map, 0.4, 100.0), extra(speed=60.0)
    assert not balanced_pull(times, t, *rings, lag_s=0.0, tolerance_stops=1.0).feasible
    stretch = shortest_stretch(times, t, *rings)
    assert stretch is not None
    assert balanced_pull(times * stretch, t, *rings, lag_s=0.0, tolerance_stops=1.0).feasible
    assert not balanced_pull(times * stretch * 0.98, t, *rings, lag_s=0.0, tolerance_stops=1.0).feasible
    out_of_range = scaled_course(t, 2.5)
    assert shortest_stretch(times, out_of_range, *rings) is None


def test_a_slow_extra_motor_rests_where_it_keeps_up() -> None:
    """With a slow motor the filter rests a little denser, where its ring has less far to go for the same light."""
    times, t = course(2.0, 8.0, 6.0, "even")
    fast, slow = (
        balanced_pull(times, t, iris(), extra(speed=v), lag_s=0.0, tolerance_stops=1.0) for v in (500.0, 30.0)
    )
    assert slow.feasible
    assert slow.loss_stops > fast.loss_stops
    assert np.abs(np.diff(slow.extra_deg)).max() * 24 <= 30.0 + 1e-6


def test_stops_the_iris_was_not_read_at_are_refused() -> None:
    """T22 lies a stop beyond the marks."""
    times, t = course(8.0, 2**4.5, 6.0)
    pull = balanced_pull(times, t, iris(), extra(), lag_s=0.0, tolerance_stops=1.0)
    (broken,) = [limit for limit in pull.limits if not limit.holds and limit.hard]
    assert broken.kind == "iris_range"
    assert broken.asks == pytest.approx(1.0)


def test_close_to_crossing_the_filter_is_left_alone() -> None:
    """Where half the play would make a tenth of a stop the filter ends: 84.3 degrees, by 2 tan a pi/180/ln 2."""
    least, most = extra(0.4).densities
    angle = float(PAIR.angle_deg(most))
    by_hand = math.degrees(math.atan(0.1 / 0.2 * math.log(2) * 180 / math.pi / 2))
    assert least == pytest.approx(-math.log10(K0))
    assert angle == pytest.approx(by_hand, abs=0.5)


def test_a_filter_that_falls_and_travel_run_backwards() -> None:
    """A table whose density falls, on a motor that turns it backwards: percent and light agree all the same."""
    positions = np.linspace(0.0, 100.0, 11)
    table = fit_filter_table(positions, 1.9 - 1.5 * positions / 100.0)
    ring = ExtraRing(table, 100.0, 0.0, 0.1)
    times, t = course(2.0, 4.0, 3.0)
    pull = balanced_pull(times, t, iris(), ring, lag_s=0.0, tolerance_stops=1.0)
    assert pull.extra_percent == pytest.approx(100.0 - pull.extra_deg)
    light = 2 * np.log2(t) + (1.9 - 1.5 * pull.extra_deg / 100.0) / math.log10(2.0)
    assert np.ptp(light) <= 0.01


def test_a_course_that_turns_back() -> None:
    """T2 to T8 and back: what the iris motor is told jumps by the play at the turn, and the light stands still."""
    times = np.linspace(0.0, 12.0, 289)
    t = stop_course(times, [0.0, 6.0, 12.0], [2.0, 8.0, 2.0], "eased")
    pull = balanced_pull(times, t, iris(0.4), extra(0.0), lag_s=0.0, tolerance_stops=0.05)
    args = stops_of_ring, pair_stops(K0, K90)
    _, drift = exposure_drift(times, pull.iris_positions, pull.extra_deg, *args, iris_play=0.4)
    assert np.ptp(drift) <= 0.05


stops = st.floats(1.0, 6.9)


@given(first=stops, last=stops, seconds=st.floats(0.5, 20), backlash=st.floats(0, 1))
def test_any_course_is_worked_out(first: float, last: float, seconds: float, backlash: float) -> None:
    """Whatever is asked, figures come out finite, limits are told, and what is feasible holds the exposure."""
    times, t = course(2 ** (first / 2), 2 ** (last / 2), seconds)
    pull = balanced_pull(times, t, RING, extra(backlash), lag_s=0.04, tolerance_stops=0.05)
    arrays = (pull.iris_positions, pull.densities, pull.extra_deg, pull.extra_percent, pull.error_stops)
    assert all(np.isfinite(array).all() for array in arrays)
    assert {limit.kind for limit in pull.limits} >= {"density", "iris_range", "extra_speed", "error"}
    if pull.feasible:
        assert np.ptp(2 * np.log2(t) + pull.densities / math.log10(2.0)) <= 1e-6
        assert np.abs(PAIR.angle_deg(pull.densities) - pull.extra_deg).max() <= backlash / 2 + 1e-9


RING = iris(0.2)


def test_courses() -> None:
    """Ends are held, moments go through their stops, and scaling keeps the first stop."""
    times = np.linspace(-1.0, 8.0, 91)
    for easing, (a, b) in product(("even", "eased"), ((2.0, 8.0), (8.0, 2.0))):
        t = stop_course(times, [0.0, 3.0, 6.0], [a, 4.0, b], "even" if easing == "even" else "eased")
        assert (t[0], t[-1]) == (a, b)
        assert t[40] == pytest.approx(4.0)
        assert scaled_course(t, 0.5)[-1] == pytest.approx(math.sqrt(a * b))
    with pytest.raises(ValueError, match="rising moments"):
        stop_course(times, [0.0, 0.0], [2.0, 4.0], "even")


@given(
    f_number=st.floats(1, 22),
    focal=st.floats(0.018, 0.2),
    lengths=st.floats(15, 200),
    behind=st.one_of(st.just(math.inf), st.floats(1.05, 20)),
    magnification=st.floats(0.4, 3),
)
def test_depth_and_blur_give_their_f_number_back(
    f_number: float, focal: float, lengths: float, behind: float, magnification: float
) -> None:
    """The depth and the blur that the optics give at an f-number ask for that f-number."""
    pupil, focus = Pupil(focal * 0.9, magnification), focal * lengths
    blur = float(blur_diameter_m(focus * behind, focus, focal, f_number, pupil))
    assert f_number_for_blur(blur, focus * behind, focus, focal, pupil) == pytest.approx(f_number, rel=1e-6)
    depth = depth_of_field(focus, focal, f_number, 25e-6, pupil)
    total = float(depth.far_m - depth.near_m)
    if math.isfinite(total):
        assert f_number_for_depth(total, focus, focal, 25e-6, pupil) == pytest.approx(f_number, rel=1e-5)
    assert f_number_for_depth(1.0, focus, focal, 0.0, pupil) == math.inf


SIDES = {"below": 1.0, "above": -1.0, "both": 0.0}
"""By how many halves of the play a motor is ahead of the ring when the ring's angles are set against it."""


@pytest.mark.parametrize("way", ["below", "above", "both"])
@pytest.mark.parametrize("ends", [(2.0, 8.0), (8.0, 2.0), (2.0, 8.0, 2.0)])
def test_measured_play_of_the_filter_is_taken_up(way: SetFrom, ends: tuple[float, ...]) -> None:
    """A degree of play behind the filter's motor, up, down, and there and back: in the simulation the light stands
    still, whichever side the angles were set from, as far as the motor has room at the ends of its travel; told as
    it is, it would drift by more. The error that is told holds it."""
    play, seconds = 1.0, 4.0 * (len(ends) - 1)
    times = np.linspace(0.0, seconds, round(seconds * 24) + 1)
    t = stop_course(times, np.linspace(0.0, seconds, len(ends)).tolist(), ends, "eased")
    drifts = []
    for ring in (_set(play, way), _set(play, way, assumed=True)):
        pull = balanced_pull(times, t, iris(), ring, lag_s=0.0, tolerance_stops=0.05)
        motor = pull.extra_deg + SIDES[way] * play / 2.0
        ticks, drift = exposure_drift(
            times, pull.iris_positions, motor, stops_of_ring, pair_stops(K0, K90), extra_play=play
        )
        off = np.abs(drift + 6.0 + pull.loss_stops)
        drifts.append(float(off.max()))
        if not ring.backlash_assumed:
            assert np.all(off <= np.interp(ticks, times, pull.error_stops) + 0.01)
    assert drifts[0] <= 0.03
    rising = ends[0] > ends[-1]  # as the iris opens the filter closes, and its angles rise
    if len(ends) == 3 or way == "both" or (way == "below") != rising:
        assert drifts[1] > 2.0 * drifts[0]


def _set(play: float, way: SetFrom | None, *, assumed: bool = False) -> ExtraRing:
    """The pair, turned by a motor with room to both sides."""
    return ExtraRing(PAIR, -5.0, 95.0, play, 0.0, assumed, set_from=way)


@pytest.mark.parametrize("way", ["below", "above", "both"])
@pytest.mark.parametrize("ends", [(2.0, 8.0), (8.0, 2.0)])
def test_a_side_nobody_said_stays_in_the_error(way: SetFrom, ends: tuple[float, float]) -> None:
    """Whichever side the filter was in truth set from, its light is within what is told: half the play is left."""
    times, t = course(*ends, 6.0)
    pull = balanced_pull(times, t, iris(), _set(0.6, None), lag_s=0.0, tolerance_stops=0.05)
    motor = pull.extra_deg + SIDES[way] * 0.3
    args = stops_of_ring, pair_stops(K0, K90)
    ticks, drift = exposure_drift(times, pull.iris_positions, motor, *args, extra_play=0.6)
    told = np.interp(ticks, times, pull.error_stops)
    assert np.all(np.abs(drift + 6.0 + pull.loss_stops) <= told + 0.01)
    said = balanced_pull(times, t, iris(), _set(0.6, way), lag_s=0.0, tolerance_stops=0.05)
    assert said.max_error_stops < 0.5 * pull.max_error_stops


def test_no_room_at_the_end_of_the_travel_is_in_the_error() -> None:
    """Angles that fall to 0 on a motor that ends there: half the play cannot be taken up, and is told."""
    positions = np.linspace(0.0, 100.0, 11)
    table = fit_filter_table(positions, 1.505 * positions / 100.0)
    ring = ExtraRing(table, 0.0, 100.0, 2.0, set_from="both")
    times, t = course(2.0, 8.0, 6.0)
    pull = balanced_pull(times, t, iris(), ring, lag_s=0.0, tolerance_stops=1.0)
    assert pull.extra_deg.min() == 0.0
    (play,) = [error for error in pull.errors if error.name == "filter backlash"]
    assert play.stops[-1] == pytest.approx(5.0 / 100.0, rel=0.02)
    assert play.stops[0] == pytest.approx(0.0, abs=1e-6)
