"""From the lines of the tables to records, row by row and then across rows."""

from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass, field
from typing import TypeVar, cast

from tapehook.job import cells
from tapehook.job.cells import Known
from tapehook.job.columns import CHARTS, LENSES, MORNING, READINGS, TSTOPS, Table, read_unit, written
from tapehook.job.lines import Line, names_of, nearest, read_lines, said, same
from tapehook.job.problems import Problem
from tapehook.job.records import ChartTest, Lens, LightTest, MorningCheck, Reading
from tapehook.job.set_aside import SUFFIX
from tapehook.job.sheets import Sheet
from tapehook.notation import LengthUnit, PositionUnit

Reader = Callable[[str, Known], float]
_Record = TypeVar("_Record", ChartTest, MorningCheck)

MOST_GUESSES = 50
"""Unknown ids for which the nearest is looked up; among thousands of lenses the search is slow."""

_BARE_UNIT: dict[object, LengthUnit] = {"feet": "ft", "metric": "m"}
_FOCUS = ("distance_m", "distance_text", "value")
_OTHER = ("value", "distance_text", "distance_m")
_EXPECTED = {
    "focus": "a distance such as 1.68 m or 5'6\"",
    "iris": "a T-stop such as T2.8",
    "zoom": "a focal length such as 35 mm",
}
_IN_METRES = "a distance in metres such as 1.68"
_UNIT = {"focus": "m", "iris": "", "zoom": "mm"}


@dataclass(slots=True)
class Kit:
    """What the other tables need to know of all lenses, of those with problems too.

    ``units`` gives the unit of positions by id, None where it could not be read; ``bare`` the unit of an
    engraved distance without one. ``whole`` is False when not all lenses could be read, so that an id nobody
    knows says nothing.
    """

    units: dict[str, PositionUnit | None] = field(default_factory=dict)
    bare: dict[str, LengthUnit] = field(default_factory=dict)
    whole: bool = False
    guesses: int = 0

    def check_id(self, line: Line, name: str) -> None:
        """Note an id that no lens has."""
        wrong = line.text(name)
        if self.whole and wrong and wrong not in self.units:
            self.guesses += 1
            hint = nearest(wrong, self.units) if self.guesses <= MOST_GUESSES else ""
            line.refuse(name, f"the id of a lens of the job{hint}")


def read_lenses(sheet: Sheet, problems: list[Problem]) -> tuple[tuple[Lens, ...], Kit]:
    """All lenses without problems, and what the other tables need to know of all."""
    lines = read_lines(sheet, LENSES, problems)
    kit = Kit(whole=not sheet.problems and "id" in names_of(sheet, LENSES))
    lenses = [_lens(line, sheet, kit) for line in lines]
    _check_ids(lines, kit)
    return tuple(lens for lens in lenses if lens), kit


def _lens(line: Line, sheet: Sheet, kit: Kit) -> Lens | None:
    unit = _unit(line)
    known = Known(sheet.decimal_comma, sheet.decimal_point, unit)
    values = line.values(known)
    _split_focal(line, values)
    _check_port(line, values)
    lens_id = line.text("id")
    kit.units.setdefault(lens_id, unit)
    if bare := _BARE_UNIT.get(values.get("engraved_in")):
        kit.bare.setdefault(lens_id, bare)
    return line.record(Lens, values, known)


def _unit(line: Line) -> PositionUnit | None:
    """The unit of the lens's positions: degrees when not said, None when it cannot be read."""
    try:
        return cast(PositionUnit, read_unit(line.text("unit") or "deg", Known()))
    except ValueError:
        return None


def _split_focal(line: Line, values: dict[str, object]) -> None:
    """Both ends of a zoom may stand in one cell; a lens with two ends is a zoom."""
    ends_mm = cast(tuple[float, float] | None, values.pop("focal_mm", None))
    if ends_mm:
        short_mm, values["focal_mm"] = ends_mm
        if short_mm != ends_mm[1] and values.setdefault("focal_min_mm", short_mm) != short_mm:
            line.refuse("focal_min_mm", f"the same wide end as focal_mm, which says {said(short_mm, 'mm')}")
    wide_mm = cast(float | None, values.get("focal_min_mm"))
    if wide_mm is None:
        return
    if values.setdefault("kind", "zoom") != "zoom":
        line.refuse("kind", f"zoom, as the lens has a wide end of {said(wide_mm, 'mm')}")
    if ends_mm and wide_mm > ends_mm[1]:
        line.refuse("focal_min_mm", f"the wide end, not above focal_mm, which says {said(ends_mm[1], 'mm')}")


def _check_port(line: Line, values: dict[str, object]) -> None:
    """A port has its place, glass thinner than its radius, and nothing is said of one that is not there."""
    shape, glass_mm = values.get("port"), values.get("port_glass_mm")
    if not line.text("port"):
        for name in ("port_front_mm", "port_glass_mm", "water"):
            if line.text(name):
                line.refuse(name, "an empty cell, or a port: flat, or the radius of a dome")
    elif not line.text("port_front_mm"):
        line.refuse("port", "port_front_mm beside it: how far the outer face of the port is from the image plane")
    front_mm, pupil_mm = values.get("port_front_mm"), values.get("pupil_to_sensor_mm")
    if isinstance(front_mm, float) and isinstance(pupil_mm, float) and front_mm <= pupil_mm:
        line.refuse("port_front_mm", f"more than {said(pupil_mm, 'mm')}, where the entrance pupil is")
    if isinstance(shape, float) and isinstance(glass_mm, float) and glass_mm >= shape:
        line.refuse("port_glass_mm", f"glass thinner than the radius of the dome, {said(shape, 'mm')}")


def _check_ids(lines: list[Line], kit: Kit) -> None:
    """Each lens has an id of its own, and a twin is another lens of the job."""
    first: dict[str, int] = {}
    for line in lines:
        lens_id = line.text("id")
        if lens_id and first.setdefault(lens_id, line.row) != line.row:
            line.refuse("id", f"an id of its own; row {first[lens_id]} has this one")
        kit.check_id(line, "twin_of")
        if lens_id and line.text("twin_of") == lens_id:
            line.refuse("twin_of", "the id of another lens")


def read_readings(sheet: Sheet, kit: Kit, problems: list[Problem]) -> tuple[Reading, ...]:
    """All readings without problems."""
    found = []
    for line in read_lines(sheet, READINGS, problems):
        kit.check_id(line, "lens_id")
        known = Known(sheet.decimal_comma, sheet.decimal_point, kit.units.get(line.text("lens_id")))
        reading = _reading(line, kit, known)
        if reading:
            found.append(reading)
    problems.extend(_marks_with_two_distances(sheet.file, found))
    return tuple(found)


def _reading(line: Line, kit: Kit, known: Known) -> Reading | None:
    values = line.values(known)
    axis = str(values.get("axis", "focus"))
    if line.text("axis") and "axis" not in values:
        return None  # what the row measures is not known
    if axis == "focus":
        bare = kit.bare.get(line.text("lens_id")) if values.get("method", "engraved") == "engraved" else None
        at = Known(known.decimal_comma, known.decimal_point, known.unit, bare)
        if line.text("distance_text") and line.text("value"):
            line.refuse("value", "an empty cell, as distance_text gives the distance")
        value = _measured(line, _FOCUS, (cells.metres, cells.distance, cells.distance), at, axis)
        values["written"] = line.text("distance_text") or line.text("value") or None
    else:
        reader = cells.t_stop if axis == "iris" else cells.focal_mm
        value = _measured(line, _OTHER, (reader,) * 3, known, axis)
        values["written"] = _as_written(line, reader, value)
    return line.record(Reading, values | ({} if value is None else {"value": value}), known)


def _measured(line: Line, names: Sequence[str], readers: Sequence[Reader], known: Known, axis: str) -> float | None:
    """The value of a row that may say it in several columns, in order: the first filled one counts.

    The others must agree, as far as they can be read.
    """
    filled = [(name, read) for name, read in zip(names, readers, strict=True) if line.text(name)]
    if not filled:
        line.refuse(next((name for name in names if name in line.headers), names[0]), _EXPECTED[axis])
        return None
    (counts, read), *others = filled
    expected = _IN_METRES if axis == "focus" and counts.endswith("_m") else _EXPECTED[axis]
    value = line.take(counts, read, known, expected)
    for name, read_other in others:
        try:
            other = read_other(line.text(name), known)
        except ValueError:
            continue
        if value is not None and not same(value, other):
            line.refuse(name, f"the same as {counts}, which says {said(value, _UNIT[axis])}")
    return value


def _as_written(line: Line, read: Reader, value: float | None) -> str | None:
    """How an iris or zoom value was written.

    None for the bare number, and for what only the decimal comma of its file explains.
    """
    text = next((line.text(name) for name in _OTHER if line.text(name)), "")
    try:
        kept = text != written(value) and read(text, Known()) == value
    except ValueError:
        return None
    return text if kept else None


def _marks_with_two_distances(file: str, readings: list[Reading]) -> list[Problem]:
    """A mark is one place on the scale: all its readings name the same distance, stop or focal length."""
    first: dict[tuple[str, str, int], Reading] = {}
    problems = []
    for reading in readings:
        if reading.mark_no is None:
            continue
        other = first.setdefault((reading.lens_id, reading.axis, reading.mark_no), reading)
        if not same(reading.value, other.value):
            unit = _UNIT[reading.axis]
            expected = (
                f"one value for all readings of a mark; row {other.row} has {said(other.value, unit)}, "
                f"this row {said(reading.value, unit)}"
            )
            problems.append(Problem(file, reading.row, "mark_no", str(reading.mark_no), expected))
    return problems


def read_charts(sheet: Sheet, kit: Kit, problems: list[Problem]) -> tuple[ChartTest, ...]:
    """All chart tests without problems."""
    return tuple(_on_charts(sheet, CHARTS, ChartTest, kit, problems))


def read_morning(sheet: Sheet, kit: Kit, problems: list[Problem]) -> tuple[MorningCheck, ...]:
    """All morning checks without problems."""
    return tuple(_on_charts(sheet, MORNING, MorningCheck, kit, problems))


def _on_charts(sheet: Sheet, table: Table, kind: type[_Record], kit: Kit, problems: list[Problem]) -> Iterator[_Record]:
    """The rows of a table of what was found on charts; their distance may be said in two columns."""
    for line in read_lines(sheet, table, problems):
        kit.check_id(line, "lens_id")
        known = Known(sheet.decimal_comma, sheet.decimal_point, kit.units.get(line.text("lens_id")))
        values = line.values(known)
        value = _measured(line, ("chart_distance_m", "chart_distance"), (cells.metres, cells.distance), known, "focus")
        values |= {"written": line.text("chart_distance")} | ({} if value is None else {"chart_distance_m": value})
        found = line.record(kind, values, known)
        if found:
            yield found


def read_tstops(sheet: Sheet, kit: Kit, problems: list[Problem]) -> tuple[LightTest, ...]:
    """All light tests without problems. A T-stop said to be out of range is kept, and not used."""
    found = []
    for line in read_lines(sheet, TSTOPS, problems):
        kit.check_id(line, "lens_id")
        known = Known(sheet.decimal_comma, sheet.decimal_point)
        kept = line.cells.get("t_stop", "").endswith(SUFFIX)
        if kept:
            line.cells["t_stop"] = line.cells["t_stop"].removesuffix(SUFFIX)
        test = line.record(LightTest, line.values(known), known, kept_earlier=kept)
        if test:
            found.append(test)
    return tuple(found)
