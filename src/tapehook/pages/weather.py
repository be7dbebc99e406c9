"""What the page Weather shows: lenses brought into other air, and the check on the morning after a cold night."""

import re
from collections.abc import Sequence
from dataclasses import dataclass, replace
from datetime import date
from typing import Any, Literal

from pydantic import ValidationError

from tapehook.book.measuring import Measurement
from tapehook.finding import Finding
from tapehook.job import Job, Lens, MorningCheck
from tapehook.job.records import Weather
from tapehook.notation import (
    format_distance,
    format_position,
    format_temperature,
    parse_distance,
    parse_minutes,
    parse_number,
    parse_position,
    parse_share,
    parse_temperature,
)
from tapehook.pages.asked import NewMorning, WeatherAsked
from tapehook.pages.desk import JobNow
from tapehook.pages.typed import Misread, Reader, bare_unit
from tapehook.picture.warming_chart import WarmingChart, warming_chart
from tapehook.prep import Prep
from tapehook.prep.dew import DewCheck, time_text
from tapehook.prep.flange_findings import side
from tapehook.prep.job_morning import job_morning, last_morning
from tapehook.prep.morning import UM, Check, Checked, NoCheck, judged
from tapehook.prep.weather import JobWeather, job_weather
from tapehook.prep.wording import percent

WIDE, NARROW = (520.0, 220.0), (330.0, 200.0)
"""Points: the pictures of a laptop and of a phone."""
SUREST = 4
"""So many lenses are offered first for the check on the morning."""
_BARE = re.compile(r"\s*[-+\N{MINUS SIGN}]?[\d.,]+\s*")
_TEMPERATURE = "a temperature such as 22 °C"
_HUMIDITY = "a share such as 60 %"
_MINUTES = "minutes from 0.1 to 10000, such as 30 or 30min"
_FIELDS = {
    "air": "air_c",
    "humidity": "humidity_percent",
    "lens": "lenses_from_c",
    "time_constant": "time_constant_min",
    "later": "later_c",
    "after": "later_min",
}


# --- lenses brought into other air -------------------------------------------------------------------------------


def celsius_of(text: str, degrees: str) -> float:
    """Degrees Celsius; a bare number is in ``degrees``, "c" or "f". Raises NotationError."""
    return parse_temperature(f"{text}{degrees.upper()}" if _BARE.fullmatch(text) else text)


def _humidity(text: str) -> float:
    """Per cent, also of a bare number over 1, which can be nothing else. Raises NotationError."""
    bare = _BARE.fullmatch(text) is not None and parse_number(text) > 1.0
    return 100.0 * parse_share(f"{text} %" if bare else text)


def weather_of(asked: WeatherAsked) -> Weather | None:
    """The weather as typed; None where nothing was. Raises Misread with all that is wrong."""
    if not any(getattr(asked, name).strip() for name in _FIELDS):
        return None
    reader = Reader()

    def celsius(text: str) -> float:
        return celsius_of(text, asked.degrees)

    given: dict[str, float | None] = {
        "air_c": reader.need("air", asked.air, celsius, _TEMPERATURE),
        "humidity_percent": reader.need("humidity", asked.humidity, _humidity, _HUMIDITY),
        "lenses_from_c": reader.need("lenses come from", asked.lens, celsius, _TEMPERATURE),
        "time_constant_min": _in_minutes(reader, "time constant", asked.time_constant),
        "later_c": reader.take("barrel later", asked.later, celsius, _TEMPERATURE),
        "later_min": _in_minutes(reader, "after", asked.after),
    }
    _together(reader, asked, given)
    reader.done()
    try:
        return Weather.model_validate({name: value for name, value in given.items() if value is not None})
    except ValidationError as trouble:
        reader.limits(trouble)
        raise Misread(reader.problems) from None


def _in_minutes(reader: Reader, field: str, text: str) -> float | None:
    seconds = reader.take(field, text, parse_minutes, _MINUTES)
    return None if seconds is None else seconds / 60.0


def _together(reader: Reader, asked: WeatherAsked, given: dict[str, float | None]) -> None:
    """A second reading needs both its figures, lies on the way, and stands in place of a time constant."""
    for name, other, field in (("later", "after", "barrel later"), ("after", "later", "after")):
        if getattr(asked, other).strip() and not getattr(asked, name).strip():
            reader.refuse(field, "", "both what the barrel showed later and after how long, or neither")
    if asked.later.strip() and asked.time_constant.strip():
        reader.refuse("time constant", asked.time_constant, "either a time constant or what a barrel showed later")
    air, lens, later = (given[name] for name in ("air_c", "lenses_from_c", "later_c"))
    if air is not None and lens is not None and later is not None and not min(air, lens) < later < max(air, lens):
        reader.refuse("barrel later", asked.later, "a temperature between that of the lenses and that of the air")


def first_asked(now: JobNow) -> WeatherAsked:
    """The fields as the job has them; empty where it says nothing of the weather."""
    kept = now.job.weather
    if kept is None:
        return WeatherAsked(degrees=_degrees_of(now.job))
    texts = {
        "air": format_temperature(kept.air_c),
        "humidity": f"{kept.humidity_percent:g} %",
        "lens": format_temperature(kept.lenses_from_c),
        "time_constant": "" if kept.time_constant_min is None else f"{kept.time_constant_min:g} min",
        "later": "" if kept.later_c is None else format_temperature(kept.later_c),
        "after": "" if kept.later_min is None else f"{kept.later_min:g} min",
    }
    return WeatherAsked(**texts, degrees=_degrees_of(now.job))


def _degrees_of(job: Job) -> Literal["c", "f"]:
    """What bare temperatures are in until somebody says: feet are used with either, so the region decides."""
    region = (job.region or ("US" if job.units == "imperial" else "")).strip().upper()
    return "f" if region == "US" else "c"


def weather_for(prep: Prep, weather: Weather) -> JobWeather:
    """What a weather does to the lenses of a prepared job, kept in it or only typed."""
    found = job_weather(replace(prep, job=prep.job.model_copy(update={"weather": weather})))
    assert found is not None  # noqa: S101 - there is a weather
    return found


def air_shown(now: JobNow, prep: Prep, asked: WeatherAsked) -> dict[str, Any]:
    """What the part of the air shows: the answer and its picture, or what cannot be read."""
    base = {"now": now, "air_wrong": [], "air": None, "kept": now.job.weather is not None}
    try:
        weather = weather_of(asked)
    except Misread as trouble:
        return {**base, "air_wrong": [one.sentence() for one in trouble.problems]}
    if weather is None:
        return base
    found = weather_for(prep, weather)
    return {
        **base,
        "air": found.check,
        "air_figures": _figures(found.check),
        "air_findings": found.findings,
        "air_assumptions": found.check.assumptions,
        "air_wide": _picture(found.check, weather, *WIDE),
        "air_narrow": _picture(found.check, weather, *NARROW),
    }


def _figures(check: DewCheck) -> list[tuple[str, str]]:
    """The answer in few words."""
    clear = time_text(check.clear_s) if check.clear_s < 1e7 else "never in this air"
    return [
        ("frost at" if check.settles_c > check.dew_c else "dew point", format_temperature(check.settles_c)),
        ("clear", f"after {clear}" if check.fogs and check.clear_s < 1e7 else clear if check.fogs else "at once"),
        ("settled", f"after {time_text(check.taken_on_s)}" if check.taken_on_s > 0 else "at once"),
    ]


def _picture(check: DewCheck, weather: Weather, width: float, height: float) -> str:
    later = None
    if weather.later_c is not None and weather.later_min is not None:
        later = (weather.later_min * 60.0, weather.later_c)
    settled, constant = check.taken_on_s, check.time_constant_s
    frost = check.settles_c > check.dew_c
    chart = WarmingChart(check.lens_c, check.air_c, check.settles_c, constant, check.clear_s, settled, later, frost)
    return warming_chart(chart, width=width, height=height, title="A lens on its way to the temperature of the air")


# --- the morning check -------------------------------------------------------------------------------------------


def check_of(sent: NewMorning, lens: Lens, units: str) -> MorningCheck:
    """The record of a check as typed. Raises Misread with all that is wrong."""
    reader, unit = Reader(), bare_unit(lens, units)
    at = reader.need("chart at", sent.distance, lambda text: parse_distance(text, bare_unit=unit), "a distance")
    position = reader.need("sharp at", sent.position, lambda text: parse_position(text, lens.unit), "a position")
    warm = reader.take("temperature", sent.temperature, lambda text: celsius_of(text, sent.degrees), _TEMPERATURE)
    day = reader.take("date", sent.date, _day, "a date such as 2026-11-26")
    reader.done()
    given: dict[str, object] = {"lens_id": lens.id, "chart_distance_m": at, "position": position}
    found = {"date": day, "approach": sent.approach, "temperature_c": warm, "note": sent.note}
    given |= {name: value for name, value in found.items() if value is not None}
    if re.search(r"[^\d.,\s]", sent.distance):
        given["written"] = sent.distance.strip()
    try:
        return MorningCheck.model_validate(given)
    except ValidationError as trouble:
        reader.limits(trouble)
        raise Misread(reader.problems) from None


def _day(text: str) -> str:
    return date.fromisoformat(text.strip()).isoformat()


@dataclass(frozen=True, slots=True)
class CheckRow:
    """One check of the last morning as it is shown: its key, and what it says or why it says nothing."""

    key: str
    lens_id: str
    lens_key: str
    chart: str
    position: str
    shift: str
    heat: str
    used: str
    over: bool
    nothing: str
    title: str


def morning_shown(now: JobNow, prep: Prep) -> dict[str, Any]:
    """What the part of the morning shows: each check of the last morning, and what they say of the kit."""
    found = job_morning(prep)
    kit: tuple[Finding, ...] = () if found is None else tuple(one for one in found.findings if one.lens_id is None)
    latest = {one.date for one in last_morning(now.job)}
    rows, before = _rows(now, prep, latest)
    return {"morning_rows": rows, "morning_before": before, "morning_kit": kit, "morning_date": found and found.date}


def _rows(now: JobNow, prep: Prep, latest: set[str | None]) -> tuple[list[CheckRow], int]:
    """The checks of the latest date, and how many there are of other mornings."""
    rows, before = [], 0
    for one in now.rows["morning"]:
        record = one.record()
        if not isinstance(record, MorningCheck) or record.lens_id not in now.lens_ids:
            continue
        if record.date in latest:
            rows.append(_row(now, prep, one, record))
        else:
            before += 1
    return rows, before


def _row(now: JobNow, prep: Prep, one: Measurement, record: MorningCheck) -> CheckRow:
    lens, nothing, found = now.lens(record.lens_id), "", None
    check = Check(lens.id, record.chart_distance_m, record.position, record.approach, record.temperature_c)
    try:
        found = judged(prep, check)
    except NoCheck as trouble:
        nothing = f"says nothing: needs {trouble.expected}"
    way = {"near_to_far": " near→far", "far_to_near": " far→near"}.get(record.approach or "", "")
    return CheckRow(
        key=one.id.hex(),
        lens_id=lens.id,
        lens_key=now.lens_key(lens.id),
        chart=record.written or format_distance(record.chart_distance_m, now.job.units),
        position=format_position(record.position, lens.unit, step=lens.reading_step) + way,
        shift="" if found is None else _shift_text(found),
        heat="" if found is None or found.heat_m is None else f"{UM * abs(found.heat_m):.0f} µm {side(found.heat_m)}",
        used="" if found is None else f"{percent(found.used)} at {found.stop.text}",
        over=found is not None and found.used > 1.0,
        nothing=nothing,
        title=f"by {one.who}, {one.when[:16].replace('T', ' ')} UTC",
    )


def _shift_text(found: Checked) -> str:
    return f"{UM * abs(found.shift_m):.0f} +- {1.96 * UM * found.sd_m:.0f} µm {side(found.shift_m)}"


def lenses_to_check(now: JobNow, prep: Prep) -> Sequence[tuple[str, list[tuple[str, str]]]]:
    """Lenses with a map by key and words: the fast and short ones, which are surest, and the others in their order."""
    mapped = [entry for entry in prep.lenses if entry.focus_map is not None and entry.focus_map.monotone]
    mapped.sort(key=lambda entry: (entry.depth_focal_m or 1e9) * (entry.widest.f_number if entry.widest else 1e3))
    surest, others = mapped[:SUREST], [entry for entry in prep.lenses if entry in mapped[SUREST:]]
    groups = (("surest", surest), ("others", others))
    return [
        (name, [(now.lens_key(entry.lens.id), f"{entry.lens.id} · {entry.title}") for entry in group])
        for name, group in groups
        if group
    ]
