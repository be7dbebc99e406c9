"""The map of the shoot: what strips, ring positions and budgets take of it, and when they stay as read."""

import math
from dataclasses import replace
from typing import Any

import numpy as np
import pytest

from tapehook.job import Filter, Job
from tapehook.lens import LensMap
from tapehook.picture.lettering import text_width
from tapehook.prep import LensPrep, prepare
from tapehook.prep.as_json import maps_as_json
from tapehook.prep.basis import stop_view
from tapehook.prep.results import FlangePrep
from tapehook.prep.shooting_map import known_move, map_at, move_words, moved_word
from tapehook.prep.strips import LensStrip, StripWish, lens_strip
from tapehook.strip import Ring, StripRefusal
from tests.prep.jobs import a_job, a_lens, read_off
from tests.prep.test_shifts import GEL, THICK, UNKNOWN, N, _charts, _glass, _stopped, _with

RING = Ring.of_diameter(80.0)


def _entry(job: Job) -> LensPrep:
    return prepare(job).lens("L1")


def _strip(entry: LensPrep, **wish: Any) -> LensStrip:  # noqa: ANN401 - any field
    return lens_strip(entry, StripWish(RING, **wish), text_width)


def _map_of(entry: LensPrep) -> LensMap:
    assert entry.focus_map is not None
    return entry.focus_map


MOVED = {"glass": _glass(), "stopped": _stopped(-40.0), "both": _stopped(-40.0, lenses=[a_lens(rear_filter="gel")])}
MOVED["both"] = MOVED["both"].model_copy(update={"filters": (GEL,)})


@pytest.mark.parametrize("name", MOVED)
def test_the_strip_is_the_map_at_the_shooting_stop(name: str) -> None:
    """Every tick stands where ``at_shooting_stop`` of ``map --json`` puts its distance, and its bar is that band."""
    prep = prepare(MOVED[name])
    strip = _strip(prep.lens("L1")).strip
    grid = maps_as_json(prep)["lenses"]["L1"]["at_shooting_stop"]["grid"]
    lens_map = _map_of(prep.lens("L1"))
    places = [float(lens_map.scale.place(row["distance_m"] or math.inf)) for row in reversed(grid)]
    # The difference to the map as read is smooth: straight between 25 points it is good to a hundredth of a degree.
    off = [row["position"] - float(lens_map.curve(row["distance_m"] or math.inf)[0]) for row in reversed(grid)]
    for tick in strip.ticks:
        at = float(lens_map.scale.place(tick.value))
        expected = float(lens_map.curve(tick.value)[0]) + float(np.interp(at, places, off))
        assert tick.position == pytest.approx(expected, abs=0.01)
    ends = {tick.value: tick for tick in strip.ticks}
    per_mm = 360.0 / RING.circumference_mm
    assert ends[math.inf].plus_minus_mm * per_mm == pytest.approx(grid[-1]["band95"], rel=1e-3)


def test_taped_marks_that_name_no_glass_are_not_moved_for_it() -> None:
    """Engraved marks know of no glass; taped ones may have been found with it in, and nobody wrote that down."""
    for state, moved in ((None, False), ("none", True)):
        taped = _with(read_off(method="taped", noise_deg=0.02), state)
        job = a_job([a_lens(rear_filter="gel")], taped).model_copy(update={"filters": (GEL,)})
        (shift,) = _entry(job).shifts
        assert (shift.kept is None) is moved
        assert known_move(_entry(job), stop_view(4.0, 0.81))[0] == pytest.approx(-33.333e-6 if moved else 0.0, rel=1e-3)


def test_an_engraved_scale_for_no_glass_with_taped_marks_for_a_gel_is_not_moved() -> None:
    """Such a map holds for neither, whichever of the two has more marks."""
    marks = [*_with(read_off(noise_deg=0.02), "none"), *_with(read_off((1.5, 3.0), method="taped"), "gel")]
    job = a_job([a_lens(rear_filter="gel")], marks).model_copy(update={"filters": (GEL,)})
    (shift,) = _entry(job).shifts
    assert shift.kept == "its marks were made with different glass"


def test_how_far_it_is_moved_by_hand() -> None:
    """33.3 um of gel is 33.3e-6/0.05^2 = 0.0133 dpt at infinity, nearer; the ring turns by its slope there."""
    entry = _entry(_glass())
    lens_map, moved = _map_of(entry), map_at(entry)
    assert moved is not None
    turn = float((moved.curve(math.inf) - lens_map.curve(math.inf))[0])
    q = 0.1e-3 * (0.5 / 1.5) / 0.05**2
    near_m = 1.0 / q
    assert turn == pytest.approx(float((lens_map.curve(near_m) - lens_map.curve(math.inf))[0]), rel=0.02)
    assert moved_word(entry) == "for T4 + gel"
    (said,) = move_words(entry)
    assert said.startswith("With gel behind the lens: ring positions moved ")
    assert said.endswith("nearer at infinity. The engraved ring still reads as before.")


def test_ring_positions_of_the_handover_are_moved_and_marks_are_not() -> None:
    """Round distances stand where the moved map has them; what was read stays what was read."""
    entry, plain = _entry(_stopped(-40.0)), _entry(a_job(readings=read_off(noise_deg=0.02)))
    moved = map_at(entry)
    assert moved is not None
    for row in entry.rounds:
        position, half = moved.position_band(row.value)
        assert (row.position, row.plus_minus) == pytest.approx((float(position[0]), float(half[0])))
    assert entry.marks == plain.marks
    assert all(a.position > b.position for a, b in zip(entry.rounds, plain.rounds, strict=True))


def test_a_strip_for_another_stop_is_moved_to_that_stop() -> None:
    """Wide open it is the map as read; ``as_read`` leaves it there at the shooting stop too, and says so."""
    entry = _entry(_stopped(-40.0))
    lens_map = _map_of(entry)
    for strip in (_strip(entry, depth_at=2.0), _strip(entry, as_read=True)):
        for tick in strip.strip.ticks:
            assert tick.position == pytest.approx(float(lens_map.curve(tick.value)[0]))
    assert _strip(entry, depth_at=2.0).moved == ()
    assert _strip(entry, as_read=True).moved == ("Marks as read: not moved for what the shoot does to focus.",)


def test_a_moved_strip_is_laid_by_a_mark_of_the_ring_itself() -> None:
    """The triangle stands where the ring itself is at a distance that was read, and the sheet says at which.

    Laid by its own infinity it would undo the move.
    """
    entry = _entry(_stopped(-40.0))
    made, lens_map = _strip(entry), _map_of(entry)
    strip = made.strip
    assert made.lay_at.startswith("its own 8 m")
    far = next(tick for tick in strip.ticks if math.isinf(tick.value))
    per_mm = 360.0 / RING.circumference_mm
    assert strip.zero_mm is not None
    assert abs(strip.zero_mm - far.arc_mm) * per_mm == pytest.approx(
        abs(float(lens_map.curve(8.0)[0]) - far.position), abs=1e-6
    )


def test_a_ring_that_has_to_go_past_infinity_is_laid_by_infinity() -> None:
    """Taking the gel out moves marks farther: the ring's own infinity then lies on the strip, and that is said."""
    made = _strip(_entry(_glass(made="gel", shot="none")))
    assert made.lay_at.startswith("its own ∞")
    assert "farther at infinity, past its own mark" in made.moved[0]


def test_a_given_turn_is_that_of_the_rings_own_scale() -> None:
    """On a disc that turns 300 degrees for the scale as read, a moved strip is as much shorter as the moved scale."""
    entry = _entry(_stopped(-40.0))
    lens_map, moved = _map_of(entry), map_at(entry)
    assert moved is not None
    ends = [lens_map.far_value, lens_map.near_value]
    strip = lens_strip(entry, StripWish(replace(RING, rotation_deg=300.0)), text_width).strip
    assert strip.turn_deg == pytest.approx(300.0 * float(np.ptp(moved.curve(ends)) / np.ptp(lens_map.curve(ends))))


@pytest.mark.parametrize("name", MOVED)
def test_the_budget_keeps_the_doubt_alone(name: str) -> None:
    """What marks are moved for is no bias any more; its 95 % doubt is scatter, as a share of N c."""
    entry = _entry(MOVED[name])
    view = entry.budget("shooting")
    assert view is not None
    for shift in entry.shifts:
        (term,) = [term for term in view.budget.terms if term.name == shift.name]
        assert (term.kind, shift.kept) == ("scatter", None)
        share = float(np.max(view.budget.shares[view.budget.terms.index(term)]))
        assert share == pytest.approx(1.96 * shift.sd_m / (N * math.sqrt(25.0**2 - 5.0**2) * 1e-6), rel=1e-2)


def _two_cameras(first: str | None, second: str | None) -> Job:
    job = _glass(shot=None)
    cameras = tuple(
        job.cameras[0].model_copy(update={"letter": letter, "rear_filter": glass})
        for letter, glass in (("A", first), ("B", second))
    )
    return job.model_copy(update={"cameras": cameras})


KEPT = {
    "different glass on its cameras": _two_cameras("gel", "clear"),
    "not every camera": _two_cameras("gel", None),
    "how thick": _two_cameras("gel", "old net"),
    "marks were made with different": a_job(
        [a_lens(rear_filter="clear")],
        [*_with(read_off(method="taped"), None), *_with(read_off((1.5, 3.0), method="taped"), "gel")],
    ).model_copy(update={"filters": (GEL, THICK, UNKNOWN)}),
    "all focal lengths": _glass().model_copy(
        update={"lenses": (a_lens(rear_filter="gel", kind="zoom", focal_min_mm=24.0),)}
    ),
    "two directions": _glass().model_copy(update={"lenses": (a_lens(rear_filter="gel", squeeze=2.0),)}),
    "larger than itself": a_job(
        readings=read_off(noise_deg=0.02), charts=_charts({2.0: 0.0, 4.0: -4.0}, repeats=1)
    ),
    "wide open, at T2": a_job(readings=read_off(noise_deg=0.02), charts=_charts({2.8: 0.0, 4.0: -40.0})),
    "carried over": a_job(readings=read_off(noise_deg=0.02), charts=_charts({2.0: 0.0, 2.8: -160.0})),
}  # fmt: skip
"""Words of the reason, and a job of which one lens has it."""


@pytest.mark.parametrize("why", KEPT)
def test_what_is_not_known_well_enough_moves_nothing(why: str) -> None:
    """Marks stay as read, the reason is said, and the shift stays in the budget as a bias."""
    entry = _entry(KEPT[why])
    lens_map = _map_of(entry)
    assert map_at(entry) is lens_map
    (said,) = move_words(entry)
    assert said.startswith("Ring positions are not moved for ")
    assert why in said
    assert _strip(entry).moved == (said,)
    assert moved_word(entry) == ""
    view = entry.budget("shooting")
    assert view is not None
    assert [term.kind for term in view.budget.terms if f" for {term.name}: " in said] == ["bias"]


def test_a_lens_without_these_data_is_as_it_was() -> None:
    """Its map is the very map that was read; nothing is said, no strip has a word more."""
    entry = _entry(a_job())
    assert map_at(entry) is entry.focus_map
    assert map_at(entry, stop_view(8.0, 0.81)) is entry.focus_map
    assert move_words(entry) == ()
    assert known_move(entry, stop_view(4.0, 0.81)) == (0.0, 0.0)
    made = _strip(entry)
    assert (made.moved, made.moved_for, made.lay_at, made.on_extender, made.port) == ((), "", "", None, None)


def test_a_strip_follows_the_stop_asked_for() -> None:
    """At T11, beyond those tested, a move of 40 um carried on is sure to a few per cent of the depth: moved, as much
    farther as the shift is carried on, and less surely."""
    entry = _entry(_stopped(-40.0))
    assert isinstance(entry.flange, FlangePrep)
    assert entry.flange.stop_shift is not None
    made = _strip(entry, depth_at=11.0)
    assert made.moved_for == "for T11"
    (m4, sd4), (m11, sd11) = (known_move(entry, stop_view(t, 0.81)) for t in (4.0, 11.0))
    assert (m11, sd11) == entry.flange.stop_shift.at(11.0 * 0.9)
    assert m11 < m4 < 0
    assert sd11 > sd4


# --- on an extender and behind a port ---------------------------------------------------------------------------

EXTENDED: dict[str, Any] = {"extender": 2.0, "extender_length_mm": 30.0}


def test_a_strip_on_the_extender_counts_from_the_sensor() -> None:
    """A tick for D stands where the scale says D - 30 mm; the strip names 100 mm and the T-stop it works at."""
    entry = _entry(a_job([a_lens(**EXTENDED)], read_off(noise_deg=0.02)))
    made, lens_map = _strip(entry, extender_on=True), _map_of(entry)
    for tick in made.strip.ticks:
        assert tick.position == pytest.approx(float(lens_map.curve(tick.value - 0.03)[0]), abs=1e-6)
    assert made.on_extender is not None
    # Shot at T4: the ring opens by the two stops that a 2x takes, to its widest.
    assert (made.on_extender.text, made.stop and made.stop.text) == ("100 mm T4", "T2")
    assert made.moved == ()


def test_wings_on_the_extender_are_half_as_wide_in_vergence() -> None:
    """At the same stop of the ring a 2x leaves 1/2 of the depth: near and far as the closed form has them."""
    job = a_job([a_lens(blur_floor_mm=None, **EXTENDED)], read_off(noise_deg=0.02))
    entry = _entry(job)
    lens_map = _map_of(entry)
    made = _strip(entry, extender_on=True, depth_at=4.0, units="m")
    (tick,) = [tick for tick in made.strip.ticks if tick.value == 2.0 and tick.label]
    assert tick.wings_mm is not None
    # m u = f (1 + m/P); half-width N c/(x A ...): from the pupil, at the scale's 1.97 m.
    f, n, c, p, e = 0.05, 3.6, 25e-6, 1.15, 0.041
    m = _magnification(1.97, f, p, e)
    u = f * (1.0 / m + 1.0 / p)
    w = (c / 2.0) / (m * (f / n) * u)
    limits = [1.0 / (1.0 / u + w) + (1.97 - u) + 0.03, 1.0 / (1.0 / u - w) + (1.97 - u) + 0.03]
    arcs = sorted(
        made.strip.length_mm
        - (float(lens_map.curve(d - 0.03)[0]) - float(lens_map.curve(math.inf)[0])) * RING.circumference_mm / 360.0
        for d in limits
    )
    assert sorted(tick.wings_mm) == pytest.approx(arcs, abs=0.02)


def _magnification(distance: float, f: float, p: float, e: float) -> float:
    """By bisection of D = f/m + f/P + e + f m."""
    low, high = 1e-6, 1.0
    for _ in range(200):
        m = (low + high) / 2.0
        low, high = (m, high) if f / m + f / p + e + f * m > distance else (low, m)
    return (low + high) / 2.0


def test_glass_behind_an_extender_moves_a_quarter() -> None:
    """On a 2x the lens sees what lies behind it 1/4 as thick."""
    entry = _entry(_glass().model_copy(update={"lenses": (a_lens(rear_filter="gel", **EXTENDED),)}))
    lens_map, bare, on = _map_of(entry), map_at(entry), map_at(entry, None, 2.0)
    assert bare is not None
    assert on is not None
    turns = [float((one.curve(math.inf) - lens_map.curve(math.inf))[0]) for one in (bare, on)]
    assert turns[1] == pytest.approx(turns[0] / 4.0)


def test_a_strip_under_water_is_that_of_the_port_in_the_job() -> None:
    """Behind a flat port somebody at D in fresh water stands at front + (D - front)/1.333; the strip says in water."""
    entry = _entry(a_job([a_lens(port="flat", port_front_mm=200.0)], read_off(noise_deg=0.02)))
    made, lens_map = _strip(entry, in_water=True, units="m"), _map_of(entry)
    for tick in made.strip.ticks:
        seen = 0.2 + (tick.value - 0.2) / 1.333
        assert tick.position == pytest.approx(float(lens_map.curve(seen)[0]), abs=1e-6)
    assert made.port is not None
    assert _strip(entry).port is None


def test_behind_a_dome_the_strip_is_laid_by_a_mark_it_has() -> None:
    """Infinity in the water lies at 0.2 + 0.25/0.333 = 0.95 m of the scale: laid by the farthest mark within it."""
    entry = _entry(a_job([a_lens(port=250.0, port_front_mm=200.0)], read_off(noise_deg=0.02)))
    made, lens_map = _strip(entry, in_water=True), _map_of(entry)
    far = max(made.strip.ticks, key=lambda tick: tick.value)
    assert math.isinf(far.value)
    assert far.position == pytest.approx(float(lens_map.curve(0.2 + 0.25 / 0.333)[0]), abs=1e-6)
    assert made.lay_at.startswith("its own 0.85 m")


@pytest.mark.parametrize(
    "wish, code",
    [
        ({"in_water": True}, "no_scale"),
        ({"extender_on": True}, "no_scale"),
        ({"extender_on": True, "axis": "iris"}, "no_map"),
    ],
)
def test_without_an_extender_there_is_no_such_strip(wish: dict[str, Any], code: str) -> None:
    """A lens that lenses.csv names no extender for is refused, and said why."""
    with pytest.raises(StripRefusal) as refused:
        _strip(_entry(a_job()), **wish)
    assert refused.value.code == code


def test_filters_of_the_cases_are_those_of_the_shifts() -> None:
    """The gel of these tests is a tenth of a millimetre of index 1.5."""
    assert Filter(id="gel", kind="other", thickness_mm=0.1, refractive_index=1.5) == GEL
