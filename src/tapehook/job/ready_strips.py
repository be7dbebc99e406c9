"""Ready-marked strips a crew owns, as a table: one row for each mark, CSV or XLSX like the tables of a job."""

import math
from itertools import pairwise
from pathlib import Path
from typing import Annotated, cast

from pydantic import Field

from tapehook.job import cells
from tapehook.job.cells import Known
from tapehook.job.columns import Column, Table
from tapehook.job.lines import Line, names_of, read_lines, same
from tapehook.job.problems import JobProblems, Problem, in_order
from tapehook.job.reading import sheet_of
from tapehook.job.records import Finite, Identifier, Record, TableRecord
from tapehook.job.sheets import read_bytes

LEAST_MARKS = 3
_DISTANCE = "a distance such as 1.68 m or 5'6\""
_METRES = "a distance in metres such as 1.68, or inf"
_DEGREES = "degrees of turn such as 131.8"

STRIPS = Table(
    "strips",
    (
        Column("strip", "strip", "", "R1", "the name of the strip such as R1, at most 80 characters", need="needed"),
        Column("distance_text", "distance_m", "as written", "5'6\"", _DISTANCE, None, "one of"),
        Column("distance_m", "distance_m", "m", "1.6764", _METRES, None, "one of"),
        Column("position_deg", "position_deg", "°", "131.8", _DEGREES, None),
        Column("position_mm", "position_deg", "mm", "92.0", "millimetres along the strip such as 92", None),
        Column(
            "ring_diameter_mm",
            "ring_diameter_mm",
            "mm",
            "80",
            "a number of millimetres such as 80, from 5 to 1000",
            cells.millimetres,
        ),
    ),
    {"strip_id": "strip", "name": "strip", "distance": "distance_text"},
    "distance_m",
)


class _Mark(TableRecord):
    """One mark of one strip."""

    strip: Identifier
    distance_m: Annotated[float, Field(ge=1e-3)]
    position_deg: Finite
    ring_diameter_mm: Annotated[float, Field(ge=5, le=1000)] | None = None


class ReadyStrip(Record):
    """A ready-marked strip: distances, metres from the image plane (inf allowed), nearest first, and their turn."""

    id: Identifier
    distance_m: tuple[float, ...]
    position_deg: tuple[float, ...]


def read_ready_strips(path: Path) -> tuple[ReadyStrip, ...]:
    """The strips in a file, in the order they are first named.

    Positions in millimetres are turned into degrees of the ring the strip is made for. Raises JobProblems with all that
    is wrong: also a strip with fewer than three marks, a distance named twice, or marks that turn back.
    """
    problems: list[Problem] = []
    sheet = sheet_of(path.name, read_bytes(path), STRIPS.names)
    problems += sheet.problems
    if sheet.header.cells and not {"position_deg", "position_mm"} & set(names_of(sheet, STRIPS)):
        expected = "one of the columns position_deg, position_mm"
        problems.append(Problem(path.name, sheet.header.number, None, None, expected))
    known = Known(sheet.decimal_comma, sheet.decimal_point)
    marks: dict[str, list[_Mark]] = {}
    for line in read_lines(sheet, STRIPS, problems):
        mark = _mark(line, known)
        if mark is not None:
            marks.setdefault(mark.strip, []).append(mark)
    if not problems:
        for strip_id, found in marks.items():
            problems += _wrong(path.name, strip_id, found)
    if not problems and not marks:
        problems.append(Problem(path.name, None, None, None, "at least one strip with three marks"))
    if problems:
        raise JobProblems(in_order(problems))
    return tuple(_strip(strip_id, found) for strip_id, found in marks.items())


def _mark(line: Line, known: Known) -> _Mark | None:
    values = line.values(known)
    distance = _distance(line, known)
    if distance is not None:
        values["distance_m"] = distance
    degrees = _position(line, known, cast(float | None, values.get("ring_diameter_mm")))
    if degrees is not None:
        values["position_deg"] = degrees
    return line.record(_Mark, values, known)


def _distance(line: Line, known: Known) -> float | None:
    """The distance, from either of its two columns; both where they agree."""
    readers = {"distance_text": (cells.distance, _DISTANCE), "distance_m": (cells.metres, _METRES)}
    filled = [name for name in readers if line.text(name)]
    if not filled:
        line.refuse(next((name for name in readers if name in line.headers), ""), _DISTANCE)
        return None
    found = [line.take(name, readers[name][0], known, readers[name][1]) for name in filled]
    one, other = found[0], found[-1]
    if one is not None and other is not None and not same(one, other):
        line.refuse(filled[1], f"the same as {filled[0]}")
    return one


def _position(line: Line, known: Known, diameter_mm: float | None) -> float | None:
    """Degrees of turn, from degrees or from millimetres along the strip."""
    if line.text("position_deg") and line.text("position_mm"):
        line.refuse("position_mm", "an empty cell, as position_deg gives the position")
        return None
    if line.text("position_deg"):
        return line.take("position_deg", cells.number, known, _DEGREES)
    if not line.text("position_mm"):
        name = "position_deg" if "position_deg" in line.headers else "position_mm"
        line.refuse(name, "a position in degrees, or in position_mm")
        return None
    along = line.take("position_mm", cells.signed_millimetres, known, "millimetres along the strip such as 92")
    if diameter_mm is None:
        line.refuse("position_mm", "ring_diameter_mm beside it, of the ring or disc the strip is made for")
        return None
    return None if along is None else along * 360.0 / (math.pi * diameter_mm)


def _wrong(file: str, strip_id: str, marks: list[_Mark]) -> list[Problem]:
    """What is wrong with a strip as a whole."""
    if len(marks) < LEAST_MARKS:
        expected = f"at least {LEAST_MARKS} marks on a strip; this one has {len(marks)}"
        return [Problem(file, marks[0].row, "strip", strip_id, expected)]
    ordered = sorted(marks, key=lambda mark: mark.distance_m)
    found = [
        Problem(file, two.row, "strip", strip_id, f"each distance once; row {one.row} has this one")
        for one, two in pairwise(ordered)
        if same(one.distance_m, two.distance_m)
    ]
    steps = [two.position_deg - one.position_deg for one, two in pairwise(ordered)]
    way = 1.0 if sum(step > 0 for step in steps) * 2 >= len(steps) else -1.0
    found += [
        Problem(file, ordered[at + 1].row, "strip", strip_id, "marks that run one way from near to far")
        for at, step in enumerate(steps)
        if step * way <= 0 and not found
    ]
    return found


def _strip(strip_id: str, marks: list[_Mark]) -> ReadyStrip:
    ordered = sorted(marks, key=lambda mark: mark.distance_m)
    return ReadyStrip(
        id=strip_id,
        distance_m=tuple(mark.distance_m for mark in ordered),
        position_deg=tuple(mark.position_deg for mark in ordered),
    )
