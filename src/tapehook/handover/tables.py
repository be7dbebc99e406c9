"""Tables of the handover as CSV: marks, ring positions, findings; for a spreadsheet or another program.

UTF-8 with a byte order mark, commas, decimal points, line ends as RFC 4180 has them. Text that a spreadsheet would
take for a formula gets an apostrophe in front; figures stay figures. Shares are per cent of the room on one side of
the focus, each beside its stop.
"""

import csv
import io
import math
from collections.abc import Iterable, Sequence

from tapehook.finding import Finding
from tapehook.prep import LensPrep, Prep
from tapehook.prep.shooting_map import map_at, moved_word

Cell = str | float | bool | None

_BOM = "\ufeff"
FORMULA_STARTS = ("=", "+", "-", "@", "\t", "\r", "\n", "＝", "＋", "－", "＠")
"""What makes a spreadsheet run a cell instead of showing it, wide forms included."""
_MARKS = (
    "lens_id",
    "lens",
    "mark",
    "distance_m",
    "position",
    "unit",
    "map_position",
    "off_the_map",
    "depth_used_percent_widest",
    "widest_stop",
    "depth_used_percent_shooting",
    "shooting_stop",
    "taped",
    "both_ways",
    "check_again",
)
_RING_POSITIONS = ("lens_id", "lens", "system", "distance", "distance_m", "position", "plus_minus_95", "unit")
_FINDINGS = (
    "severity",
    "code",
    "subject",
    "message",
    "next_step",
    "value",
    "unit",
    "plus_minus",
    "stop",
    "lens_id",
    "camera",
)


Table = tuple[Sequence[str], list[Sequence[Cell]]]
"""A table: its header, and its rows."""


def render_tables(prep: Prep) -> dict[str, str]:
    """The tables by file name; the same text for the same ``prep``."""
    return {f"{name}.csv": table_text(header, rows) for name, (header, rows) in main_tables(prep).items()}


def main_tables(prep: Prep) -> dict[str, Table]:
    """Marks, ring positions and findings, by name.

    Where a lens is moved for the shoot a last column says so: where the map puts its marks then, and what for.
    """
    moved = any(moved_word(lens) for lens in prep.lenses)
    more_marks, more_rounds = (("shooting_position",), ("moved_for",)) if moved else ((), ())
    return {
        "marks": ((*_MARKS, *more_marks), [row for lens in prep.lenses for row in _marks(lens, moved=moved)]),
        "ring_positions": (
            (*_RING_POSITIONS, *more_rounds),
            [row for lens in prep.lenses for row in _rounds(lens, moved=moved)],
        ),
        "findings": (_FINDINGS, [_finding(finding) for finding in prep.findings]),
    }


def finding_table(findings: Iterable[Finding]) -> str:
    """Findings as a table, in the order given."""
    return table_text(_FINDINGS, map(_finding, findings))


def table_text(header: Sequence[str], rows: Iterable[Sequence[Cell]]) -> str:
    """A table as CSV (see the module)."""
    text = io.StringIO()
    writer = csv.writer(text)
    writer.writerow(header)
    writer.writerows([_cell(value) for value in row] for row in rows)
    return _BOM + text.getvalue()


def _cell(value: Cell) -> str:
    """One cell: figures with all digits that mean something, text made harmless, nothing for None."""
    if value is None:
        return ""
    if isinstance(value, bool):
        return "yes" if value else "no"
    if isinstance(value, str):
        return _harmless(value)
    return f"{value:.10g}" if math.isfinite(value) else "inf" if value > 0 else ""


def _harmless(text: str) -> str:
    """Text that a spreadsheet shows and does not run; signs that no file can hold become question marks."""
    clean = text.encode("utf-8", "replace").decode("utf-8").replace("\0", "")
    return "'" + clean if clean.lstrip(" ").startswith(FORMULA_STARTS) else clean


def _percent(share: float | None) -> float | None:
    return None if share is None else 100.0 * share


def _marks(entry: LensPrep, *, moved: bool) -> Iterable[Sequence[Cell]]:
    moved_to = map_at(entry) if moved and moved_word(entry) else None
    for mark in entry.marks:
        there = None if moved_to is None else float(moved_to.curve(mark.value)[0])
        yield (
            entry.lens.id,
            entry.title,
            mark.text,
            mark.value,
            mark.position,
            entry.lens.unit,
            mark.map_position,
            mark.error,
            _percent(mark.used_widest),
            entry.widest.text if entry.widest else None,
            _percent(mark.used_shooting),
            entry.shooting.text if entry.shooting else None,
            mark.taped,
            mark.both_ways,
            mark.suspect,
            *((there,) if moved else ()),
        )


def _rounds(entry: LensPrep, *, moved: bool) -> Iterable[Sequence[Cell]]:
    what = moved_word(entry).removeprefix("for ") or None
    for row in entry.rounds:
        yield (
            entry.lens.id,
            entry.title,
            row.system,
            row.text,
            row.value,
            row.position,
            row.plus_minus,
            entry.lens.unit,
            *((what,) if moved else ()),
        )


def _finding(finding: Finding) -> Sequence[Cell]:
    figure = finding.figure
    return (
        finding.severity,
        finding.code,
        finding.subject,
        finding.message,
        finding.next_step,
        figure.value if figure else None,
        figure.unit if figure else None,
        figure.plus_minus if figure else None,
        figure.stop if figure else None,
        finding.lens_id,
        finding.camera,
    )
