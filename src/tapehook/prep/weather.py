"""The weather of a job: whether its lenses fog where they are brought, and until when heat keeps them off focus."""

import math
from collections import defaultdict
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np

from tapehook.finding import Figure, Finding, Severity
from tapehook.job.records import Job, Reading
from tapehook.lens.heat import SAME_TEMPERATURE_K, barrel_growth_m
from tapehook.notation import format_temperature
from tapehook.optics.dew import TAKEN_ON_K
from tapehook.prep.dew import DewCheck, Warming, check_dew, dew_as_json, time_text
from tapehook.prep.focus import width_dpt
from tapehook.prep.heat import MOUNT_M, WATCH_FROM, measured_drift
from tapehook.prep.results import LensPrep, Prep
from tapehook.prep.room import optics_of
from tapehook.prep.wording import at_most, depth_used

MINUTE_S = 60.0


@dataclass(frozen=True, slots=True)
class HeatShare:
    """How far a lens's focus moves on its way to the temperature of the air, as a share of its depth at ``stop``.

    ``measured`` where its drift was; else an aluminium barrel is assumed.
    """

    lens_id: str
    used: float
    stop: str
    measured: bool


@dataclass(frozen=True, slots=True)
class JobWeather:
    """What the weather of a job does: the lenses in its air, and the lens that heat takes most of until it settles.

    ``worst`` is None where no lens has a focal length and a stop.
    """

    check: DewCheck
    worst: HeatShare | None
    findings: tuple[Finding, ...]


def job_dew(job: Job) -> DewCheck | None:
    """The lenses of a job in the air they are used in; None where ``job.toml`` has no table for it."""
    said = job.weather
    if said is None:
        return None
    constant_s = None if said.time_constant_min is None else said.time_constant_min * MINUTE_S
    warming = None
    if said.later_c is not None and said.later_min is not None:
        warming = Warming(said.later_c, said.later_min * MINUTE_S)
    return check_dew(said.air_c, said.humidity_percent / 100.0, said.lenses_from_c, constant_s, warming)


def job_weather(prep: Prep) -> JobWeather | None:
    """What the weather of a prepared job does to its lenses; None without a table ``[weather]``."""
    check = job_dew(prep.job)
    if check is None:
        return None
    kelvin = check.lens_c - check.air_c
    own: dict[str, list[Reading]] = defaultdict(list)
    for one in prep.job.readings:
        if one.axis == "focus":
            own[one.lens_id].append(one)
    found = (heat_share(entry, own[entry.lens.id], kelvin) for entry in prep.lenses)
    shares = [share for share in found if share is not None]
    worst = max(shares, key=lambda one: one.used, default=None)
    return JobWeather(check, worst, (*_of_lenses(check, worst), *_two_temperatures(prep.job)))


def weather_findings(prep: Prep) -> tuple[Finding, ...]:
    """The findings of the weather; none for a job without a table for it."""
    found = job_weather(prep)
    return found.findings if found else ()


def weather_assumptions(job: Job) -> tuple[str, ...]:
    """What is assumed of the weather, a sentence each; none where nothing has to warm or cool."""
    check = job_dew(job)
    if check is None or check.taken_on_s == 0.0:
        return ()
    if check.measured:
        return check.assumptions
    taken = f"How fast a lens takes on the temperature of the air was not measured: {_constant(check)} assumed."
    return (taken, *check.assumptions[1:])


def heat_share(entry: LensPrep, readings: Sequence[Reading], kelvin: float) -> HeatShare | None:
    """What so many kelvin from where it settles take of the depth of a lens; None without a focal length or a stop.

    ``readings`` are those of its focus ring.
    """
    optics, stop, lens_map = optics_of(entry), entry.shooting or entry.widest, entry.focus_map
    if optics is None or stop is None or not optics.blur_m > 0:
        return None
    drift = None
    if lens_map is not None and lens_map.monotone:
        drift = measured_drift(lens_map, optics, readings)
    if drift is None:
        dpt = float(barrel_growth_m(max(optics.focal_m, MOUNT_M), kelvin)) / optics.focal_m**2
    else:
        dpt = drift.dpt_per_k * kelvin
    width = float(np.atleast_1d(width_dpt(optics, stop, math.inf))[0])
    return HeatShare(entry.lens.id, abs(dpt) / width, stop.text, drift is not None)


def _of_lenses(check: DewCheck, worst: HeatShare | None) -> Iterator[Finding]:
    """That they fog, or that they have a way to go; nothing for lenses that are clear and settled."""
    near = check.may_fog
    if not near and abs(check.lens_c - check.air_c) <= TAKEN_ON_K:
        return
    used = worst.used if worst else 0.0
    never = check.fogs and math.isinf(check.clear_s)
    severity: Severity = "fix" if never else "watch" if near or used >= WATCH_FROM else "info"
    code = "weather.fogs" if check.fogs else "weather.may_fog" if near else "weather.settles"
    figure = depth_used(worst.used, worst.stop) if worst else Figure(check.taken_on_s / MINUTE_S, "min")
    yield Finding(code, severity, "job", f"{_state(check, near=near)}; {_trusted(check, worst)}.", _step(check), figure)


def _state(check: DewCheck, *, near: bool) -> str:
    """Whether they fog in this air, and until when."""
    lens, air = (format_temperature(t) for t in (check.lens_c, check.air_c))
    point = check.point.replace("the dew point is", "dew point")
    where = f"in air of {air} and {100.0 * check.humidity:.0f} % humidity ({point})"
    if check.fogs and math.isinf(check.clear_s):
        return f"Lenses from {lens} fog {where} and do not clear"
    if check.fogs:
        return f"Lenses from {lens} fog {where} and clear after {time_text(check.clear_s)}"
    return f"Lenses from {lens} {'may fog' if near else 'stay clear'} {where}"


def _trusted(check: DewCheck, worst: HeatShare | None) -> str:
    """When their focus may be trusted, and how far heat moves it on the way."""
    if check.taken_on_s == 0.0:
        return "their focus has not to wait for heat"
    when = f"trust their focus from {time_text(check.taken_on_s)} on"
    if worst is None:
        return when
    drift = "its drift measured" if worst.measured else "assumed: an aluminium barrel"
    most = f"{at_most(worst.used)} of the depth at {worst.stop} on {worst.lens_id} ({drift})"
    return f"{when}: until then heat moves it by {most}"


def _step(check: DewCheck) -> str:
    """What to do, and what the times rest on."""
    if check.fogs and math.isinf(check.clear_s):
        return "Dry the air or warm the lenses above the dew point; do not wipe what fogs again."
    foggy = check.may_fog
    if foggy and check.taken_on_s == 0.0:
        return "Look at front and rear glass before each take: glass a little colder, as a filter out of a case, fogs."
    step = f"Have them there {time_text(max(check.taken_on_s, check.clear_s))} before the first shot"
    if foggy:
        step += ", in bag or case until they are warm; change none while cold, heat none by force"
    step += "; then check infinity and one near mark."
    if check.measured:
        return step
    return f"{step} These times assume {_constant(check)}: read a barrel twice, some minutes apart, to have yours."


def _constant(check: DewCheck) -> str:
    return f"a time constant of {time_text(check.time_constant_s)} (common practice, no source)"


def _two_temperatures(job: Job) -> Iterator[Finding]:
    """A temperature of the shoot that is not that of the air which the lenses come to take on."""
    shoot_c, said = job.shoot_temperature_c, job.weather
    if shoot_c is None or said is None or abs(shoot_c - said.air_c) < SAME_TEMPERATURE_K:
        return
    message = (
        f"Two temperatures are given for the shoot: shoot_temperature_c {format_temperature(shoot_c)}, the air of the "
        f"weather {format_temperature(said.air_c)}; what is said of heat holds for the first, of dew for the second."
    )
    step = "Leave out shoot_temperature_c where the lenses take on the temperature of that air; it is then taken."
    yield Finding("weather.two_temperatures", "watch", "job", message, step, Figure(abs(shoot_c - said.air_c), "K"))


def weather_as_json(found: JobWeather) -> dict[str, Any]:
    """The weather as plain JSON values, the shape of ``weather`` in ``tapehook prep --json``, without findings."""
    check, worst = dew_as_json(found.check), found.worst
    for name in ("message", "next_step", "assumptions"):
        del check[name]
    return {
        **check,
        "worst_lens": worst and worst.lens_id,
        "worst_depth_used_percent": worst and 100.0 * worst.used,
        "worst_drift_measured": worst and worst.measured,
        "stop": worst and worst.stop,
    }
