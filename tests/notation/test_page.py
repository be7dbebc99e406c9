"""The page on notation is true: every example in its tables is run."""

import math
import re
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import NamedTuple

import pytest

from tapehook.notation import (
    LengthUnit,
    NotationError,
    PositionUnit,
    format_distance,
    format_stop,
    parse_distance,
    parse_filter,
    parse_focal_length,
    parse_length,
    parse_light,
    parse_position,
    parse_share,
    parse_shutter,
    parse_stop,
)

PAGE = Path(__file__).parents[2] / "docs" / "notation.md"
LENGTH_UNITS: dict[str, LengthUnit] = {"m": "m", "cm": "cm", "ft": "ft"}
POSITION_UNITS: dict[str, PositionUnit] = {"deg": "deg", "count": "count", "percent": "percent", "mm": "mm"}


class Row(NamedTuple):
    """One row of a table of the page: the table's header cells with this row's cells."""

    line: int
    cells: dict[str, str]

    @property
    def header(self) -> str:
        """All header cells, which tell what kind of table it is."""
        return ", ".join(self.cells)


def _rows() -> Iterator[Row]:
    """All rows of all tables of the page."""
    header: list[str] | None = None
    for number, line in enumerate(PAGE.read_text(encoding="utf-8").splitlines(), start=1):
        cells = [cell.strip() for cell in line.split("|")[1:-1]]
        if not cells:
            header = None
        elif header is None:
            header = cells
        elif set(line) - set("|-"):
            yield Row(number, dict(zip(header, cells, strict=True)))


def _code(cell: str) -> tuple[str, ...]:
    """The code spans of a cell."""
    return tuple(re.findall("`([^`]+)`", cell))


def _check(reader: Callable[[str], object], texts: str, expected: object, readings: str) -> None:
    """Each text of the cell is read as expected, or refused with these readings when nothing is expected."""
    assert _code(texts)
    for text in _code(texts):
        if expected is not None:
            assert reader(text) == expected
            assert readings == ""
            continue
        with pytest.raises(NotationError) as refusal:
            reader(text)
        assert refusal.value.readings == _code(readings)


def _number(cell: str) -> float | None:
    """The number of a cell, None for an empty one."""
    return float(cell) if cell else None


def _distance(row: dict[str, str]) -> None:
    _check(parse_distance, row["written"], _number(row["metres"]), "")


def _refused_distance(row: dict[str, str]) -> None:
    _check(parse_distance, row["written"], None, row["could mean"])


def _bare_distance(row: dict[str, str]) -> None:
    unit = LENGTH_UNITS[row["stated unit"]]
    expected = _number(row["metres"])
    _check(lambda text: parse_distance(text, bare_unit=unit), row["written"], expected, row["could mean"])


def _comma_distance(row: dict[str, str]) -> None:
    texts, expected = row["written with decimal commas"], _number(row["metres"])
    _check(lambda text: parse_distance(text, decimal_comma=True), texts, expected, row["could mean"])


def _written_distance(row: dict[str, str]) -> None:
    metres = float(row["metres"])
    assert _code(row["metric"]) == (format_distance(metres, "metric"),)
    assert _code(row["imperial"]) == (format_distance(metres, "imperial"),)


def _length(row: dict[str, str]) -> None:
    _check(parse_length, row["length"], _number(row["metres"]), "")


def _stop(row: dict[str, str]) -> None:
    for text in _code(row["stop"]):
        stop = parse_stop(text)
        expected = (float(row["number"]), float(row["exact"]))
        assert (stop.number, stop.exact) == pytest.approx(expected, abs=5e-7)


def _refused_stop(row: dict[str, str]) -> None:
    _check(parse_stop, row["stop"], None, row["could mean"])


def _written_stop(row: dict[str, str]) -> None:
    assert _code(row["stop"]) == (format_stop(float(row["number"])),)


def _focal(row: dict[str, str]) -> None:
    def ends_mm(text: str) -> tuple[float, float]:
        focal = parse_focal_length(text)
        return round(focal.short_m * 1000, 9), round(focal.long_m * 1000, 9)

    expected = (float(row["shortest mm"]), float(row["longest mm"])) if row["shortest mm"] else None
    _check(ends_mm, row["focal length"], expected, row["could mean"])


def _position(row: dict[str, str]) -> None:
    unit = POSITION_UNITS[row["unit"]]
    value = _number(row["value"])
    _check(lambda text: parse_position(text, unit), row["position"], value, row["could mean"])


def _light(row: dict[str, str]) -> None:
    _check(parse_light, row["light"], _number(row["lux"]), row["could mean"])


def _shutter(row: dict[str, str]) -> None:
    angle, time = _number(row["degrees"]), _number(row["seconds"])
    expected = None if angle is None and time is None else (angle, time)
    _check(parse_shutter, row["shutter"], expected, row["could mean"])


def _filter(row: dict[str, str]) -> None:
    _check(parse_filter, row["filter"], _number(row["density"]), row["could mean"])


def _share(row: dict[str, str]) -> None:
    _check(parse_share, row["share"], _number(row["value"]), row["could mean"])


CHECKS: dict[str, Callable[[dict[str, str]], None]] = {
    "written, metres": _distance,
    "written, could mean, why": _refused_distance,
    "written, stated unit, metres, could mean": _bare_distance,
    "written with decimal commas, metres, could mean": _comma_distance,
    "metres, metric, imperial": _written_distance,
    "length, metres": _length,
    "stop, number, exact": _stop,
    "stop, could mean, why": _refused_stop,
    "number, stop": _written_stop,
    "focal length, shortest mm, longest mm, could mean": _focal,
    "position, unit, value, could mean": _position,
    "share, value, could mean": _share,
    "light, lux, could mean": _light,
    "shutter, degrees, seconds, could mean": _shutter,
    "filter, density, could mean": _filter,
}
NO_EXAMPLES = {", step"}
"""Tables that explain and hold no example."""


@pytest.mark.parametrize(
    "row", [row for row in _rows() if row.header not in NO_EXAMPLES], ids=lambda row: f"line {row.line}"
)
def test_each_example_on_the_page_is_true(row: Row) -> None:
    """What the page says is read, refused or written is; a table of an unknown kind fails."""
    CHECKS[row.header](row.cells)


def test_the_page_has_examples_of_every_kind() -> None:
    """No kind of table has gone missing from the page, which would leave its test idle."""
    assert {row.header for row in _rows()} == set(CHECKS) | NO_EXAMPLES


def test_the_exact_example_in_the_text_is_true() -> None:
    """The one example outside a table: a metre in feet and inches."""
    text = format_distance(1.0, "imperial", exact=True)

    assert f"`{text}` is 1 m" in PAGE.read_text(encoding="utf-8")
    assert math.isclose(parse_distance(text), 1.0, rel_tol=1e-12)
