"""Marks and strip of one lens on the pocket page, both without scripts."""

import re
from collections.abc import Mapping

from tapehook.handover.markup import html_table, html_text
from tapehook.handover.pack import PackWish, ring_strips
from tapehook.handover.pdf_words import bare_position, mark_text, share_in_column, signed_position
from tapehook.handover.strips import labels_in_words, printed_strip
from tapehook.picture.strip_picture import pieces, strip_picture
from tapehook.prep import LensPrep, Prep
from tapehook.prep.strips import LensStrip

_UPRIGHT = re.compile(r"M([\d.]+) ([\d.]+) \1 ([\d.]+)")
_HUNDREDTHS = re.compile(r"(?<=[\" M])\d+\.\d\d(?=[\" M])")
_FONT = re.compile(' font-family="IBM Plex Sans( SmBld)?"')
_UNIT_SUFFIX = {"deg": ", °", "count": "", "percent": ", %", "mm": ", mm"}


def known_strips(prep: Prep) -> dict[str, LensStrip]:
    """The strips of the lenses whose ring is known, by lens."""
    return {one.lens_id: one for one in ring_strips(prep, PackWish()).made}


def marks_of(entry: LensPrep) -> str:
    """The table of marks: what was read, how far it lies from the map, and the depth that uses."""
    if not entry.marks:
        return ""
    stops = {
        view.text: used for view, used in ((entry.widest, "used_widest"), (entry.shooting, "used_shooting")) if view
    }
    suffix = _UNIT_SUFFIX[entry.lens.unit]
    rows = [
        (
            mark_text(mark, both_ways=not entry.one_way) + (" check" if mark.suspect else ""),
            bare_position(mark.position, entry),
            signed_position(mark.error, entry),
            *(share_in_column(getattr(mark, used)) for used in stops.values()),
        )
        for mark in entry.marks
    ]
    table = html_table("", ("mark", f"read{suffix}", f"off the map{suffix}", *stops), rows)
    used = " Under a stop: depth used." if stops else ""
    left_out = " Check: left out of the map, read it again." if any(mark.suspect for mark in entry.marks) else ""
    one_way = entry.one_way or all(mark.both_ways for mark in entry.marks)
    starred = "" if one_way else " *: read one way only."
    said = html_text((used + left_out + starred).strip())
    label = html_text(f"Marks of {entry.title}")
    wide = f'<div class="wide" role="region" tabindex="0" aria-label="{label}">{table}</div>'
    return f"<h3>Marks</h3>{wide}" + (f'<p class="quiet">{said}</p>' if said else "")


def strip_of(entry: LensPrep, strips: Mapping[str, LensStrip]) -> str:
    """The strip of a lens as a picture, with what is to be known of it; nothing where its ring is not known."""
    made = strips.get(entry.lens.id)
    if made is None:
        return ""
    printed = printed_strip(entry, made)
    # One piece: a phone slides, it does not cut.
    (piece,) = pieces(made.strip, float("inf"))
    label = html_text(f"Strip of {entry.title}: {labels_in_words(made.strip)}")
    picture = compact(strip_picture(made.strip, printed.text, piece, cut=False))
    cautions = "".join(f"<p>{html_text(line)}</p>" for line in printed.cautions)
    facts = html_text(f"In proportion, to look at; print it from the PDF. {printed.facts}")
    return (
        f'<h3>Strip</h3><p class="quiet">{facts}</p>{cautions}'
        f'<div class="strip" role="region" tabindex="0" aria-label="{label}">{picture}</div>'
    )


def compact(picture: str) -> str:
    """The same picture in fewer signs: tenths of a point, upright lines by their height, the font left to the page."""
    picture = _HUNDREDTHS.sub(lambda found: f"{float(found[0]):.1f}".removesuffix(".0"), picture)
    return _FONT.sub("", _UPRIGHT.sub(r"M\1 \2V\3", picture))
