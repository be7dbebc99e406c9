"""The last morning that a job's table of checks holds: what it says of the kit, and of each lens that was checked."""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace
from typing import Any

import numpy as np

from tapehook.finding import Finding, Severity
from tapehook.job.records import Job, MorningCheck
from tapehook.lens.map import Z95
from tapehook.lens.morning import FEWEST
from tapehook.notation import format_distance
from tapehook.prep.flange_findings import side
from tapehook.prep.morning import (
    FIX_FROM,
    UM,
    WATCH_FROM,
    Check,
    Checked,
    Morning,
    NoCheck,
    check_as_json,
    judged,
    kit_as_json,
    kit_judged,
)
from tapehook.prep.results import LensPrep, Prep
from tapehook.prep.wording import Maker, depth_used, percent


@dataclass(frozen=True, slots=True)
class Unjudged:
    """A check that says nothing: the row as it was read, and what was expected in place of it."""

    row: MorningCheck
    expected: str


@dataclass(frozen=True, slots=True)
class JobMorning:
    """One morning of a job: its ``date`` as 2026-11-26, None where the rows name none.

    ``kit`` is None with fewer than three lenses judged. ``findings`` are those of the kit and of each lens.
    """

    date: str | None
    checked: tuple[Checked, ...]
    unjudged: tuple[Unjudged, ...]
    kit: Morning | None
    findings: tuple[Finding, ...]


def last_morning(job: Job) -> tuple[MorningCheck, ...]:
    """The checks of the last morning of a job: those of the latest date; those without a date where none has one."""
    latest = max((one.date for one in job.morning if one.date), default=None)
    return tuple(one for one in job.morning if one.date == latest)


def job_morning(prep: Prep) -> JobMorning | None:
    """What the last morning of a prepared job says; None for a job without checks.

    Checks on lenses that were left out of the job, as where one lens is prepared alone, are passed over; fewer than
    three lenses then say nothing of the kit, not even how many more it takes.
    """
    known, whole = {entry.lens.id for entry in prep.lenses}, last_morning(prep.job)
    rows = [row for row in whole if row.lens_id in known]
    if not rows:
        return None
    checked, unjudged = [], []
    for row in rows:
        check = Check(row.lens_id, row.chart_distance_m, row.position, row.approach, row.temperature_c)
        try:
            checked.append(judged(prep, check))
        except NoCheck as trouble:
            unjudged.append(Unjudged(row, trouble.expected))
    enough = len({one.check.lens_id for one in checked}) >= FEWEST
    kit = kit_judged(prep, checked) if enough else None
    date = rows[0].date
    findings = [_of_kit(date, kit)] if kit else [_too_few(date, checked)] if len(rows) == len(whole) else []
    findings += [_of_lens(prep.lens(name), own, prep, kit) for name, own in _by_lens(checked)]
    findings += _nothing_said(prep, unjudged)
    return JobMorning(date, tuple(checked), tuple(unjudged), kit, tuple(findings))


def morning_findings(prep: Prep) -> tuple[Finding, ...]:
    """The findings of the last morning; none for a job without checks."""
    found = job_morning(prep)
    return found.findings if found else ()


def _by_lens(checked: Sequence[Checked]) -> Iterator[tuple[str, list[Checked]]]:
    for name in dict.fromkeys(one.check.lens_id for one in checked):
        yield name, [one for one in checked if one.check.lens_id == name]


def _when(date: str | None) -> str:
    return f"Morning of {date}" if date else "Morning check"


def _of_kit(date: str | None, kit: Morning) -> Finding:
    return replace(kit.finding, message=f"{_when(date)}: {kit.finding.message}")


def _too_few(date: str | None, checked: Sequence[Checked]) -> Finding:
    """Fewer lenses than tell for a kit: how many more."""
    lenses = len({one.check.lens_id for one in checked})
    more = FEWEST - lenses
    message = (
        f"{_when(date)}: {lenses or 'no'} lens{'' if lenses == 1 else 'es'} checked that can be judged, and "
        f"{FEWEST} tell for the kit."
    )
    them = "it" if more == 1 else "them"
    step = f"Check {more} more on a chart wide open, short and fast ones first, and write {them} into morning.csv."
    return Finding("morning.few", "info", "kit", message, step)


def _of_lens(entry: LensPrep, own: Sequence[Checked], prep: Prep, kit: Morning | None) -> Finding:
    """How far one lens was found from its map, and its share of the depth at the stop it is shot at."""
    shift_m = float(np.mean([one.shift_m for one in own]))
    half_m = Z95 * float(np.sqrt(np.mean([one.sd_m**2 for one in own])))
    room_m, stop = own[0].room_m, own[0].stop.text
    used, spread = abs(shift_m) / room_m, half_m / room_m
    where = _where([one.check for one in own], entry)
    shift = f"{UM * abs(shift_m):.0f} +- {UM * half_m:.0f} µm"
    figure = depth_used(used, stop, spread)
    make = Maker(entry.lens, entry.title)
    if abs(shift_m) <= half_m:
        message = f"Checked in the morning on {where} it stands on its map as far as that can tell: {shift}, "
        message += f"{percent(used)} of the depth at {stop}."
        step = "Nothing to do; check it again when it warms up."
        if spread >= WATCH_FROM:
            step = "Check it again wide open, twice from the same side: its +- is over a quarter of the depth."
        return make("morning.lens", "info", message, step, figure)
    severity: Severity = "fix" if used >= FIX_FROM else "watch" if used >= WATCH_FROM else "info"
    message = (
        f"Checked in the morning on {where} it is off its map as if the sensor lay {shift} "
        f"{side(shift_m)}, {percent(used)} of the depth at {stop}{_known_before(entry, own, prep)}."
    )
    step = "Nothing to do; check it again when it warms up."
    if severity != "info":
        alike = kit is not None and kit.kit.moved and kit.kit.shift_m * shift_m > 0.0
        step = "It moved with the kit: let it settle" if alike else "Let it settle"
        step += " and check again; until then find its focus by the picture."
    return make("morning.lens", severity, message, step, figure)


def _where(checks: Sequence[Check], entry: LensPrep) -> str:
    """The charts in words, a distance in the system of the lens, as on its ring."""
    if len(checks) > 1:
        return f"{len(checks)} charts"
    return f"a chart at {format_distance(checks[0].distance_m, entry.system)}"


def _known_before(entry: LensPrep, own: Sequence[Checked], prep: Prep) -> str:
    """What was known to be so: by its drift with heat, and by its chart tests before the night."""
    said = []
    heat = [one.heat_m for one in own if one.heat_m is not None]
    if heat:
        mean = float(np.mean(heat))
        said.append(f"its drift with heat accounts for {UM * abs(mean):.0f} µm {side(mean)}")
    flange = prep.flanges.lens(entry.lens.id)
    before_m, sd_m = (None, None) if flange is None else (flange.flange_m, flange.sd_m)
    if before_m is not None and sd_m is not None and abs(before_m) > Z95 * sd_m:
        said.append(f"its chart tests had it {UM * abs(before_m):.0f} µm {side(before_m)} before")
    return "".join(f"; {one}" for one in said)


def _nothing_said(prep: Prep, unjudged: Sequence[Unjudged]) -> Iterator[Finding]:
    """Checks that nothing can be made of, each on its lens."""
    for one in unjudged:
        entry = prep.lens(one.row.lens_id)
        where = format_distance(one.row.chart_distance_m, entry.system)
        message = f"Its morning check on a chart at {where} says nothing: that needs {one.expected}."
        step = "Put that right, or check another lens in its place."
        yield Maker(entry.lens, entry.title)("morning.unjudged", "info", message, step)


def job_morning_as_json(found: JobMorning) -> dict[str, Any]:
    """The last morning as plain JSON values, the shape of ``morning`` in ``tapehook prep --json``, without findings."""
    return {
        "date": found.date,
        "checks": [check_as_json(one) for one in found.checked],
        "kit": kit_as_json(found.kit) if found.kit else None,
    }
