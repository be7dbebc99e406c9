"""A pull made by hand, as a table: the moment and the ring position of each mark, CSV or XLSX."""

from itertools import pairwise
from pathlib import Path
from typing import Annotated

from pydantic import Field

from tapehook.job import cells
from tapehook.job.cells import Known
from tapehook.job.columns import Column, Table
from tapehook.job.lines import read_lines
from tapehook.job.problems import JobProblems, Problem, in_order
from tapehook.job.reading import sheet_of
from tapehook.job.records import Finite, TableRecord
from tapehook.job.sheets import read_bytes
from tapehook.job.shots import LONGEST_S

MARKS = Table(
    "pull",
    (
        Column("time_s", "time_s", "s", "2.5", f"seconds such as 2.5, from 0 to {LONGEST_S:g}", cells.number, "needed"),
        Column("position", "position", "as the lens", "131.8", "a position such as 131.8", cells.number, "needed"),
    ),
    {"time": "time_s"},
    "time_s",
)


class _Mark(TableRecord):
    """One mark of the pull."""

    time_s: Annotated[float, Field(ge=0, le=LONGEST_S)]
    position: Finite


def read_hand_pull(path: Path) -> tuple[tuple[float, float], ...]:
    """Moments and positions of the marks in a file, in its order. Raises JobProblems with all that is wrong.

    Also with moments that do not rise.
    """
    problems: list[Problem] = []
    sheet = sheet_of(path.name, read_bytes(path), MARKS.names)
    problems += sheet.problems
    known = Known(sheet.decimal_comma, sheet.decimal_point)
    lines = read_lines(sheet, MARKS, problems)
    marks = [mark for line in lines if (mark := line.record(_Mark, line.values(known), known)) is not None]
    if not problems:
        for one, two in pairwise(marks):
            if two.time_s <= one.time_s:
                expected = f"a moment after {one.time_s:g}, that of the mark before"
                problems.append(Problem(path.name, two.row, "time_s", f"{two.time_s:g}", expected))
    if not problems and not marks:
        problems.append(Problem(path.name, None, None, None, "at least one mark"))
    if problems:
        raise JobProblems(in_order(problems))
    return tuple((mark.time_s, mark.position) for mark in marks)
