"""Strips on paper at 1:1, several to a page, and the words that go with them."""

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import Any

from tapehook import __version__
from tapehook.handover.glyphs import breakable, printable
from tapehook.handover.typesetting import Paper, set_pdf, unscaled
from tapehook.picture.strip_picture import PT, Piece, StripText, pieces, strip_picture
from tapehook.prep import LensPrep, Prep
from tapehook.prep.as_json import finite
from tapehook.prep.results import StopView
from tapehook.prep.strips import LensStrip
from tapehook.strip import RowKind, Strip, Tick

MARGIN_MM = 10.0
"""White on all sides of the sheet, which printers need."""
SHOWN_MM, SHOWN_DEG = 80.0, 270.0
"""Ring a strip in proportion is drawn for, and its turn where that is not known. Common practice, no source."""
_LONG_SIDE_MM: dict[Paper, float] = {"a4": 297.0, "us-letter": 279.4}
_AXIS_WORD = {"focus": "focus", "iris": "iris", "zoom": "zoom"}
BEFORE_TRUST = (
    "Lay a strip without stretching it; check infinity and one taped distance on a chart before you trust it."
)
_HIDDEN = (
    "Broken ticks: not read, or the map's 95 % band is over half the room there. Brackets: beyond the outermost mark."
)


@dataclass(frozen=True, slots=True)
class PrintedStrip:
    """One strip with its words: what it is called, what stands on its white end, and what is to be known of it.

    ``cut`` False leaves out the line to cut along: it is there to be looked at.
    """

    strip: Strip
    title: str
    text: StripText
    facts: str
    cautions: tuple[str, ...] = ()
    cut: bool = True


def room_mm(paper: Paper) -> float:
    """The longest strip a sheet takes in one piece, millimetres."""
    return _LONG_SIDE_MM[paper] - 2.0 * MARGIN_MM


def printed_strip(entry: LensPrep, made: LensStrip) -> PrintedStrip:
    """The strip of a lens with its words."""
    strip, axis = made.strip, _AXIS_WORD[made.axis]
    name, _, serial = entry.title.rpartition(" · ")
    on = made.on_extender
    name += f" + {on.factor:g}x" if on else ""
    note = " ".join(filter(None, (f"{axis} ø {_mm(strip)}", _made_for(made))))
    return PrintedStrip(
        strip,
        f"{entry.title} · {axis}" + (f" · with the {on.factor:g}x extender: {on.text}" if on else "") + _water(made),
        StripText(name, f"{entry.lens.id} · {serial.removeprefix('serial ')}", note),
        _facts(made),
        _cautions(entry, made),
    )


def _made_for(made: LensStrip) -> str:
    """What a strip was made for, for its white end: the stop, the extender, the glass, the water."""
    stop = made.depth_stop.text if made.depth_stop else ""
    words = [made.on_extender.text if made.on_extender else made.moved_for or stop]
    if made.on_extender and made.moved_for:
        words.append("moved")
    return " ".join(filter(None, (*words, "in water" if made.port else "")))


def _water(made: LensStrip) -> str:
    if made.port is None:
        return ""
    return f" · in the water, {'flat' if math.isinf(made.port.radius_m) else 'dome'} port"


def unsized(entry: LensPrep, one: LensStrip) -> PrintedStrip:
    """A strip in proportion: no line to cut along, and words that say so in place of its size."""
    printed = printed_strip(entry, replace(one, assumptions=()))
    facts = f"In proportion only, over {one.strip.turn_deg:.1f}° of turn" + (
        "." if one.strip.turn_deg != SHOWN_DEG else ", which is assumed."
    )
    text = StripText(printed.text.name, printed.text.serial, "not at 1:1")
    return replace(printed, text=text, facts=facts, cut=False)


def blank_printed(strip: Strip, title: str) -> PrintedStrip:
    """A strip to be marked by hand."""
    kind = {"deg": "degrees", "percent": "per cent of the turn"}[strip.rows[0].kind]
    facts = f"Blank, in {kind}. {_ring_words(strip)}"
    return PrintedStrip(strip, title, StripText(title, "blank", f"ø {_mm(strip)}"), facts)


def _mm(strip: Strip) -> str:
    return f"{strip.round_mm / math.pi:.4g} mm"


def _ring_words(strip: Strip) -> str:
    far = {"left": "left", "right": "right"}[strip.far_end]
    return (
        f"Ring {_mm(strip)} across, {strip.round_mm:.1f} mm round. Scale {strip.length_mm:.1f} mm, "
        f"{strip.turn_deg:.1f}° of turn, far end {far}. Tape {strip.tape_mm:.3g} mm."
    )


def _facts(made: LensStrip) -> str:
    strip = made.strip
    lay_at = f" with the ring at {made.lay_at}" if made.lay_at else ""
    parts = [_ring_words(strip), f"Lay it by the triangle{lay_at}."]
    if made.depth_stop:
        parts.append(f"Wings: depth of field at {_at(made, made.depth_stop)}.")
    on = made.on_extender
    if on and on.set_to and on.works_at:
        parts.append(f"Iris ring at {on.set_to.text} works at {on.works_at.text}.")
    return " ".join(parts)


def _at(made: LensStrip, stop: StopView) -> str:
    """A stop of the ring as it is said: with an extender as it works."""
    works = made.on_extender.works_at if made.on_extender else None
    return works.text if works else stop.text


def _cautions(entry: LensPrep, made: LensStrip) -> tuple[str, ...]:
    """What must be known before the strip is trusted."""
    found = [*made.moved, *made.assumptions]
    doubtful = [tick for tick in made.strip.ticks if tick.doubt and tick.label]
    if doubtful:
        at = f" at {_at(made, made.stop)}" if made.stop else ""
        several = "marks are" if len(doubtful) > 1 else "mark is"
        found.append(f"{len(doubtful)} {several} not firm{at}. {_HIDDEN}")
    if any(row.suspect for row in entry.marks):
        left_out = ", ".join(row.text for row in entry.marks if row.suspect)
        found.append(f"Left out of the map, to be read again: {left_out}.")
    return tuple(found)


def sheet_data(title: str, strips: Sequence[PrintedStrip], paper: Paper) -> dict[str, Any]:
    """What the template of the sheet is given."""
    return {
        "version": __version__,
        "paper": paper,
        "margin": MARGIN_MM,
        "title": _text(title),
        "note": BEFORE_TRUST,
        "strips": [strip_data(one, paper) for one in strips],
    }


def strip_data(one: PrintedStrip, paper: Paper) -> dict[str, Any]:
    """A strip for a template: its words, and its pieces as pictures."""
    parts = pieces(one.strip, room_mm(paper))
    several = f" In {len(parts)} parts: butt them at the double dash." if len(parts) > 1 else ""
    return {
        "title": _text(one.title),
        "facts": _text(one.facts + several),
        "cautions": [_text(line) for line in one.cautions],
        "pieces": [piece_data(one, part) for part in parts],
    }


def piece_data(one: PrintedStrip, part: Piece) -> dict[str, Any]:
    """One piece as a picture with its size in millimetres."""
    text = StripText(*(printable(words) for words in (one.text.name, one.text.serial, one.text.note)))
    return {
        "svg": printable(strip_picture(one.strip, text, part, cut=one.cut)),
        "width": round(part.width_mm * PT, 2) / PT,
        "height": round(one.strip.tape_mm * PT, 2) / PT,
        "alt": _text(f"Strip of {one.title}: {labels_in_words(one.strip)}"),
    }


def labels_in_words(strip: Strip) -> str:
    """The labels of a strip, for those who do not see it."""
    return "; ".join(", ".join(tick.label for tick in row.ticks if tick.label) for row in strip.rows)


def _text(text: str) -> str:
    return breakable(printable(text.replace("+-", "±")))


def render_sheet(title: str, strips: Sequence[PrintedStrip], paper: Paper) -> bytes:
    """The sheet as a PDF that asks to be printed unscaled; equal bytes for equal input.

    Raises TypesettingError when the typesetter fails or warns.
    """
    return unscaled(set_pdf("strip.typ", sheet_data(title, strips, paper), tagged=True))


def _tick(tick: Tick, kind: RowKind, *, focus: bool) -> dict[str, Any]:
    value = {"distance_m": finite(tick.value)} if focus else {"value": tick.value}
    return {
        **value,
        "position": tick.position,
        "arc_mm": tick.arc_mm,
        "label": tick.label,
        "row": kind,
        "label_mm": tick.label_mm if tick.label else None,
        "plus_minus_mm": tick.plus_minus_mm,
        "doubt": tick.doubt,
        "wings_mm": list(tick.wings_mm) if tick.wings_mm else None,
    }


def strip_as_json(made: LensStrip, prep: Prep) -> dict[str, Any]:
    """A strip as plain JSON values: the shape of ``tapehook strip --json``, without the file."""
    entry = prep.lens(made.lens_id)
    return {
        "lens": made.lens_id,
        "title": entry.title,
        "axis": made.axis,
        "unit": entry.lens.unit,
        "judged_at": made.stop.text if made.stop else None,
        "depth_at": made.depth_stop.text if made.depth_stop else None,
        **shape_as_json(made.strip, focus=made.axis == "focus"),
        "moved": list(made.moved),
        "extender": _extender_as_json(made),
        "in_water": made.port is not None,
        "assumptions": list(made.assumptions),
    }


def _extender_as_json(made: LensStrip) -> dict[str, Any] | None:
    on = made.on_extender
    if on is None:
        return None
    return {
        "factor": on.factor,
        "length_mm": 1e3 * on.length_m,
        "focal_mm": None if on.focal_m is None else 1e3 * on.focal_m,
        "set_to": on.set_to.text if on.set_to else None,
        "stop": on.works_at.text if on.works_at else None,
    }


def shape_as_json(strip: Strip, *, focus: bool) -> dict[str, Any]:
    """Ticks and measures of a strip; ``distance_m`` of a focus strip is null at infinity."""
    return {
        "ticks": [_tick(tick, row.kind, focus=focus) for row in strip.rows for tick in row.ticks],
        "length_mm": strip.length_mm,
        "overlaps": strip.overlaps,
        "ring_mm": strip.round_mm / math.pi,
        "circumference_mm": strip.round_mm,
        "turn_deg": strip.turn_deg,
        "tape_mm": strip.tape_mm,
        "far_end": strip.far_end,
        "zero_mm": strip.zero_mm,
    }


def blank_as_json(strip: Strip, lens_id: str | None, title: str) -> dict[str, Any]:
    """A blank strip in the same shape; of no lens, or for the ring of one."""
    return {
        "lens": lens_id,
        "title": title,
        "axis": None,
        "unit": strip.rows[0].kind,
        "judged_at": None,
        "depth_at": None,
        **shape_as_json(strip, focus=False),
        "moved": [],
        "extender": None,
        "in_water": False,
        "assumptions": [],
    }
