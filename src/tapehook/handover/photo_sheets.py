"""The pages of the condition of lenses: their photos on receipt and on return, with what was written of each."""

from collections.abc import Sequence
from datetime import datetime
from typing import Any

from tapehook.handover.glyphs import all_printable, printable
from tapehook.handover.handed_on import Missing
from tapehook.handover.pdf_words import finding_words
from tapehook.handover.photos import WHEN, ConditionPhoto, ConditionPhotos, named_photos
from tapehook.job.records import Lens
from tapehook.prep import LensPrep, Prep

_TITLE = {"receipt": "On receipt", "return": "On return"}
_FEW = 2
"""So many photos to a side are shown large, two in a row; more stand three in a row."""


def photo_sheets(
    prep: Prep, photos: ConditionPhotos, missing: Missing
) -> tuple[dict[str, Any] | None, dict[str, bytes]]:
    """What pack_photos.typ prints, and the photos as files that it reads; (None, {}) where no photo is named."""
    by_lens: dict[str, list[ConditionPhoto]] = {}
    for one in photos.shown:
        by_lens.setdefault(one.lens_id, []).append(one)
    lenses = [
        _lens(entry, place, by_lens[entry.lens.id])
        for place, entry in enumerate(prep.lenses)
        if entry.lens.id in by_lens
    ]
    troubles = [all_printable({**finding_words(found), "subject": found.subject}) for found in photos.findings]
    troubles += [all_printable(_missing(lens_id, name)) for lens_id, name in missing]
    if not lenses and not troubles:
        return None, {}
    files = {_file(one): one.photo.data for one in photos.shown}
    return {"lenses": lenses, "not_shown": troubles}, files


def _missing(lens_id: str, name: str) -> dict[str, str]:
    return {
        "severity": "watch",
        "sign": "!",
        "message": f"The photo {name} of lens {lens_id} is not in the job folder.",
        "next": "Put it there under that name, or mend the name in lenses.csv.",
    }


def _lens(entry: LensPrep, place: int, photos: Sequence[ConditionPhoto]) -> dict[str, Any]:
    named = [when for when, *_ in named_photos(entry.lens)]
    most = max(named.count(when) for when in WHEN)
    sides = [(when, [one for one in photos if one.when == when]) for when in WHEN]
    words = {when: _words(entry.lens, when) for when in WHEN}
    return {
        "lens": place,
        "title": all_printable(entry.title),
        "columns": 2 if most <= _FEW else 3,
        "sides": [
            {
                "when": _TITLE[when],
                "words": all_printable(words[when]),
                "photos": [_photo(one, entry) for one in shown],
            }
            for when, shown in sides
            if shown or words[when]
        ],
    }


def _words(lens: Lens, when: str) -> str:
    return (lens.condition_on_receipt if when == "receipt" else lens.condition_on_return) or ""


def _photo(one: ConditionPhoto, entry: LensPrep) -> dict[str, Any]:
    said = _words(entry.lens, one.when)
    taken = _taken(one.photo.taken)
    alt = f"Photo {one.number} of {one.count} of {entry.title}, {_TITLE[one.when].lower()}: {one.name}."
    return {
        "file": _file(one),
        "kind": one.photo.kind,
        "width": one.photo.width_px,
        "height": one.photo.height_px,
        "number": str(one.number),
        "name": all_printable(one.name),
        "taken": taken,
        "alt": printable(f"{alt} {said}".strip()),
    }


def _file(one: ConditionPhoto) -> str:
    """A name of our own, of which nothing comes from the job: its place among all is what tells it from others."""
    letters = one.lens_id.encode().hex()
    return f"photo-{letters[:64]}-{one.when}-{one.number}"


def _taken(taken: datetime | None) -> str:
    return f"{taken.day} {taken:%b %Y, %H:%M}" if taken else ""
