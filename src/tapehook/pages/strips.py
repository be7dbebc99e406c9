"""What the Strips page shows: the strips asked for, laid out and drawn by the code that prints them.

The picture on the page is the picture in the PDF. A strip for a ring of unknown size is drawn in proportion and says
so; it is neither cut nor shown at true size.
"""

import math
import re
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

from tapehook.handover.strip_fields import circumference_mm, diameter_mm, t_number, tape_mm, turn_deg
from tapehook.handover.strips import (
    SHOWN_DEG,
    SHOWN_MM,
    PrintedStrip,
    blank_as_json,
    blank_printed,
    piece_data,
    printed_strip,
    render_sheet,
    room_mm,
    strip_as_json,
    unsized,
)
from tapehook.handover.typesetting import Paper
from tapehook.notation import parse_number
from tapehook.pages.asked import StripsAsked
from tapehook.pages.desk import JobNow, NotThere
from tapehook.pages.typed import Reader
from tapehook.picture.lettering import text_width
from tapehook.picture.strip_picture import pieces
from tapehook.prep import LensPrep, Prep
from tapehook.prep.strips import USUAL_TAPE_MM, StripWish, lens_strip
from tapehook.strip import BlankKind, Ring, StripRefusal, blank_strip

_SIZE = re.compile(r' width="[\d.]+" height="[\d.]+"')
FROM_MAP = ("map", "read")
NO_SIZE = "the diameter of its ring is not known: measure it where the strip will lie"


@dataclass(frozen=True, slots=True)
class Fields:
    """The fields of the page as read, millimetres and degrees; None where nothing was typed."""

    circumference_mm: float | None
    rotation_deg: float | None
    zero: float | None
    depth_at: float | None
    tape_mm: float


@dataclass(frozen=True, slots=True)
class ShownStrip:
    """One strip: its words and pictures for the page, and its shape as JSON.

    ``sized`` False is one in proportion only, whose JSON is None.
    """

    printed: PrintedStrip
    as_json: dict[str, Any] | None

    @property
    def sized(self) -> bool:
        """True for a strip at 1:1, that may be cut and shown at true size."""
        return self.as_json is not None


@dataclass(frozen=True, slots=True)
class StripSheet:
    """The strips asked for, and of each lens that has none at 1:1 its id, what it is called, and why."""

    strips: tuple[ShownStrip, ...]
    refused: tuple[tuple[str, str, str], ...]

    @property
    def printed(self) -> list[PrintedStrip]:
        """The strips that may be printed and cut."""
        return [one.printed for one in self.strips if one.sized]


def read_fields(asked: StripsAsked) -> Fields:
    """The fields as numbers. Raises Misread with all that cannot be read."""
    reader = Reader()
    across = reader.take("diameter", asked.diameter, diameter_mm, "a diameter such as 80mm")
    around = reader.take("circumference", asked.circumference, circumference_mm, "a length such as 251mm")
    if across is not None and around is not None:
        reader.refuse("circumference", asked.circumference or "", "one of diameter and circumference, not both")
    rows = 2 if asked.units == "both" and asked.marks in FROM_MAP and asked.axis == "focus" else 1
    fields = Fields(
        around if around is not None else None if across is None else math.pi * across,
        reader.take("turn", asked.rotation, turn_deg, "degrees of turn such as 270"),
        reader.take("laid by", asked.zero, parse_number, "a ring position such as 12.5"),
        reader.take("depth at", asked.stop, t_number, "a T-stop such as T2.8"),
        reader.take("tape", asked.tape, lambda text: tape_mm(text, rows), "a width such as 12mm") or USUAL_TAPE_MM,
    )
    reader.done()
    return fields


def strips_of(now: JobNow, prep: Prep, asked: StripsAsked) -> StripSheet:
    """The strips asked for. Raises Misread for fields that cannot be read, NotThere for a lens that is not there."""
    fields = read_fields(asked)
    made: list[ShownStrip] = []
    refused: list[tuple[str, str, str]] = []
    for key in dict.fromkeys(asked.lens):
        row_id = now.row_of(key)
        if row_id is None:
            raise NotThere("There is no such lens in this job.")
        entry = prep.lens(row_id)
        around = fields.circumference_mm or math.pi * (entry.lens.ring_diameter_mm or 0.0)
        reason = "" if around else NO_SIZE
        try:
            strip = _one(prep, entry, asked, fields, around)
        except StripRefusal as refusal:
            reason = str(refusal)
            strip = _in_proportion(entry, asked, fields) if refusal.code == "turn_unknown" else None
        made += [strip] if strip else []
        refused += [(row_id, entry.title, reason)] if reason else []
    return StripSheet(tuple(made), tuple(refused))


def _one(prep: Prep, entry: LensPrep, asked: StripsAsked, fields: Fields, around: float) -> ShownStrip | None:
    """The strip of one lens; in proportion where ``around`` is nothing, and none where a blank one has no size."""
    if asked.marks not in FROM_MAP:
        return _blank(entry, asked, fields, around) if around else None
    if not around:
        return _in_proportion(entry, asked, fields)
    strip = lens_strip(entry, _wish(around, fields.rotation_deg, asked, fields), text_width)
    return ShownStrip(printed_strip(entry, strip), strip_as_json(strip, prep))


def _wish(around: float, rotation: float | None, asked: StripsAsked, fields: Fields) -> StripWish:
    ring = Ring(around, rotation, asked.far_end == "left", fields.zero)
    return StripWish(
        ring,
        asked.axis,
        asked.units or None,
        fields.tape_mm,
        fields.depth_at,
        as_read=asked.marks == "read",
        extender_on=asked.extender == "on",
        in_water=asked.water == "on",
    )


def _in_proportion(entry: LensPrep, asked: StripsAsked, fields: Fields) -> ShownStrip | None:
    """A strip on a ring of usual size, its turn assumed where it is not known; none where the map allows none."""
    for rotation in (fields.rotation_deg, SHOWN_DEG):
        try:
            strip = lens_strip(entry, _wish(math.pi * SHOWN_MM, rotation, asked, fields), text_width)
        except StripRefusal as reason:
            if reason.code != "turn_unknown":
                raise
        else:
            return ShownStrip(unsized(entry, strip), None)
    return None


def _blank(entry: LensPrep, asked: StripsAsked, fields: Fields, around: float) -> ShownStrip:
    ring = Ring(around, fields.rotation_deg, asked.far_end == "left")
    kind: BlankKind = "percent" if asked.marks == "percent" else "deg"
    strip = blank_strip(ring, kind, tape_mm=fields.tape_mm, text_width=text_width)
    return ShownStrip(blank_printed(strip, entry.title), blank_as_json(strip, entry.lens.id, entry.title))


def pictures_of(one: ShownStrip, paper: Paper) -> list[dict[str, Any]]:
    """The pieces of a strip as pictures; each carries its true size in millimetres, for screen and printer."""
    found = []
    for part in pieces(one.printed.strip, room_mm(paper)):
        data = piece_data(one.printed, part)
        width, height = f"{data['width']:.3f}", f"{data['height']:.3f}"
        # Inside the page the size is the page's to choose: points give way to millimetres.
        svg = _SIZE.sub(f' width="{width}mm" height="{height}mm"', str(data["svg"]), count=1)
        found.append({"svg": svg, "width_mm": width, "alt": data["alt"]})
    return found


def sheet_as_json(sheet: StripSheet) -> dict[str, Any]:
    """The strips as ``tapehook strip --json`` prints each, without a file; and why others are not there."""
    return {
        "strips": [one.as_json for one in sheet.strips if one.as_json is not None],
        "refused": [{"lens": lens_id, "sentence": f"{title}: {reason}."} for lens_id, title, reason in sheet.refused],
    }


def sheet_pdf(title: str, printed: Sequence[PrintedStrip], paper: Paper) -> bytes:
    """The sheet to print. Raises NotThere when there is nothing to print."""
    if not printed:
        raise NotThere("No strip can be printed at 1:1: choose a lens with a map, and give the diameter of its ring.")
    return render_sheet(title, printed, paper)
