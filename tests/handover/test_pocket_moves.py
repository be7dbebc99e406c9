"""Ring positions of the shooting stop on paper, in the tables, and as the scripts of the phone take them."""

import csv
import io
import json
import math
import re
from typing import Any

import numpy as np
import pytest

from tapehook.handover.pack import PackWish, pack_strips, render_pack
from tapehook.handover.pocket import render_pocket
from tapehook.handover.pocket_moves import POINTS, moves_data, moving_terms, third_stops
from tapehook.handover.strips import printed_strip, strip_as_json
from tapehook.handover.tables import render_tables
from tapehook.job import Job
from tapehook.picture.lettering import text_width
from tapehook.prep import prepare
from tapehook.prep.basis import stop_view
from tapehook.prep.shooting_map import map_at, move_words
from tapehook.prep.strips import StripWish, lens_strip
from tapehook.strip import Ring
from tests.handover.pack_reading import Pack
from tests.prep.jobs import a_job, a_lens, read_off
from tests.prep.test_shifts import GEL, _charts, _glass, _stopped

BOTH = a_job(
    [a_lens(rear_filter="gel", ring_diameter_mm=80.0), a_lens("L2", ring_diameter_mm=80.0, serial="2")],
    [*read_off(noise_deg=0.02), *read_off(lens_id="L2")],
    charts=_charts({2.0: 0.0, 4.0: -40.0}),
).model_copy(update={"filters": (GEL,)})


@pytest.mark.parametrize("job", [_glass(), _stopped(-40.0), BOTH], ids=["glass", "stopped", "both"])
def test_the_phone_moves_the_ring_as_the_map_does(job: Job) -> None:
    """Position as read plus turn per micrometre times micrometres is the map at that stop, at every third stop."""
    entry = prepare(job).lens("L1")
    data = moves_data(entry)
    assert data is not None
    assert entry.focus_map is not None
    values, as_read, _ = entry.focus_map.grid(POINTS)
    stops = {text: t for text, t in third_stops() if t >= 2.0}
    for text, t in stops.items():
        found = min(data["stops"], key=lambda one: abs(math.log(one["t"] / t)))
        moved = map_at(entry, stop_view(t, entry.transmission))
        assert moved is not None
        expected, half = moved.position_band(values)
        assert as_read + np.array(data["perUm"]) * found["um"] == pytest.approx(expected, abs=2e-3), text
        band = np.hypot(entry.focus_map.position_band(values)[1], np.array(data["perUm"]) * found["plusMinusUm"])
        assert band == pytest.approx(half, rel=1e-3)
        if len(data["stops"]) > 1:
            assert found["words"] == " ".join(move_words(entry, stop_view(t, 0.81))).replace("+-", "±")


def test_the_budget_of_the_phone_follows_the_stop() -> None:
    """Wide open stopping down takes nothing, at T4 its doubt alone; a lens that nothing moves has none of it."""
    prep = prepare(BOTH)
    entry = prep.lens("L1")
    view = entry.budget("shooting")
    assert view is not None
    data = moving_terms(entry, view.budget.distance_m)
    assert data is not None
    by_stop: dict[float, dict[str, Any]] = {
        one["t"]: {term["name"]: term for term in one["terms"]} for one in data["stops"]
    }
    assert set(by_stop[2.0]) == {"glass behind the lens"}
    stopping = by_stop[4.0]["stopping down"]
    assert stopping["kind"] == "scatter"
    (term,) = [term for term in view.budget.terms if term.name == "stopping down"]
    assert np.array(data["perMetreDpt"]) * stopping["metres"] == pytest.approx(term.shift_dpt, rel=1e-3)
    assert moving_terms(prep.lens("L2"), view.budget.distance_m) is None
    assert moves_data(prep.lens("L2")) is None


def test_the_budget_of_the_phone_is_that_of_prep_where_nothing_is_moved() -> None:
    """A zoom with a gel: all of the shift as a bias and its doubt as scatter, term by term as in the budget."""
    job = _glass()
    entry = prepare(
        job.model_copy(update={"lenses": (a_lens(rear_filter="gel", kind="zoom", focal_min_mm=24.0),)})
    ).lens("L1")
    view = entry.budget("shooting")
    assert view is not None
    data = moving_terms(entry, view.budget.distance_m)
    assert data is not None
    here = next(one["terms"] for one in data["stops"] if one["t"] == 4.0)
    expected = [term for term in view.budget.terms if term.name in data["names"]]
    assert [(one["name"], one["kind"]) for one in here] == [(term.name, term.kind) for term in expected]
    for one, term in zip(here, expected, strict=True):
        assert np.array(data["perMetreDpt"]) * one["metres"] == pytest.approx(term.shift_dpt, rel=1e-3)


def test_tables_say_what_positions_are_moved_for() -> None:
    """A last column where a lens is moved, empty for the others; no such column where none is."""
    prep = prepare(BOTH)
    tables = {name: list(csv.DictReader(io.StringIO(text[1:]))) for name, text in render_tables(prep).items()}
    assert {(row["lens_id"], row["moved_for"]) for row in tables["ring_positions.csv"]} == {
        ("L1", "T4 + gel"),
        ("L2", ""),
    }
    moved = map_at(prep.lens("L1"))
    assert moved is not None
    for row in tables["marks.csv"]:
        wanted = f"{float(moved.curve(float(row['distance_m']))[0]):.10g}" if row["lens_id"] == "L1" else ""
        assert row["shooting_position"] == wanted
    plain = render_tables(prepare(a_job()))
    assert not any("moved_for" in text or "shooting_position" in text for text in plain.values())


def test_the_page_of_a_lens_and_the_phone_say_it() -> None:
    """The line stands on the page of the lens and on its sheet; the other lens has not a word of it."""
    prep = prepare(BOTH)
    (said,) = move_words(prep.lens("L1"))
    found = Pack(render_pack(prep, PackWish(), pack_strips(prep, PackWish())))
    assert f"On the shoot: {said.replace('+-', '±')}" in found.text_of(prep.lenses[0].title)
    assert "Marks, as read" in found.text_of(prep.lenses[0].title)
    assert "On the shoot" not in found.text_of(prep.lenses[1].title)
    html = render_pocket(prep)
    assert said.replace("+-", "±") in html or said in html
    data = json.loads(re.findall(r'<script type="application/json"[^>]*>(.*?)</script>', html, re.DOTALL)[0])
    assert ["moves" in lens["map"] for lens in data["lenses"]] == [True, False]


def test_words_of_a_strip_for_the_shoot() -> None:
    """Its white end names stop and glass, the sheet how far it is moved and how to lay it; as JSON the same."""
    prep = prepare(BOTH)
    entry = prep.lens("L1")
    made = lens_strip(entry, StripWish(Ring.of_diameter(80.0)), text_width)
    printed = printed_strip(entry, made)
    assert printed.text.note == "focus ø 80 mm for T4 + gel"
    assert printed.cautions[0] == move_words(entry)[0]
    assert "Lay it by the triangle with the ring at its own " in printed.facts
    assert strip_as_json(made, prep)["moved"] == list(move_words(entry))
    plain = printed_strip(prep.lens("L2"), lens_strip(prep.lens("L2"), StripWish(Ring.of_diameter(80.0)), text_width))
    assert plain.text.note == "focus ø 80 mm"
    assert "Lay it by the triangle." in plain.facts


def test_words_of_a_strip_on_the_extender() -> None:
    """Lens and factor, focal length and T-stop as they work, and what the iris ring is set to."""
    entry = prepare(a_job([a_lens(extender=2.0, extender_length_mm=30.0)], read_off(noise_deg=0.02))).lens("L1")
    made = lens_strip(entry, StripWish(Ring.of_diameter(80.0), extender_on=True, depth_at=2.8), text_width)
    printed = printed_strip(entry, made)
    assert printed.text.name == "50 mm T2 + 2x"
    assert printed.text.note == "focus ø 80 mm 100 mm T5.6"
    assert "Iris ring at T2.8 works at T5.6." in printed.facts
    assert "Wings: depth of field at T5.6." in printed.facts
    assert printed.title.endswith("with the 2x extender: 100 mm T5.6")
