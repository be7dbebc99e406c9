"""What is left to do: the lenses of a job by checks, worst first, and each finding with where it is settled."""

import math
from dataclasses import dataclass
from typing import Literal

from tapehook.finding import Finding
from tapehook.pages.desk import JobNow
from tapehook.pages.words import local_time, percent
from tapehook.prep import LensPrep, Prep

Check = Literal["done", "fix", "watch", "open"]
SIGNS: dict[Check, str] = {"done": "✓", "fix": "×", "watch": "!", "open": "–"}
WORDS: dict[Check, str] = {"done": "done", "fix": "fix", "watch": "watch", "open": "not yet"}
COLUMNS = ("map", "backlash", "flange")
_PREFIX = {
    "map": ("map.", "lens.no_readings", "ends."),
    "backlash": ("backlash.",),
    "flange": ("flange.",),
}


@dataclass(frozen=True, slots=True)
class Standing:
    """One lens in the list. ``bar`` is the depth used as a fraction of 1, None where it is not known."""

    entry: LensPrep
    key: str
    camera: str
    checks: dict[str, Check]
    signed: str
    stale: bool
    """True when something was measured after the sign-off."""
    share: float | None
    bar: float | None
    note: str
    rank: tuple[int, float]

    @property
    def title(self) -> str:
        """The lens in few words; its serial has a column of its own."""
        return self.entry.title.partition(" · serial")[0]

    @property
    def worst(self) -> Literal["fix"] | None:
        """Set when there is something to fix."""
        return "fix" if self.entry.worst_severity == "fix" else None

    @property
    def serial(self) -> str:
        """The serial as shown."""
        return self.entry.lens.serial or "serial not read"


def standings(now: JobNow, prep: Prep) -> list[Standing]:
    """The lenses of a job, the one that needs somebody most on top."""
    signs = {one.now.lens_id: one for one in now.signed if one.data.get("check") == "lens" and one.now.lens_id}
    newest: dict[str, str] = {}
    for listed in now.rows.values():
        for one in listed:
            newest[one.row_id or ""] = max(newest.get(one.row_id or "", ""), one.written_at)
    found = []
    for entry in prep.lenses:
        row_id = entry.lens.id
        sign = signs.get(now.lens_ids[row_id])
        signed = f"{sign.data.get('by')}, {local_time(str(sign.data.get('at')))}" if sign else ""
        stale = bool(sign and newest.get(row_id, "") > str(sign.data.get("at")))
        found.append(_standing(now, entry, signed, stale=stale))
    return sorted(found, key=lambda one: one.rank)


def _standing(now: JobNow, entry: LensPrep, signed: str, *, stale: bool) -> Standing:
    checks = {name: _check(name, entry) for name in COLUMNS}
    view = entry.budget("shooting") or entry.budget("widest")
    share = view.budget.worst_own if view else None
    shown = share if share is not None and math.isfinite(share) else None
    return Standing(
        entry=entry,
        key=now.lens_key(entry.lens.id),
        camera=now.camera_of(entry.lens.id) or "",
        checks=checks,
        signed=signed,
        stale=stale,
        share=share,
        bar=None if shown is None else min(shown, 1.0),
        note=_note(entry, share),
        rank=(_rank(entry, signed, stale=stale), -(share or 0.0)),
    )


def _rank(entry: LensPrep, signed: str, *, stale: bool) -> int:
    """To fix, not measured, to watch, left to sign, done."""
    if entry.worst_severity == "fix":
        return 0
    if entry.focus_map is None:
        return 1
    if stale or not signed:
        return 2 if entry.worst_severity == "watch" else 3
    return 4


def _check(name: str, entry: LensPrep) -> Check:
    """How one check of a lens stands: by the worst finding of its kind, else by whether it was measured."""
    kinds = {one.severity for one in entry.findings if one.code.startswith(_PREFIX[name])}
    if "fix" in kinds:
        return "fix"
    measured = {
        "map": entry.focus_map is not None,
        "backlash": entry.play is not None,
        "flange": entry.flange is not None and not isinstance(entry.flange, str),
    }[name]
    if not measured:
        return "open"
    return "watch" if "watch" in kinds else "done"


def _note(entry: LensPrep, share: float | None) -> str:
    """The worst of a lens in few words."""
    if entry.focus_map is None and not entry.marks:
        return "no map yet"
    suspects = [mark.text for mark in entry.marks if mark.suspect]
    if suspects:
        return f"check {', '.join(suspects[:3])}"
    if share is None:
        return ""
    return percent(share)


def to_act_on(prep: Prep) -> list[Finding]:
    """The findings that ask for a hand: fix and watch, worst first."""
    return [one for one in prep.findings if one.severity != "info"]


def place_of(finding: Finding, now: JobNow) -> tuple[str, str]:
    """Where a finding is settled: the address and its name."""
    if finding.lens_id is not None and finding.lens_id in now.lens_ids:
        return f"/job/{now.key}/bench/{now.lens_key(finding.lens_id)}", "bench"
    return f"/job/{now.key}/kit", "kit"


def twins_told(prep: Prep, lens_id: str) -> list[tuple[str, tuple[Finding, ...]]]:
    """The copies of one lens in a job, each by its id, with what is said of the one that is held against the other."""
    pairs = {(copy.lens_id, copy.lender_id) for copy in prep.twins.copies}
    pairs |= {(borrowed.lens_id, borrowed.lender_id) for borrowed in prep.twins.borrowed}
    mine = sorted(pair for pair in pairs if lens_id in pair)
    return [(lender if lens == lens_id else lens, _of_twins(prep, lens)) for lens, lender in mine]


def _of_twins(prep: Prep, lens_id: str) -> tuple[Finding, ...]:
    return tuple(finding for finding in prep.lens(lens_id).findings if finding.code.startswith("twin."))
