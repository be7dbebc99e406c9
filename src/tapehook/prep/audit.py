"""The audit of a rental house: thousands of lenses in one order, worst first, and what goes to the technician."""

from collections import Counter
from collections.abc import Iterable
from dataclasses import dataclass
from typing import Literal

from tapehook.finding import DEPTH_USED_UNIT, Finding, Severity
from tapehook.prep.results import LensPrep, Prep

State = Literal["fix", "watch", "info", "clear"]

_ORDER: dict[State, int] = {"fix": 0, "watch": 1, "info": 2, "clear": 3}
_TECHNICIAN = (
    "backlash.",
    "flange.lens",
    "flange.scale",
    "parfocal.back_focus",
    "parfocal.groups",
    "light.off",
    "light.ramps",
    "ends.infinity",
    "ends.close_focus",
    "lens.blur_floor",
)
"""How the codes of findings begin that a lens technician can cure; the others ask for readings or for care."""


@dataclass(frozen=True, slots=True)
class AuditRow:
    """One lens of an audit.

    ``used`` is the largest depth used among its findings, as a fraction, at ``stop``; None when none has one.
    ``technician`` are the findings that a lens technician can cure, ``findings`` all of them, worst first.
    """

    entry: LensPrep
    state: State
    used: float | None
    stop: str | None
    findings: tuple[Finding, ...]
    technician: tuple[Finding, ...]


def audit_rows(prep: Prep) -> tuple[AuditRow, ...]:
    """A row for each lens, worst first: fix, watch, info, clear; then the larger depth used, then the id."""
    by_lens: dict[str, list[Finding]] = {entry.lens.id: [] for entry in prep.lenses}
    for finding in prep.findings:  # sorted, worst first
        if finding.lens_id in by_lens:
            by_lens[finding.lens_id].append(finding)
    rows = [_row(entry, by_lens[entry.lens.id]) for entry in prep.lenses]
    return tuple(sorted(rows, key=lambda row: (_ORDER[row.state], -(row.used or 0.0), row.entry.lens.id)))


def _row(entry: LensPrep, findings: list[Finding]) -> AuditRow:
    shares = [f.figure for f in findings if f.figure is not None and f.figure.unit == DEPTH_USED_UNIT]
    largest = max(shares, key=lambda figure: figure.value, default=None)
    state: State = findings[0].severity if findings else "clear"
    return AuditRow(
        entry,
        state,
        largest.value / 100.0 if largest else None,
        largest.stop if largest else None,
        tuple(findings),
        tuple(f for f in findings if f.severity != "info" and f.code.startswith(_TECHNICIAN)),
    )


def states(rows: Iterable[AuditRow]) -> dict[State, int]:
    """How many lenses are in each state, all four named."""
    counts = Counter(row.state for row in rows)
    return {state: counts[state] for state in _ORDER}


def kinds(rows: Iterable[AuditRow]) -> list[tuple[Severity, str, int]]:
    """Severity, code and how many lenses have such a finding; severest first, then the most usual."""
    counts = Counter((f.severity, f.code) for row in rows for f in {f.code: f for f in row.findings}.values())
    ordered = sorted(counts.items(), key=lambda item: (_ORDER[item[0][0]], -item[1], item[0][1]))
    return [(severity, code, count) for (severity, code), count in ordered]
