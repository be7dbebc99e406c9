"""Strips in the PDF: 200 random lenses, rings, directions and units, each line where the map puts it."""

import json
import math
from dataclasses import dataclass
from pathlib import Path

import numpy as np
import pymupdf
import pytest

from tapehook.handover.strips import blank_printed, printed_strip, render_sheet, shape_as_json, sheet_data
from tapehook.job import read_job
from tapehook.notation import parse_distance
from tapehook.picture.lettering import text_width
from tapehook.picture.strip_picture import LEAST_TAB_MM, StripText, paper_ends_mm, pieces, strip_picture
from tapehook.prep import LensPrep, prepare
from tapehook.prep.strips import LensStrip, StripWish, lens_strip
from tapehook.strip import Ring, StripRefusal, blank_strip
from tests.faults.extremes import extreme_folder
from tests.handover.strip_reading import ReadPiece, ReadSheet, read_sheet
from tests.prep.jobs import a_lens, read_off, ring_read
from tests.simulator.lenses import draw_lens
from tests.simulator.paper import a_job, engraved_distances, lens_record, read_marks

LENSES = 200
CLOSE_MM = 0.05


@dataclass
class Made:
    """A lens, what was asked for, and its strip."""

    entry: LensPrep
    wish: StripWish
    strip: LensStrip
    pieces: list[ReadPiece]


@pytest.fixture(scope="module")
def sheet() -> tuple[list[Made], ReadSheet]:
    """200 lenses drawn at random, read by a simulated crew, each on a ring of its own, printed and read back."""
    rng = np.random.default_rng(11)
    lenses = {f"R{i:03d}": draw_lens(rng) for i in range(LENSES)}
    records = [lens_record(lens, lens_id) for lens_id, lens in lenses.items()]
    readings = [
        reading
        for lens_id, lens in lenses.items()
        for reading in read_marks(rng, lens, lens_id, engraved_distances(rng, lens, int(rng.integers(8, 16))))
    ]
    prep = prepare(a_job(records, readings), brief=True)
    made = []
    for entry in prep.lenses:
        ring = Ring(math.pi * float(rng.uniform(40, 150)), left_handed=bool(rng.random() < 0.5))
        units = rng.choice(["ft", "m", "both"])
        depth_at = 2.8 if rng.random() < 0.3 else None
        wish = StripWish(ring, "focus", units, float(rng.uniform(10, 25)), depth_at)
        made.append(Made(entry, wish, lens_strip(entry, wish, text_width), []))
    data = render_sheet("Two hundred", [printed_strip(one.entry, one.strip) for one in made], "a4")
    read = read_sheet(data)
    left = list(read.pieces)
    for one in made:
        # A strip's pieces follow each other, all but the last ending in a joint, where a line crosses the whole tape.
        while not one.pieces or _joined(one.pieces[-1]):
            one.pieces.append(left.pop(0))
    assert left == []
    return made, read


def _joined(piece: ReadPiece) -> bool:
    right, tall = piece.box[2], piece.box[3] - piece.box[1]
    return any(abs(x - right) < 0.05 and bottom - top > 0.99 * tall for x, top, bottom in piece.lines)


def _ticks(one: Made, *, lower: bool) -> list[float]:
    """Where the ticks of a row stand, millimetres along the pieces laid end to end."""
    found, before = [], 0.0
    for piece in one.pieces:
        left, top, right, bottom = piece.box
        two = one.wish.units == "both"
        base = (top + bottom) / 2.0 if two else bottom
        for x, start, end in piece.lines:
            at_base = abs((start if lower else end) - base) < 0.02
            if at_base and end - start > 0.8 and end - start < 0.9 * (bottom - top):
                found.append(before + x - left)
        before += right - left
    return sorted(found)


def _by_hand(one: Made, distance_m: float) -> float:
    """Millimetres from the infinity mark, to the right: the map's turn times the arc of a degree on this ring."""
    lens_map, lens = one.entry.focus_map, one.entry.lens
    assert lens_map is not None
    assert lens.units_per_turn is not None
    turns = (lens_map.curve([distance_m])[0] - lens_map.curve([math.inf])[0]) / lens.units_per_turn
    return abs(float(turns)) * one.wish.ring.circumference_mm * (1 if one.wish.ring.left_handed else -1)


def _rows(one: Made) -> list[tuple[str, list[float]]]:
    """Unit and ticks of each row."""
    upper = "m" if one.wish.units == "m" else "ft"
    rows = [(upper, _ticks(one, lower=False))]
    return [*rows, ("m", _ticks(one, lower=True))] if one.wish.units == "both" else rows


def test_each_tick_is_where_the_map_puts_it(sheet: tuple[list[Made], ReadSheet]) -> None:
    """Every line read back lies within 0.05 mm of its distance on the ring; none is missing and none too many."""
    made, _ = sheet
    assert len(made) == LENSES
    worst = 0.0
    for one in made:
        for (_, found), row in zip(_rows(one), one.strip.strip.rows, strict=True):
            wanted = np.sort([_by_hand(one, tick.value) for tick in row.ticks])
            assert len(found) == len(wanted), one.entry.lens.id
            # Infinity is one end of the scale: the last mark on a right-handed strip, the first on a left-handed one.
            zero = found[0] if one.wish.ring.left_handed else found[-1]
            worst = max(worst, float(np.abs(np.array(found) - zero - wanted).max()))
    assert worst <= CLOSE_MM


def _labels(one: Made) -> list[tuple[str, float, float, float]]:
    """(text, left, right, baseline) of every label, along the pieces laid end to end; the white ends left out."""
    found, before = [], 0.0
    wanted = one.strip.strip.rows[0].size_pt
    for piece in one.pieces:
        for text, x0, x1, size, baseline in piece.texts:
            # What stands on the white ends is in letters of another size.
            if text and abs(size - wanted) < 0.02:
                found.append((text, before + x0 - piece.box[0], before + x1 - piece.box[0], baseline))
        before += piece.width
    return found


def test_each_label_names_a_tick_and_none_stands_over_another(sheet: tuple[list[Made], ReadSheet]) -> None:
    """The distance read off each label lies at a tick of its row; close focus and infinity are there; no overlap."""
    made, _ = sheet
    for one in made:
        labels = _labels(one)
        texts = [text.strip("()") for text, *_ in labels]
        wanted = [tick.label for tick in one.strip.strip.ticks if tick.label]
        assert sorted(texts) == sorted(wanted), one.entry.lens.id
        assert texts.count("∞") == len(one.strip.strip.rows)
        for row in one.strip.strip.rows:
            near = min((tick for tick in row.ticks if tick.label), key=lambda tick: tick.value)
            assert near.value == pytest.approx(one.entry.close_focus_m)
        _assert_apart(one, labels)
        _assert_named(one, labels)


def _assert_apart(one: Made, labels: list[tuple[str, float, float, float]]) -> None:
    """No two labels of one baseline share a place."""
    for i, (text, left, right, baseline) in enumerate(labels):
        for other, left_2, right_2, baseline_2 in labels[i + 1 :]:
            if abs(baseline - baseline_2) < 1.0:
                assert right <= left_2 or right_2 <= left, (one.entry.lens.id, text, other)


def _assert_named(one: Made, labels: list[tuple[str, float, float, float]]) -> None:
    """A round distance, read off its label, has a tick where the map puts it, and the label stands near it."""
    rows = dict(_rows(one))
    for text, left, right, _ in labels:
        plain = text.strip("()")
        unit = "ft" if "'" in plain or '"' in plain else "m"
        if plain == "∞":
            continue
        distance = parse_distance(plain, bare_unit=None if unit == "ft" else "m")
        if abs(distance / (one.entry.close_focus_m or 0.0) - 1.0) < 0.02:
            continue  # close focus is rounded on its label
        ticks = rows[unit]
        zero = ticks[0] if one.wish.ring.left_handed else ticks[-1]
        at = _by_hand(one, distance) + zero
        assert min(abs(tick - at) for tick in ticks) <= CLOSE_MM, (one.entry.lens.id, text)
        assert abs((left + right) / 2.0 - at) <= 3.5, (one.entry.lens.id, text)


def test_bar_is_100_mm_on_every_page(sheet: tuple[list[Made], ReadSheet]) -> None:
    """The bar to be held against a ruler is 100 mm long, to a hundredth."""
    _, read = sheet
    assert len(read.bars_mm) > 20
    assert read.bars_mm == pytest.approx([100.0] * len(read.bars_mm), abs=0.01)


def test_no_piece_is_longer_than_the_sheet_or_the_ring(sheet: tuple[list[Made], ReadSheet]) -> None:
    """Pieces fit between the margins of A4 held sideways, and all together go once round the ring, no more."""
    made, _ = sheet
    for one in made:
        assert all(piece.box[0] > 9.9 and piece.box[2] < 287.1 for piece in one.pieces)
        assert sum(piece.width for piece in one.pieces) <= one.wish.ring.circumference_mm
    assert any(len(one.pieces) > 1 for one in made)


def test_twelve_labels_on_a_ring_of_80_mm(sheet: tuple[list[Made], ReadSheet]) -> None:
    """On a ring 80 mm across that turns 270 degrees each row has at least 12 labels, and they never overlap."""
    made, _ = sheet
    ring = Ring(math.pi * 80.0, 270.0)
    for one in made[::2]:
        for units in ("ft", "m", "both"):
            strip = lens_strip(one.entry, StripWish(ring, units=units), text_width).strip
            assert strip.overlaps == 0
            assert min(sum(bool(tick.label) for tick in row.ticks) for row in strip.rows) >= 12
            assert strip.length_mm == pytest.approx(math.pi * 80.0 * 0.75)


def test_printed_unscaled_and_the_same_twice() -> None:
    """The PDF asks for no scaling, is sound, and the same strip gives the same bytes, on A4 and on Letter."""
    (entry,) = prepare(a_job([a_lens()], read_off())).lenses
    printed = [printed_strip(entry, lens_strip(entry, StripWish(Ring.of_diameter(80)), text_width))]
    for paper, size in (("a4", (841.9, 595.3)), ("us-letter", (792.0, 612.0))):
        data = render_sheet("Twice", printed, paper)  # type: ignore[arg-type]  # both words are papers
        assert data == render_sheet("Twice", printed, paper)  # type: ignore[arg-type]
        document = pymupdf.open(stream=data, filetype="pdf")
        wish = document.xref_get_key(document.pdf_catalog(), "ViewerPreferences")[1]
        assert "/PrintScaling/None" in wish.replace(" ", "")
        assert "/DisplayDocTitle true" in wish
        assert not document.is_repaired
        assert document[0].rect.width, document[0].rect.height == pytest.approx(size, abs=0.1)


def test_iris_and_zoom_rings() -> None:
    """An iris ring has its whole stops, a zoom ring its focal lengths, both ends among them."""
    stops, zooms = (2.0, 2.8, 4.0, 5.6, 8.0, 11.0, 16.0), (24.0, 28.0, 35.0, 50.0, 75.0)
    readings = [
        *read_off(),
        *ring_read("iris", stops, [12.0 * i for i in range(len(stops))]),
        *ring_read("zoom", zooms, [100.0 - 20.0 * i for i in range(len(zooms))]),
    ]
    (entry,) = prepare(a_job([a_lens()], readings)).lenses
    iris = lens_strip(entry, StripWish(Ring.of_diameter(90), "iris"), text_width).strip
    assert [t.label for t in iris.ticks if t.label] == ["16", "11", "8", "5.6", "4", "2.8", "2"]
    places = [t.arc_mm for t in iris.ticks if t.label]
    assert places == pytest.approx([math.pi * 90 * 12 * i / 360 for i in range(7)], abs=0.5)
    assert iris.far_end == "right"
    zoom = lens_strip(entry, StripWish(Ring.of_diameter(90, left_handed=True), "zoom"), text_width).strip
    labels = [t.label for t in zoom.ticks if t.label]
    assert (labels[0], labels[-1]) == ("24", "75")
    assert {"35", "50"} <= set(labels)


def test_blank_strip_is_a_ruler() -> None:
    """Ten divisions of a blank strip lie evenly; 0 stands at the far end; a whole turn names its start once."""
    ring = Ring(360.0, 300.0)
    strip = blank_strip(ring, "deg", tape_mm=12, text_width=text_width)
    assert strip.length_mm == pytest.approx(300.0)
    assert all(tick.arc_mm == pytest.approx(300.0 - tick.value) for tick in strip.ticks)
    assert strip.zero_mm == pytest.approx(300.0)
    whole = blank_strip(Ring(360.0, left_handed=True), "percent", tape_mm=12, text_width=text_width)
    assert [t.label for t in whole.ticks if t.label][:2] == ["0", "5"]
    assert "100" not in [t.label for t in whole.ticks]
    read = read_sheet(render_sheet("Blank", [blank_printed(strip, "Ruler")], "us-letter"))
    widths = sum(piece.width for piece in read.pieces)
    assert widths == pytest.approx(300.0 + 2 * strip.margin_mm + 2 * (360 - 300 - 10 - 0.5) / 2, abs=6.0)


def test_hostile_names_are_printed_as_text() -> None:
    """Markup, template code, formulas, 300 signs, writing from right to left and emoji reach the paper as text."""
    name = "<b>&amp;\"'#panic()[x] =1+1 $x$ \u202eabc \U0001f600 שלום"
    (entry,) = prepare(a_job([a_lens(serial=name + "x" * 300)], read_off())).lenses
    data = render_sheet(
        name, [printed_strip(entry, lens_strip(entry, StripWish(Ring.of_diameter(80)), text_width))], "a4"
    )
    document = pymupdf.open(stream=data, filetype="pdf")
    text = " ".join(document[0].get_text().replace("\u200b", "").split())
    assert "#panic()[x] =1+1 $x$" in text
    assert "<b>&amp;" in text


def test_extreme_jobs_make_a_strip_or_are_refused(tmp_path: Path) -> None:
    """Figures at the limits of what a job can hold: a strip with finite places, or a refusal in words."""
    for seed in range(20):
        folder = tmp_path / str(seed)
        folder.mkdir()
        for name, text in extreme_folder(seed).items():
            (folder / name).write_text(text, encoding="utf-8")
        prep = prepare(read_job(folder), brief=True)
        for entry in prep.lenses:
            for axis in ("focus", "iris", "zoom"):
                try:
                    made = lens_strip(entry, StripWish(Ring.of_diameter(80.0), axis), text_width)
                except StripRefusal:
                    continue
                shape = shape_as_json(made.strip, focus=axis == "focus")
                json.dumps(shape, allow_nan=False)
                sheet_data("Extreme", [printed_strip(entry, made)], "a4")


@pytest.mark.parametrize("spare", [0.0, 3.0, 12.0, 28.0])
def test_white_ends_alone_make_no_second_part(spare: float) -> None:
    """A strip whose scale fits the sheet is one part: its white ends are shortened, the arrow's first."""
    strip = blank_strip(Ring(500.0, rotation_deg=150.0), "deg", tape_mm=12.0, text_width=text_width)
    start, end = paper_ends_mm(strip)
    (piece,) = pieces(strip, end - start - spare)
    assert piece.width_mm == pytest.approx(end - start - spare)
    assert piece.end_mm >= strip.length_mm + strip.margin_mm
    assert piece.start_mm <= -strip.margin_mm - LEAST_TAB_MM
    text = StripText("50 mm T1.4", "L05", "ø 80 mm")
    picture = strip_picture(strip, text, piece)
    assert "50 mm T1.4" in picture
    assert len(pieces(strip, end - start - 40.0)) == 2
