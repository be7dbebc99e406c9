"""What is known of lenses and shots besides figures: quirks, condition, photos, who comes first, soft takes."""

from collections.abc import Collection, Iterable, Sequence
from typing import Any

from tapehook.job.photos import photo_names
from tapehook.job.records import Lens
from tapehook.job.takes import ShotTold, Take
from tapehook.prep import LensPrep
from tapehook.prep.safe_stop import safe_stop
from tapehook.prep.shooting_map import move_words

MOST_QUIRKS, MOST_SHOTS = 5, 5
"""Lines of each on a day player's page; the rest are counted."""

Missing = Collection[tuple[str, str]]
"""Lens and name of the photos that are named and not there."""


def lens_lines(lens: Lens, missing: Missing = ()) -> list[tuple[str, str]]:
    """A label and a text for each thing somebody wrote down of a lens; nothing where nobody did."""
    lines = [("Quirks", lens.quirks or "")]
    for when, condition, photos in (
        ("On receipt", lens.condition_on_receipt, lens.photos_on_receipt),
        ("On return", lens.condition_on_return, lens.photos_on_return),
    ):
        named = ", ".join(_photo(lens, name, missing) for name in photo_names(photos))
        shown = f"photos {named}" if named else ""
        lines.append((when, "; ".join(filter(None, (condition, shown)))))
    return [(label, text) for label, text in lines if text]


def page_lines(entry: LensPrep, missing: Missing = ()) -> list[tuple[str, str]]:
    """The same for the page of a lens, with what its ring positions are moved for, or why they are not."""
    moved = " ".join(move_words(entry))
    return [*lens_lines(entry.lens, missing), *([("On the shoot", moved)] if moved else [])]


def _photo(lens: Lens, name: str, missing: Missing) -> str:
    return f"{name} (missing)" if (lens.id, name) in missing else name


def safe_words(entry: LensPrep) -> str:
    """The safe stop for people: "T4", "no stop to T22", nothing without a budget."""
    stop = safe_stop(entry)
    if stop is not None:
        return stop.text
    return "no stop to T22" if entry.budgets else ""


def safe_said(entry: LensPrep) -> str:
    """The same as it stands beside other words: "safe from T4", "no safe stop to T22"."""
    words = safe_words(entry)
    return words.replace("no stop", "no safe stop") if words.startswith("no ") else words and f"safe from {words}"


def quirk_rows(entries: Iterable[LensPrep]) -> list[tuple[str, str]]:
    """Lens and quirks, of the lenses that have any; its safe stop before them, as long ones are cut short."""
    return [
        (entry.title, "; ".join(filter(None, (safe_said(entry), entry.lens.quirks))))
        for entry in entries
        if entry.lens.quirks
    ]


def shot_rows(shots: Sequence[ShotTold]) -> list[tuple[str, str]]:
    """Shot and what it hands on, of the shots that hand on anything."""
    rows = []
    for shot in shots:
        parts = [f"{shot.priority} comes first"] if shot.priority else []
        parts += [f"soft: {'; '.join(_take(one) for one in shot.soft)}"] if shot.soft else []
        if parts:
            rows.append((shot.title, ". ".join(parts)))
    return rows


def _take(take: Take) -> str:
    who = f" on {take.who}" if take.who else ""
    return f"take {take.take}{who}, {take.why or 'nobody knows why'}"


def take_table(shots: Sequence[ShotTold]) -> tuple[Sequence[str], list[Sequence[Any]]]:
    """All takes as a table."""
    header = ("shot", "title", "lens_id", "priority", "take", "soft", "who", "why")
    rows: list[Sequence[Any]] = [
        (shot.name, shot.title, shot.lens_id, shot.priority, str(one.take), one.soft, one.who, one.why)
        for shot in shots
        for one in shot.takes
    ]
    return header, rows
