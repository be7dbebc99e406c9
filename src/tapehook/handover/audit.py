"""What an audit hands over: a table of all lenses, a table of all findings, and a list to print for the technician."""

from collections.abc import Sequence
from typing import Any

from tapehook import __version__
from tapehook.finding import SIGN
from tapehook.handover.glyphs import printable
from tapehook.handover.tables import finding_table, table_text
from tapehook.handover.typesetting import Paper, set_pdf
from tapehook.prep import Prep
from tapehook.prep.audit import AuditRow, State, kinds, states
from tapehook.prep.kinds import WORDS

LISTED = 400
"""Lenses on the printed list; all of them are in the table."""
_LENSES = (
    "state",
    "lens_id",
    "lens",
    "serial",
    "model",
    "depth_used_percent",
    "stop",
    "to_technician",
    "findings",
    "worst_finding",
    "next_step",
)
_WORDS: dict[State, str] = {"fix": "to fix", "watch": "to watch", "info": "for info", "clear": "nothing found"}


def render_audit(prep: Prep, rows: Sequence[AuditRow], *, paper: Paper) -> dict[str, bytes]:
    """The files of an audit by name; equal bytes for equal input.

    Raises TypesettingError when the list cannot be set.
    """
    return {
        "audit.csv": table_text(_LENSES, map(_lens_cells, rows)).encode(),
        "findings.csv": finding_table(prep.findings).encode(),
        "technician.pdf": set_pdf("audit.typ", _list_data(prep, rows, paper), tagged=True),
    }


def _lens_cells(row: AuditRow) -> Sequence[str | float | bool | None]:
    lens, worst = row.entry.lens, row.findings[0] if row.findings else None
    return (
        row.state,
        lens.id,
        row.entry.title,
        lens.serial or "serial not read",
        lens.model,
        None if row.used is None else 100.0 * row.used,
        row.stop,
        bool(row.technician),
        len(row.findings),
        worst.message if worst else None,
        worst.next_step if worst else None,
    )


def _list_data(prep: Prep, rows: Sequence[AuditRow], paper: Paper) -> dict[str, Any]:
    """What the template prints; every text is printable in our font."""
    marked = [row for row in rows if row.technician]
    return {
        "version": __version__,
        "paper": paper,
        "title": printable(prep.job.title),
        "states": [[_WORDS[state], str(count)] for state, count in states(rows).items()],
        "lenses": str(len(rows)),
        "to_technician": str(len(marked)),
        "kinds": [
            {"sign": SIGN[severity], "severity": severity, "words": WORDS[code], "count": str(count)}
            for severity, code, count in kinds(rows)
        ],
        "rows": [_list_row(row) for row in marked[:LISTED]],
        "left": str(max(0, len(marked) - LISTED)) if len(marked) > LISTED else "",
    }


def _list_row(row: AuditRow) -> dict[str, Any]:
    lens = row.entry.lens
    return {
        "id": printable(lens.id),
        "title": printable(row.entry.title),
        "model": printable(lens.model or ""),
        "findings": [
            {
                "severity": finding.severity,
                "sign": SIGN[finding.severity],
                "message": printable(finding.message),
                "next": printable(finding.next_step),
            }
            for finding in row.technician
        ],
    }
