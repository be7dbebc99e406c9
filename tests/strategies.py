"""Jobs for property tests: any job a folder can hold, texts with awkward signs among them.

A record is made as reading would make it: texts without space around them, ``written`` only where it says
more than the number, ``mark_no`` of one distance each.
"""

import math
from datetime import date, datetime, time
from pathlib import Path
from typing import Any

from hypothesis import strategies as st

from tapehook.job import (
    Camera,
    ChartTest,
    Criterion,
    Emitter,
    Filter,
    Job,
    Lens,
    LightTest,
    MorningCheck,
    Motor,
    Radio,
    Reading,
    Weather,
)
from tapehook.job.columns import TABLES, Table
from tapehook.job.sheets import header_name
from tapehook.notation import parse_distance

MEMORY = "/dev/shm" if Path("/dev/shm").is_dir() else None  # noqa: S108 - only a place for TemporaryDirectory
"""Where tests make folders by the thousand: in memory, if there is such a place."""

AWKWARD_TEXTS = (
    "=1+1", "-2+3", "@here", "+44 20", "'=1", "'", "''-5", "-5", "1e5", "a,b", "a;b\tc", 'say "5\'6"', '"', "a\nb",
    "a\r\nb", "sep=;", "id", "L001;L002", "5'6\"", "½", "∞", "\u2028x\u2028y", "x\u00a0y", "\ufeffx", "ＡＢ", "＝1",
    "🎥", "nan", "inf", "None", "<b>&amp;</b>", "#x", "\\n",
)  # fmt: skip

_PLAIN_SIGNS = st.characters(exclude_categories=("Cc", "Cs"))
_one_line = st.text(_PLAIN_SIGNS, max_size=12) | st.sampled_from(
    [text for text in AWKWARD_TEXTS if text.isprintable() or "\u2028" in text]
)
_lines = st.text(_PLAIN_SIGNS | st.sampled_from("\t\n\r"), max_size=12) | st.sampled_from(AWKWARD_TEXTS)

names = _one_line.map(str.strip).filter(bool)
"""Ids and the like: one line, no space around them."""

texts = _lines.map(str.strip).filter(bool)
"""Notes and the like: further lines are allowed."""

unstripped = _lines.filter(lambda text: bool(text.strip()))
"""Cells of unknown columns, which are kept with the space around them."""

positive = st.floats(1e-6, 1e9)
focals_mm = st.floats(1, 1e4)
stops = st.floats(0.5, 128)
sides_mm = st.floats(1, 1000)
blurs_mm = st.floats(1e-6, 1)
finite = st.floats(-1e9, 1e9)
shares = st.floats(0, 1, exclude_min=True)
distances_m = st.floats(1e-3, 1e6)
lags_ms = st.floats(0, 1e6)

_written = st.sampled_from(["5'6\"", "1.68 m", "168cm", "6.6 ft", "7'", "0.55 m", "inf", "∞"]).map(
    lambda text: (text, parse_distance(text))
)


def _may(values: st.SearchStrategy[Any]) -> st.SearchStrategy[Any]:
    return st.none() | values


def _extras(table: Table) -> st.SearchStrategy[list[str]]:
    """Headers of unknown columns."""
    unknown = names.filter(lambda header: header_name(header) not in table.names)
    return st.lists(unknown, max_size=3, unique=True)


def _cells(headers: list[str]) -> st.SearchStrategy[dict[str, str]]:
    return st.fixed_dictionaries({}, optional=dict.fromkeys(headers, unstripped))


_any_text = st.text(st.characters(codec="utf-8"), max_size=8)
_toml_leaves = (
    st.booleans()
    | st.integers(-(2**63) + 1, 2**63 - 1)
    | st.floats(allow_nan=False)
    | _any_text
    | st.dates()
    | st.times()
    | st.datetimes(min_value=datetime(1000, 1, 1))  # noqa: DTZ001 - TOML has local times too
)
toml_values: st.SearchStrategy[bool | int | float | str | date | time | list[Any] | dict[str, Any]] = st.recursive(
    _toml_leaves,
    lambda inner: st.lists(inner, max_size=3) | st.dictionaries(_any_text, inner, max_size=3),
    max_leaves=6,
)
"""What a key of ``job.toml`` may hold."""


def _keys(*known: str) -> st.SearchStrategy[dict[str, Any]]:
    """Keys nobody knows, with their values."""
    unknown = st.sampled_from(["extra", "row", "note", "a b", "ü", "", "x.y"]) | _any_text
    return st.dictionaries(unknown.filter(lambda key: key not in known), toml_values, max_size=2)


letters = st.text(st.characters(categories=("L", "N")), min_size=1, max_size=3)


@st.composite
def _ports(draw: st.DrawFn) -> dict[str, Any]:
    """Where the pupil of a lens is, and a port before it: nothing, or a shape and its place at least."""
    shape = draw(_may(st.just("flat") | st.floats(10, 2000)))
    if shape is None:
        return {"pupil_to_sensor_mm": draw(_may(finite))}
    front_mm = draw(st.floats(20, 5000))
    thinner = st.floats(0, 500 if shape == "flat" else min(500, shape), exclude_max=True)
    return {
        "port": shape,
        "port_front_mm": front_mm,
        "pupil_to_sensor_mm": draw(_may(st.floats(-1e9, front_mm, exclude_max=True))),
        "port_glass_mm": draw(_may(thinner)),
        "water": draw(_may(st.sampled_from(["fresh", "sea"]))),
    }


@st.composite
def lenses(draw: st.DrawFn, lens_id: str, others: list[str], cameras: list[str], headers: list[str]) -> Lens:
    """One lens."""
    focal_mm = draw(_may(focals_mm))
    wide_mm = draw(_may(st.floats(1, focal_mm))) if focal_mm is not None else None
    carried = draw(st.lists(st.sampled_from(cameras), max_size=2)) if cameras else []
    return Lens(
        id=lens_id,
        kind="zoom" if wide_mm is not None else draw(st.sampled_from(["prime", "zoom"])),
        focal_mm=focal_mm,
        focal_min_mm=wide_mm,
        t_stop=draw(_may(stops)),
        transmission=draw(_may(shares)),
        rises_toward=draw(_may(st.sampled_from(["near", "far"]))),
        engraved_in=draw(_may(st.sampled_from(["feet", "metric"]))),
        unit=draw(st.sampled_from(["deg", "count", "percent", "mm"])),
        reading_step=draw(_may(positive)),
        twin_of=draw(_may(st.sampled_from(others))) if others else None,
        close_focus_m=draw(_may(distances_m)),
        units_per_turn=draw(_may(positive)),
        serial=draw(_may(texts)),
        model=draw(_may(texts)),
        camera=" ".join(carried) or None,
        pupil_magnification=draw(_may(positive)),
        **draw(_ports()),
        focuses_by=draw(st.sampled_from((None, "whole", "front", "inner"))),
        blur_floor_mm=draw(_may(blurs_mm)),
        ring_diameter_mm=draw(_may(st.floats(5, 1000))),
        squeeze=draw(_may(st.floats(1, 3))),
        pupil_across_to_sensor_mm=draw(_may(finite)),
        rear_filter=draw(_may(st.just("none"))),
        **{name: draw(_may(finite)) for name in ("hard_stop_near", "hard_stop_far", "motor_end_near", "motor_end_far")},
        extender=draw(_may(st.floats(1, 4))),
        extender_length_mm=draw(_may(st.floats(0, 500))),
        **{
            name: draw(_may(texts))
            for name in (
                "quirks",
                "condition_on_receipt",
                "photos_on_receipt",
                "condition_on_return",
                "photos_on_return",
            )
        },
        note=draw(_may(texts)),
        extra=draw(_cells(headers)),
    )


@st.composite
def readings(draw: st.DrawFn, lens_id: str, mark_no: int, headers: list[str]) -> list[Reading]:
    """The readings of one mark: one or more positions of the same distance, stop or focal length."""
    axis = draw(st.sampled_from(["focus", "focus", "iris", "zoom"]))
    if axis == "focus":
        as_number = (distances_m | st.just(math.inf)).map(lambda value: (None, value))
        odd = st.tuples(st.sampled_from(["about 2 m", "=2 m", "5 6", "-"]), distances_m)
        written, value = draw(_written | as_number | odd)
    else:
        wrote = ("T2.8", "2.80", 2.8) if axis == "iris" else ("35 mm", "35.0", 35.0)
        said = st.sampled_from(wrote[:2]).map(lambda text: (text, wrote[2]))
        written, value = draw(said | distances_m.map(lambda number: (None, number)))
    count = draw(st.integers(1, 2))
    numbered = draw(st.booleans())
    return [
        Reading(
            lens_id=lens_id,
            axis=axis,
            mark_no=mark_no if numbered else None,
            written=written,
            value=value,
            position=draw(finite),
            approach=draw(_may(st.sampled_from(["near_to_far", "far_to_near"]))),
            method=draw(st.sampled_from(["engraved", "taped"])),
            temperature_c=draw(_may(st.floats(-100, 200))),
            rear_filter=draw(_may(st.just("none"))),
            focal_mm=draw(_may(focals_mm)),
            extra=draw(_cells(headers)),
        )
        for _ in range(count)
    ]


@st.composite
def charts(draw: st.DrawFn, lens_id: str, cameras: list[str], headers: list[str]) -> ChartTest:
    """One chart test."""
    finite_written = _written.filter(lambda pair: math.isfinite(pair[1]))
    written, distance_m = draw(finite_written | distances_m.map(lambda value: (None, value)))
    return ChartTest(
        lens_id=lens_id,
        chart_distance_m=distance_m,
        written=written,
        position=draw(_may(finite)),
        approach=draw(_may(st.sampled_from(["near_to_far", "far_to_near"]))),
        t_stop=draw(_may(stops)),
        camera=draw(_may(st.sampled_from(cameras))) if cameras else None,
        focal_mm=draw(_may(focals_mm)),
        chart_width_m=draw(_may(positive)),
        frame_fill=draw(_may(shares)),
        rear_filter=draw(_may(st.just("none"))),
        lines=draw(st.sampled_from((None, "upright", "level"))),
        centre_x_mm=draw(_may(st.floats(-100, 100))),
        centre_y_mm=draw(_may(st.floats(-100, 100))),
        extra=draw(_cells(headers)),
    )


@st.composite
def light_tests(draw: st.DrawFn, lens_id: str, headers: list[str]) -> LightTest:
    """One light test."""
    return LightTest(
        lens_id=lens_id,
        t_stop=draw(stops),
        level_stops=draw(st.floats(-20, 20)),
        focal_mm=draw(_may(focals_mm)),
        extra=draw(_cells(headers)),
    )


@st.composite
def morning_checks(draw: st.DrawFn, lens_id: str, cameras: list[str], headers: list[str]) -> MorningCheck:
    """One lens checked on a morning."""
    written, distance_m = draw(_written | (distances_m | st.just(math.inf)).map(lambda value: (None, value)))
    return MorningCheck(
        lens_id=lens_id,
        date=draw(_may(st.dates().map(date.isoformat))),
        chart_distance_m=distance_m,
        written=written,
        position=draw(finite),
        approach=draw(_may(st.sampled_from(["near_to_far", "far_to_near"]))),
        camera=draw(_may(st.sampled_from(cameras))) if cameras else None,
        temperature_c=draw(_may(st.floats(-100, 200))),
        note=draw(_may(texts)),
        extra=draw(_cells(headers)),
    )


@st.composite
def orders(draw: st.DrawFn, table: Table, headers: list[str]) -> tuple[str, ...]:
    """A header as somebody may have written it: some columns in some order, spelt in some way."""
    known = draw(st.lists(st.sampled_from([column.name for column in table.columns]), unique=True))
    spelt = [draw(st.sampled_from([name, name.upper(), name.replace("_", " ").title()])) for name in known]
    return tuple(draw(st.permutations(spelt + headers)))


@st.composite
def _filter(draw: st.DrawFn, name: str, on: st.SearchStrategy[str | None]) -> Filter:
    """A filter of any kind, with what its kind asks for."""
    places = draw(st.lists(st.integers(-180, 180), min_size=4, max_size=8, unique=True))
    k0 = draw(st.floats(0.1, 1))
    return Filter(
        id=name,
        camera=draw(on),
        kind=draw(st.sampled_from(["nd", "close_up", "split_dioptre", "polariser", "pair", "variable", "other"])),
        density=draw(_may(st.floats(0, 6))),
        count=draw(st.integers(0, 100)),
        power_dpt=draw(st.floats(-20, 20)),
        k0=k0,
        k90=k0 * draw(st.floats(0, 0.9)),
        positions_deg=[float(place) for place in places],
        densities=[draw(st.floats(0, 6)) for _ in places],
        thickness_mm=draw(_may(st.floats(0.001, 100))),
        refractive_index=draw(_may(st.floats(1, 4))),
        colour=draw(_may(names)),
        stacking=draw(_may(names)),
        extra=draw(_keys(*Filter.model_fields)),
    )


@st.composite
def _weather(draw: st.DrawFn) -> Weather:
    """The air and the lenses in it, with a time constant, a second reading of a barrel, or neither."""
    air_c, from_c = draw(st.floats(-40, 50)), draw(st.floats(-100, 200))
    later_c = from_c + (air_c - from_c) * draw(st.floats(0.1, 0.9))
    again = min(air_c, from_c) < later_c < max(air_c, from_c) and draw(st.booleans())
    return Weather(
        air_c=air_c,
        humidity_percent=draw(st.floats(0.1, 100)),
        lenses_from_c=from_c,
        time_constant_min=None if again else draw(_may(st.floats(0.1, 10_000))),
        later_c=later_c if again else None,
        later_min=draw(st.floats(0.1, 10_000)) if again else None,
        extra=draw(_keys(*Weather.model_fields)),
    )


@st.composite
def jobs(draw: st.DrawFn) -> Job:
    """Any job a folder can hold."""
    cameras = draw(st.lists(letters, max_size=3, unique=True))
    motors, radios, filters = (draw(st.lists(names, max_size=2, unique=True)) for _ in "mrf")
    on = _may(st.sampled_from(cameras)) if cameras else st.none()
    headers = {table.name: draw(_extras(table)) for table in TABLES}
    ids = draw(st.lists(names, max_size=4, unique=True))
    marks = range(1, 1 + draw(st.integers(0, 4))) if ids else ()
    tests = range(draw(st.integers(0, 3))) if ids else ()
    kept = draw(st.lists(st.sampled_from(TABLES), unique_by=id))
    return Job(
        title=draw(names),
        region=draw(_may(names)),
        units=draw(st.sampled_from(["metric", "imperial"])),
        shooting_stop=draw(_may(st.sampled_from(["T2.8", "T4 1/3", "2.8"]))),
        shoot_temperature_c=draw(_may(st.floats(-100, 200))),
        paper=draw(st.sampled_from(["a4", "us-letter"])),
        criterion=draw(
            st.builds(
                Criterion,
                name=st.sampled_from(["fixed", "diagonal", "photosites", "viewing"]),
                coc_mm=_may(blurs_mm),
                divisor=_may(positive),
                photosites=_may(positive),
                picture_heights=_may(positive),
                arcminutes=_may(st.floats(1e-6, 600)),
                extra=_keys(*Criterion.model_fields.keys() - {"extra"}),
            )
        ),
        weather=draw(_may(_weather())),
        cameras=tuple(draw(_camera(letter)) for letter in cameras),
        motors=tuple(
            Motor(
                id=name, camera=draw(on), lag_ms=draw(_may(st.floats(0, 1e6))), extra=draw(_keys(*Motor.model_fields))
            )
            for name in motors
        ),
        radios=tuple(
            Radio(
                id=name,
                camera=draw(on),
                bands=draw(_may(st.lists(st.sampled_from(["780", "868", "915", "2450"]), max_size=3))),
                power_dbm=draw(_may(st.floats(-200, 100))),
                listens=draw(st.booleans()),
                extra=draw(_keys(*Radio.model_fields)),
            )
            for name in radios
        ),
        emitters=tuple(
            Emitter(id=name, wifi_channel=draw(st.integers(1, 14)), extra=draw(_keys(*Emitter.model_fields)))
            for name in draw(st.lists(names, max_size=2, unique=True))
        ),
        fired_effects=draw(st.booleans()),
        filters=tuple(draw(_filter(name, on)) for name in filters),
        lenses=tuple(
            draw(lenses(lens_id, [other for other in ids if other != lens_id], cameras, headers["lenses"]))
            for lens_id in ids
        ),
        readings=tuple(
            reading
            for mark_no in marks
            for reading in draw(readings(draw(st.sampled_from(ids)), mark_no, headers["readings"]))
        ),
        charts=tuple(draw(charts(draw(st.sampled_from(ids)), cameras, headers["charts"])) for _ in tests),
        tstops=tuple(draw(light_tests(draw(st.sampled_from(ids)), headers["tstops"])) for _ in tests),
        morning=tuple(draw(morning_checks(draw(st.sampled_from(ids)), cameras, headers["morning"])) for _ in tests),
        extra=draw(_keys(*Job.model_fields)),
        column_order={table.name: draw(orders(table, headers[table.name])) for table in kept},
    )


def _camera(letter: str) -> st.SearchStrategy[Camera]:
    return st.builds(
        Camera,
        letter=st.just(letter),
        name=_may(names),
        sensor_width_mm=_may(sides_mm),
        sensor_height_mm=_may(sides_mm),
        photosite_um=_may(positive),
        colour=_may(names),
        extra=_keys(*Camera.model_fields),
    )
