"""Heat: how far focus drifts with temperature, measured or assumed, and maps that mix temperatures."""

import math
from collections.abc import Iterator, Sequence

import numpy as np

from tapehook.finding import Figure, Finding, Severity
from tapehook.job.records import Job, Lens, Reading
from tapehook.lens import LensMap
from tapehook.lens.heat import SAME_TEMPERATURE_K, Drift, barrel_growth_m, drift_of, sensor_shift_m
from tapehook.lens.map import Z95
from tapehook.lens.taping import taping_sd_m
from tapehook.prep.basis import Basis, Optics
from tapehook.prep.focus import FocusRing, pupil_vergence, vergence_slope, width_dpt
from tapehook.prep.results import StopView
from tapehook.prep.wording import Maker, depth_used, percent, width_text

ROOM_C = 20.0
"""Temperature taken for a map whose readings name none. Common practice, no source."""
MIXED_K = 5.0
"""Readings of one map this far apart are mixed: an aluminium barrel of 50 mm grows by 6 micrometres."""
MOUNT_M = 0.052
"""Length of barrel taken for lenses shorter than that: a mount some 52 mm deep."""
WATCH_FROM = 0.25
FIX_FROM = 1.0


def heat_findings(
    make: Maker, lens: Lens, job: Job, basis: Basis, ring: FocusRing, readings: Sequence[Reading]
) -> Iterator[Finding]:
    """All that temperature gives rise to on one lens; nothing where neither readings nor job name one."""
    known = [one.temperature_c for one in readings if one.temperature_c is not None]
    optics, lens_map = basis.optics, ring.axis.lens_map
    if known:
        yield from _mixed(make, readings, known)
    drift = None
    if lens_map is not None and lens_map.monotone and optics is not None and known:
        drift = measured_drift(lens_map, optics, readings)
    if drift is not None and optics is not None and lens_map is not None:
        yield _drift(make, lens, job, basis, optics, lens_map, drift, known)
    elif (shoot_c := shooting_c(job)) is not None and optics is not None:
        asked = job.shoot_temperature_c is not None
        yield from _assumed(make, shoot_c, basis, optics, known, quiet_below=0.0 if asked else WATCH_FROM)


def shooting_c(job: Job) -> float | None:
    """Temperature the lenses have on the shoot: as the job says, else that of its air, which they come to take on."""
    if job.shoot_temperature_c is not None:
        return job.shoot_temperature_c
    return None if job.weather is None else job.weather.air_c


def measured_drift(lens_map: LensMap, optics: Optics, readings: Sequence[Reading]) -> Drift | None:
    """Drift of focus from taped marks read at two temperatures or more; None without any.

    Each reading is as sure as the map's reading noise and, after another taping, as its tape.
    """
    rows = [one for one in readings if one.temperature_c is not None and one.method == "taped"]
    if len(rows) < 2:
        return None
    places: dict[tuple[float, str | None], int] = {}
    setting = [places.setdefault((one.value, one.approach), len(places)) for one in rows]
    distance = np.array([one.value for one in rows])
    slope = vergence_slope(lens_map, optics, distance)
    # Readings both ways are of one taping, whose error they share: it counts as often as there are ways.
    ways = np.array([len({way for value, way in places if value == one.value}) for one in rows])
    tape = slope * pupil_vergence(optics, distance) ** 2 * taping_sd_m(distance) * np.sqrt(ways)
    sd = np.hypot(lens_map.reading_noise, tape)
    fine = np.isfinite(slope) & np.isfinite(sd) & (sd > 0)
    if not fine.any():
        return None
    temperature = [one.temperature_c or 0.0 for one in rows]
    position = [one.position for one in rows]
    picked = (np.asarray(a)[fine] for a in (setting, temperature, position, lens_map.toward_near * slope, sd))
    return drift_of(*picked)


def _mixed(make: Maker, readings: Sequence[Reading], known: Sequence[float]) -> Iterator[Finding]:
    """Maps do not sort readings by temperature, so they say when they mix them."""
    low, high = min(known), max(known)
    unknown = len(readings) - len(known)
    if high - low >= MIXED_K:
        also = f" (and {unknown} at a temperature nobody wrote down)" if unknown else ""
        yield make(
            "heat.mixed",
            "watch" if any(one.method == "taped" for one in readings) else "info",
            f"Its readings were taken at {low:.0f} to {high:.0f} °C{also}: the map mixes them, and holds for none of "
            "these temperatures exactly.",
            "Read the whole ring again at one temperature, and keep the others for the drift alone.",
            Figure(high - low, "K"),
        )
    if high - low >= SAME_TEMPERATURE_K and not any(
        one.method == "taped" and one.temperature_c is not None for one in readings
    ):
        yield make(
            "heat.engraved_only",
            "info",
            "Engraved marks read warm and cold tell nothing of heat: they move with the ring, whatever focus does.",
            "Find a far mark by the picture or a collimator at both temperatures, method taped.",
        )


def _stop(basis: Basis) -> StopView | None:
    return basis.shooting or basis.widest


def _used(dpt: float, optics: Optics, stop: StopView) -> float:
    """A shift of focus as a share of the depth, at infinity; close up the room is less by 1 + m/P alone."""
    width = float(width_dpt(optics, stop, math.inf)[0])
    return abs(dpt) / width if width > 0 else math.inf


def _severity(share: float) -> Severity:
    return "fix" if share >= FIX_FROM else "watch" if share >= WATCH_FROM else "info"


def _side(shift_m: float) -> str:
    return "too far back" if shift_m > 0 else "too near"


def _drift(
    make: Maker,
    lens: Lens,
    job: Job,
    basis: Basis,
    optics: Optics,
    lens_map: LensMap,
    drift: Drift,
    known: Sequence[float],
) -> Finding:
    """The drift with its +-, as a shift of the sensor and of the infinity mark, and its share on the shoot."""
    um = 1e6 * float(sensor_shift_m(drift.dpt_per_k, optics.focal_m))
    half_um = 1e6 * Z95 * drift.sd_dpt_per_k * optics.focal_m**2
    mark = abs(drift.dpt_per_k) * float(vergence_slope(lens_map, optics, math.inf)[0])
    told = f"{drift.readings} taped readings at {drift.low_c:.0f} to {drift.high_c:.0f} °C"
    if abs(um) < half_um:
        message = f"No drift with heat can be told from {told}: {abs(um):.2f} +- {half_um:.2f} µm a kelvin."
    else:
        message = (
            f"Warmed by a kelvin it is as if the sensor came to lie {abs(um):.2f} +- {half_um:.2f} µm {_side(um)}, and "
            f"the infinity mark moves by {width_text(mark, lens)} ({told})."
        )
    stop, shoot = _stop(basis), shooting_c(job)
    if stop is None or shoot is None:
        step = "Write shoot_temperature_c into job.toml to see what it takes of the depth there."
        return make("heat.drift", "info", message, step, Figure(um, "um/K", half_um))
    kelvin = shoot - float(np.mean(known))
    share, spread = (_used(part * kelvin, optics, stop) for part in (drift.dpt_per_k, Z95 * drift.sd_dpt_per_k))
    span = drift.high_c - drift.low_c
    message = message[:-1] + (
        f"; at {shoot:.0f} °C, {abs(kelvin):.0f} K {'above' if kelvin > 0 else 'below'} the map, that is "
        f"{percent(share)} +- {percent(spread)} of the depth at {stop.text}."
    )
    step = "Check infinity and one near mark on the picture when the lens has taken on the temperature of the set."
    if not drift.low_c - span <= shoot <= drift.high_c + span:
        step = f"{shoot:.0f} °C is far outside what was measured: {step[0].lower()}{step[1:]}"
    return make("heat.drift", _severity(share), message, step, depth_used(share, stop.text, spread))


def _assumed(
    make: Maker, shoot_c: float, basis: Basis, optics: Optics, known: Sequence[float], *, quiet_below: float
) -> Iterator[Finding]:
    """What an aluminium barrel would do, said as an assumption; silent where it is not worth a word.

    That is within a kelvin, and under a share of ``quiet_below``: nobody asked where only the air of the job is known.
    """
    stop = _stop(basis)
    at = float(np.mean(known)) if known else ROOM_C
    kelvin = shoot_c - at
    if stop is None or abs(kelvin) < SAME_TEMPERATURE_K:
        return
    length_m = max(optics.focal_m, MOUNT_M)
    growth_m = float(barrel_growth_m(length_m, kelvin))
    share = _used(growth_m / optics.focal_m**2, optics, stop)
    if share < quiet_below:
        return
    where = f"{at:.0f} °C" if known else f"{ROOM_C:.0f} °C, taken for a map that names no temperature,"
    yield make(
        "heat.assumed",
        "watch" if share >= FIX_FROM else "info",  # no more: an assumption accuses nobody
        f"Nobody measured its drift. Assumption: {length_m * 1e3:.0f} mm of aluminium barrel, from {where} to "
        f"{shoot_c:.0f} °C, would bring the sensor {abs(growth_m) * 1e6:.0f} µm {_side(growth_m)}, {percent(share)} of "
        f"the depth at {stop.text}.",
        "Find infinity or a taped far mark by the picture, warm and cold: method taped, temperature_c filled in.",
        depth_used(share, stop.text),
    )
