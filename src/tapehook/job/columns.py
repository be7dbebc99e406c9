"""The columns of the tables: what each holds, how it is read, and how it is written.

The page on file formats is held against these tuples by a test.
"""

from collections.abc import Callable
from dataclasses import dataclass
from functools import partial
from typing import Literal

from tapehook.job import cells
from tapehook.job.cells import Known
from tapehook.job.sheets import header_name
from tapehook.notation import PositionUnit, write_number

Need = Literal["needed", "one of", "optional"]

_POSITION_EXPECTED: dict[PositionUnit | None, str] = {
    "deg": "a number of degrees such as 131.8",
    "count": "a number of counts such as 25551",
    "percent": "a percentage of travel such as 45.2",
    "mm": "a number of millimetres such as 13.5",
    None: "a number in the unit of the lens",
}


@dataclass(frozen=True, slots=True)
class Column:
    """One column: its header, the record's field it fills, and what its cells hold.

    ``read`` turns text into a value; None where a reader of the whole row does it. ``expected`` completes
    "expected ...". ``unit`` is the unit of a bare number. "one of": at least one such column is needed.
    """

    name: str
    field: str
    unit: str
    example: str
    expected: str
    read: Callable[[str, Known], object] | None = cells.text
    need: Need = "optional"

    def expects(self, known: Known) -> str:
        """What a message says was expected, with the unit of the lens where that matters."""
        return self.expected.format(position=_POSITION_EXPECTED[known.unit])


@dataclass(frozen=True, slots=True)
class Table:
    """One table of a job: its file name without ending, and its columns in the order they are written.

    ``aliases`` are further names of columns; ``bare_value`` is the column of the value in SI units, where
    several columns may give it.
    """

    name: str
    columns: tuple[Column, ...]
    aliases: dict[str, str]
    bare_value: str = ""

    def name_of(self, header: str) -> str:
        """The name of the column a header stands for, or the header itself where we do not know it."""
        plain = header_name(header)
        return self.aliases.get(plain, plain) if plain in self.names else header

    @property
    def names(self) -> frozenset[str]:
        """All headers we know, as ``header_name`` gives them."""
        return frozenset({column.name for column in self.columns} | self.aliases.keys())


def choice(options: dict[str, str], text: str, known: Known) -> str:  # noqa: ARG001 - one form for all readers
    """One of a few words, upper case and the marks between words apart."""
    word = text.casefold().replace("-", "_").replace(" ", "_")
    if word not in options:
        raise ValueError(text)
    return options[word]


def _choice(*words: str, **also: str) -> tuple[str, Callable[[str, Known], object]]:
    """What is expected of a choice, and its reader; ``also`` are further spellings."""
    quoted = [f'"{word}"' for word in words]
    expected = f"{', '.join(quoted[:-1])} or {quoted[-1]}"
    return expected, partial(choice, {word: word for word in words} | also)


_KIND = _choice("prime", "zoom")
_END = _choice("near", "far")
_SCALE = _choice("feet", "metric", ft="feet", m="metric", metres="metric", meters="metric", imperial="feet")
_UNIT = _choice(
    "deg", "count", "percent", "mm", degrees="deg", degree="deg", counts="count", **{"°": "deg", "%": "percent"}
)
_FOCUSES = _choice("whole", "front", "inner")
_AXIS = _choice("focus", "iris", "zoom")
_APPROACH = _choice("near_to_far", "far_to_near")
_WATER = _choice("fresh", "sea", salt="sea", sea_water="sea", fresh_water="fresh")
_METHOD = _choice("engraved", "taped")
_LINES = _choice("upright", "level", vertical="upright", horizontal="level")

read_unit = _UNIT[1]
"""Reader of a lens's unit of positions."""

_LENS_ID = "the id of a lens such as L001, at most 80 characters on one line"
_STOP = "a T-stop such as T2.8"
_FOCAL = "a focal length such as 50 mm"
_PHOTOS = "names of files in the job folder, parted by semicolons"
_REAR = "none, or filters of job.toml parted by +"

LENSES = Table(
    "lenses",
    (
        Column("id", "id", "", "L001", _LENS_ID, need="needed"),
        Column("kind", "kind", "", "prime", *_KIND),
        Column("focal_mm", "focal_mm", "mm", "50", f"{_FOCAL}; of a zoom, its long end", cells.focal_range_mm),
        Column("focal_min_mm", "focal_min_mm", "mm", "24", "the wide end of a zoom such as 24 mm", cells.focal_mm),
        Column("t_stop", "t_stop", "T", "1.3", _STOP, cells.t_stop),
        Column("transmission", "transmission", "", "0.85", "a part of one such as 0.85 or 85 %", cells.share),
        Column("rises_toward", "rises_toward", "", "near", *_END),
        Column("engraved_in", "engraved_in", "", "feet", *_SCALE),
        Column("unit", "unit", "", "deg", *_UNIT),
        Column("reading_step", "reading_step", "lens's unit", "0.1", "{position}, above nought", cells.position),
        Column("twin_of", "twin_of", "", "L001", "the id of another lens"),
        Column("close_focus_m", "close_focus_m", "m", "0.521", "a distance such as 0.521 or 0.521 m", cells.metres),
        Column("units_per_turn", "units_per_turn", "lens's unit", "360", "a number such as 360", cells.number),
        Column("serial", "serial", "", "4711", "text"),
        Column("model", "model", "", "Harbour 50", "text"),
        Column("camera", "camera", "", "A B", "letters of cameras, parted by spaces"),
        Column(
            "pupil_to_sensor_mm",
            "pupil_to_sensor_mm",
            "mm",
            "41",
            "a number of millimetres such as 41",
            cells.signed_millimetres,
        ),
        Column("pupil_magnification", "pupil_magnification", "", "1.15", "a number such as 1.15", cells.number),
        Column("focuses_by", "focuses_by", "", "whole", *_FOCUSES),
        Column(
            "blur_floor_mm", "blur_floor_mm", "mm", "0.01", "a number of millimetres such as 0.01", cells.millimetres
        ),
        *(
            Column(name, name, "lens's unit", example, "{position}", cells.position)
            for name, example in (
                ("hard_stop_near", "283.5"),
                ("hard_stop_far", "9.5"),
                ("motor_end_near", "283.0"),
                ("motor_end_far", "10.0"),
            )
        ),
        Column(
            "ring_diameter_mm",
            "ring_diameter_mm",
            "mm",
            "80",
            "a number of millimetres such as 80, from 5 to 1000",
            cells.millimetres,
        ),
        Column("squeeze", "squeeze", "", "2", "a number from 1 to 3 such as 2", cells.number),
        Column(
            "pupil_across_to_sensor_mm",
            "pupil_across_to_sensor_mm",
            "mm",
            "120",
            "a number of millimetres such as 120",
            cells.signed_millimetres,
        ),
        Column("rear_filter", "rear_filter", "", "gel", _REAR),
        Column("extender", "extender", "", "2x", "a factor from 1 to 4 such as 1.4x", cells.factor),
        Column(
            "extender_length_mm",
            "extender_length_mm",
            "mm",
            "30",
            "a number of millimetres such as 30, up to 500",
            cells.millimetres,
        ),
        Column(
            "port",
            "port",
            "mm",
            "100",
            "flat, or the radius of a dome in millimetres such as 100",
            cells.port,
        ),
        Column(
            "port_front_mm",
            "port_front_mm",
            "mm",
            "180",
            "a number of millimetres such as 180",
            cells.millimetres,
        ),
        Column(
            "port_glass_mm",
            "port_glass_mm",
            "mm",
            "6",
            "a number of millimetres such as 6, up to 500",
            cells.millimetres,
        ),
        Column("water", "water", "", "sea", *_WATER),
        Column("quirks", "quirks", "", "breathes; goes soft above T11", "text"),
        Column("condition_on_receipt", "condition_on_receipt", "", "front scratched at 4 o'clock", "text"),
        Column("photos_on_receipt", "photos_on_receipt", "", "photos/L01-front.jpg", _PHOTOS),
        Column("condition_on_return", "condition_on_return", "", "as received", "text"),
        Column("photos_on_return", "photos_on_return", "", "photos/L01-back.jpg", _PHOTOS),
        Column("note", "note", "", "loose gear", "text"),
    ),
    {"lens_id": "id", "lens": "id"},
)

READINGS = Table(
    "readings",
    (
        Column("lens_id", "lens_id", "", "L001", _LENS_ID, need="needed"),
        Column("axis", "axis", "", "focus", *_AXIS),
        Column("mark_no", "mark_no", "", "1", "a whole number from 1 up", cells.whole_number),
        Column("distance_text", "written", "as written", "5'6\"", "a distance such as 5'6\" or 1.68 m", None, "one of"),
        Column("distance_m", "value", "m", "1.6764", "a distance in metres such as 1.68, or inf", None, "one of"),
        Column("value", "value", "T or mm", "T2.8", "a T-stop such as T2.8, or a focal length", None, "one of"),
        Column("position", "position", "lens's unit", "131.8", "{position}", cells.position, "needed"),
        Column("approach", "approach", "", "near_to_far", *_APPROACH),
        Column("method", "method", "", "engraved", *_METHOD),
        Column("temperature_c", "temperature_c", "°C", "21.5", "degrees Celsius such as 21.5", cells.degrees_celsius),
        Column("rear_filter", "rear_filter", "", "gel", _REAR),
        Column("focal_mm", "focal_mm", "mm", "35", _FOCAL, cells.focal_mm),
    ),
    {"temperature": "temperature_c"},
    "distance_m",
)

CHARTS = Table(
    "charts",
    (
        Column("lens_id", "lens_id", "", "L001", _LENS_ID, need="needed"),
        Column("chart_distance", "written", "as written", "5'6\"", "a distance such as 5'6\"", None, "one of"),
        Column(
            "chart_distance_m", "chart_distance_m", "m", "1.6764", "a distance in metres such as 1.68", None, "one of"
        ),
        Column("position", "position", "lens's unit", "131.8", "{position}", cells.position),
        Column("approach", "approach", "", "near_to_far", *_APPROACH),
        Column("t_stop", "t_stop", "T", "1.3", _STOP, cells.t_stop),
        Column("camera", "camera", "", "A", "the letter of a camera"),
        Column("focal_mm", "focal_mm", "mm", "35", _FOCAL, cells.focal_mm),
        Column("chart_width", "chart_width_m", "mm", "400 mm", "a width such as 400 mm", cells.chart_width),
        Column("frame_fill", "frame_fill", "", "45 %", "a part of the image width such as 45 %", cells.share),
        Column("rear_filter", "rear_filter", "", "gel", _REAR),
        Column("lines", "lines", "", "upright", *_LINES),
        *(
            Column(name, name, "mm", "-0.3", "a number of millimetres such as -0.3", cells.signed_millimetres)
            for name in ("centre_x_mm", "centre_y_mm")
        ),
    ),
    {},
    "chart_distance_m",
)

TSTOPS = Table(
    "tstops",
    (
        Column("lens_id", "lens_id", "", "L001", _LENS_ID, need="needed"),
        Column("t_stop", "t_stop", "T", "2.8", _STOP, cells.t_stop, "needed"),
        Column(
            "level_stops",
            "level_stops",
            "stops",
            "-0.1",
            "a number of stops against the reference such as -0.1",
            cells.number,
            "needed",
        ),
        Column("focal_mm", "focal_mm", "mm", "35", _FOCAL, cells.focal_mm),
    ),
    {"level": "level_stops"},
)

MORNING = Table(
    "morning",
    (
        Column("lens_id", "lens_id", "", "L001", _LENS_ID, need="needed"),
        Column("date", "date", "", "2026-11-26", "a date such as 2026-11-26", cells.day),
        Column("chart_distance", "written", "as written", "16'", "a distance such as 16' or inf", None, "one of"),
        Column(
            "chart_distance_m", "chart_distance_m", "m", "5", "a distance in metres such as 5, or inf", None, "one of"
        ),
        Column("position", "position", "lens's unit", "131.8", "{position}", cells.position, "needed"),
        Column("approach", "approach", "", "near_to_far", *_APPROACH),
        Column("camera", "camera", "", "A", "the letter of a camera"),
        Column("temperature_c", "temperature_c", "°C", "-2.5", "degrees Celsius such as -2.5", cells.degrees_celsius),
        Column("note", "note", "", "frost on the barrel", "text"),
    ),
    {"distance": "chart_distance", "distance_m": "chart_distance_m", "temperature": "temperature_c"},
    "chart_distance_m",
)

TABLES = (LENSES, READINGS, CHARTS, TSTOPS, MORNING)


def written(value: object) -> str:
    """A value as its cell is written: the shortest text that reads back to it, empty for None."""
    if value is None:
        return ""
    if isinstance(value, float):
        return "inf" if value == float("inf") else write_number(value)
    return str(value)
