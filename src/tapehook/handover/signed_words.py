"""Sign-offs in words: by whom, what, when, and what nobody signed."""

from collections.abc import Sequence
from datetime import UTC, datetime
from itertools import groupby
from typing import Any

from tapehook.job.signed import SignedOff
from tapehook.prep import Prep

_MOST_NAMES = 60
_CHECKS = {"lens": "lens", "map": "map", "flange": "flange", "backlash": "backlash"}


def signed_words(signed: Sequence[SignedOff], prep: Prep) -> dict[str, Any] | None:
    """Rows of who, what and when for the cover, and sentences below them; None where nothing was signed off."""
    if not signed:
        return None
    order = sorted(signed, key=lambda one: (one.by, one.check, one.outcome))
    rows = [
        _row(by, check, outcome, list(members))
        for (by, check, outcome), members in groupby(order, key=lambda one: (one.by, one.check, one.outcome))
    ]
    return {"rows": rows, "notes": _notes(signed, prep)}


def _row(by: str, check: str, outcome: str, members: Sequence[SignedOff]) -> tuple[str, str, str]:
    names = [_name(one) + ("*" if one.since else "") for one in members]
    listed = ", ".join(names[:_MOST_NAMES]) + (
        f" and {len(names) - _MOST_NAMES} more" if len(names) > _MOST_NAMES else ""
    )
    kind = _CHECKS.get(check, check.replace("_", " ")) + ("" if outcome in ("", "good") else f", {outcome}")
    times = sorted(one.at for one in members)
    return by or "no name", f"{kind}: {listed}", _span(when(times[0]), when(times[-1]))


def _span(first: str, last: str) -> str:
    """From one moment to another, the day once where it is one."""
    if first == last:
        return first
    day, _, clock = last.removesuffix(" UTC").rpartition(" ")
    return f"{first.removesuffix(' UTC')} to {clock} UTC" if first.startswith(day) else f"{first} to {last}"


def _name(one: SignedOff) -> str:
    return one.lens_id or (f"camera {one.camera}" if one.camera else "the job")


def when(at: str) -> str:
    """A moment as the pack prints it: 25 Nov 2026 21:04 UTC, the same on every machine."""
    try:
        found = datetime.fromisoformat(at).astimezone(UTC)
    except ValueError:
        return at[:16]
    return f"{found.day} {found:%b %Y %H:%M} UTC"


def _notes(signed: Sequence[SignedOff], prep: Prep) -> list[str]:
    """What was written beside a signature, which are older than a measurement, and which lenses have none."""
    found = [f"{_name(one)}, {one.by}: {one.note}" for one in signed if one.note]
    if any(one.since for one in signed):
        found.append("* measured again after it was signed off: sign it off anew.")
    there = {one.lens_id for one in signed if one.check == "lens"}
    without = [entry.lens.id for entry in prep.lenses if entry.lens.id not in there]
    if without:
        listed = ", ".join(without[:_MOST_NAMES]) + (" and more" if len(without) > _MOST_NAMES else "")
        found.append(f"Not signed off: {len(without)} of {len(prep.lenses)} lenses, {listed}.")
    return found


def initials(signed: Sequence[SignedOff]) -> dict[str, str]:
    """Initials of who signed each lens off, by lens; none where it was measured again since."""
    return {
        one.lens_id: "".join(word[0] for word in one.by.split()[:3]).upper()
        for one in signed
        if one.lens_id and one.check == "lens" and not one.since and one.by
    }
