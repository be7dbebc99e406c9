"""The ring through a port and on an extender: the map at what the scale must say, limits where the subject is."""

import math

import pytest

from tapehook.optics.extender import Extender
from tapehook.optics.port import Port
from tapehook.optics.through import Through
from tapehook.prep import LensPrep, prepare
from tapehook.prep.shooting_map import map_at, moved_word
from tapehook.prep.through_map import through_rows
from tests.prep.jobs import NEAREST_M, a_job, a_lens, read_off
from tests.prep.test_shifts import _glass, _stopped


def _lens() -> LensPrep:
    (entry,) = prepare(a_job([a_lens()], read_off(noise_deg=0.02))).lenses
    return entry


def test_without_either_it_is_the_map() -> None:
    """Ring and limits are the bare lens's, as its depth table has them."""
    entry = _lens()
    rows = {row.distance_m: row for row in through_rows(entry, Through())}
    lens_map = entry.focus_map
    assert lens_map is not None
    assert rows[2.0].position == pytest.approx(float(lens_map.curve(2.0)[0]))
    table = {row.distance_m: row for row in entry.depth_rows}
    at = [stop.text for stop in entry.depth_stops].index(rows[2.0].stop or "")
    assert rows[2.0].near_m == pytest.approx(table[2.0].near_m[at])
    assert rows[2.0].far_m == pytest.approx(table[2.0].far_m[at])


def test_an_extender_moves_the_marks_by_its_length() -> None:
    """Somebody at 2 m stands where the scale says 1.97; less is sharp; infinity stays where it was."""
    entry = _lens()
    lens_map = entry.focus_map
    assert lens_map is not None
    bare = {row.distance_m: row for row in through_rows(entry, Through())}
    rows = {row.distance_m: row for row in through_rows(entry, Through(Extender(2.0, 0.03)))}
    assert rows[2.0].position == pytest.approx(float(lens_map.curve(1.97)[0]))
    assert rows[math.inf].position == pytest.approx(bare[math.inf].position)
    widths = [(row.far_m or 0.0) - (row.near_m or 0.0) for row in (bare[2.0], rows[2.0])]
    assert 0.3 < widths[1] / widths[0] < 0.5


def test_a_dome_shows_only_what_the_lens_can_reach() -> None:
    """A large dome shows infinity at 0.2 + R/(n - 1); a small one everything nearer than this lens focuses: no row."""
    entry = _lens()
    rows = through_rows(entry, Through(None, Port(0.2, radius_m=0.25)))
    assert rows[-1].scale_m == pytest.approx(0.2 + 0.25 / 0.333)
    assert all(row.scale_m >= NEAREST_M * 0.999 for row in rows)
    assert through_rows(entry, Through(None, Port(0.2, radius_m=0.05))) == ()


def test_without_a_map_there_is_nothing() -> None:
    """A lens nobody has read."""
    (entry,) = prepare(a_job([a_lens()], [])).lenses
    assert through_rows(entry, Through()) == ()


def test_the_ring_stands_where_the_strip_has_it_at_the_shooting_stop() -> None:
    """A lens whose best focus moves on stopping down: the moved map's positions, and what they are moved for."""
    (entry,) = prepare(_stopped(-40.0)).lenses
    as_read, moved = entry.focus_map, map_at(entry)
    assert as_read is not None
    assert moved is not None
    (row,) = [one for one in through_rows(entry, Through()) if one.distance_m == 2.0]
    assert row.position == pytest.approx(float(moved.curve(2.0)[0]))
    assert abs(row.position - float(as_read.curve(2.0)[0])) > 0.1
    assert row.moved_for == moved_word(entry) == f"for {row.stop}"
    assert {one.moved_for for one in through_rows(_lens(), Through())} == {""}


def test_glass_behind_an_extender_moves_the_ring_less() -> None:
    """The lens sees it 1/x squared as thick: a quarter of the move with a 2x."""
    (entry,) = prepare(_glass()).lenses
    as_read = entry.focus_map
    assert as_read is not None
    off = []
    for through in (Through(), Through(Extender(2.0, 0.0))):
        (row,) = [one for one in through_rows(entry, through) if one.distance_m == 2.0]
        off.append(row.position - float(as_read.curve(2.0)[0]))
    assert off[1] == pytest.approx(off[0] / 4.0, rel=0.02)
