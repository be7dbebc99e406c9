"""How a lens's ring moves with the stop, as the scripts of the pocket page and of On set take it."""

import math
from collections.abc import Iterator, Sequence
from typing import Any

import numpy as np
import numpy.typing as npt

from tapehook.lens.map import Z95
from tapehook.notation import FULL_STOPS, parse_stop
from tapehook.prep import LensPrep
from tapehook.prep.basis import stop_view
from tapehook.prep.focus import shift_term
from tapehook.prep.results import SensorShift
from tapehook.prep.room import SMALLEST_T, optics_of
from tapehook.prep.shifts import DOUBT, GLASS, STOPPING_DOWN, UM, shifts_at
from tapehook.prep.shooting_map import known_move, move_words, per_metre

Floats = npt.NDArray[np.float64]

POINTS = 41
"""Places of a map at which the page knows how far its ring goes; between them it draws a cubic."""


def third_stops() -> list[tuple[str, float]]:
    """Whole and third stops to T22: as they are written, and the T-numbers that light and depth are computed from."""
    written = [f"T{label}{added}" for label, _ in FULL_STOPS for added in ("", " 1/3", " 2/3")]
    stops = [parse_stop(text) for text in written if not text.startswith("T128 ")]
    return [(stop.label, stop.number) for stop in stops if stop.number <= SMALLEST_T]


def moves_data(entry: LensPrep) -> dict[str, Any] | None:
    """How far the ring goes for each micrometre that the sensor is as if too far back, and by stop how far that is.

    ``perUm`` runs over places even in vergence, far to near; ``stops`` have the shift and the half-width of its 95 %
    band in micrometres, the part of glass behind the lens, and the words. None for a lens that nothing moves.
    """
    lens_map, optics = entry.focus_map, optics_of(entry)
    if lens_map is None or optics is None or not lens_map.monotone:
        return None
    widest_t = entry.widest.t_number if entry.widest else 0.0
    stops = [_at(entry, t) for _, t in third_stops() if t > 0.94 * widest_t]
    if not any(one["words"] for one in stops):
        return None
    if all({**one, "t": 0.0} == {**stops[0], "t": 0.0} for one in stops):
        stops = stops[:1]
    turn = per_metre(lens_map, optics, lens_map.grid(POINTS)[0])
    return {"perUm": [_short(value / UM) for value in turn.tolist()], "stops": stops}


def _at(entry: LensPrep, t: float) -> dict[str, Any]:
    stop = stop_view(t, entry.transmission)
    shift_m, sd_m = known_move(entry, stop)
    words = " ".join(move_words(entry, stop)).replace("+-", "±")
    found = {"t": round(t, 4), "um": _short(shift_m * UM), "plusMinusUm": _short(Z95 * sd_m * UM), "words": words}
    glass_m = sum(one.shift_m for one in shifts_at(entry, stop) if one.name == GLASS and one.kept is None)
    return {**found, "glassUm": _short(glass_m * UM)} if glass_m and shift_m else found


def moving_terms(entry: LensPrep, distance_m: Floats) -> dict[str, Any] | None:
    """What a budget over ``distance_m`` (G,) holds of glass and stopping down at each stop; None where nothing moves.

    ``perMetreDpt`` is what a metre of sensor does there, in dioptres; of each term its name, kind and metres.
    """
    optics = optics_of(entry)
    stops = {t: shifts_at(entry, stop_view(t, entry.transmission)) for _, t in third_stops()}
    if optics is None or not any(one.name in (GLASS, STOPPING_DOWN) for shifts in stops.values() for one in shifts):
        return None
    turn = np.broadcast_to(shift_term("", 1.0, optics, distance_m).shift_dpt, distance_m.shape)
    return {
        "names": [GLASS, STOPPING_DOWN, DOUBT],
        "perMetreDpt": [_short(value) for value in turn.tolist()],
        "stops": [{"t": t, "terms": list(_terms(found))} for t, found in stops.items()],
    }


def _terms(shifts: Sequence[SensorShift]) -> Iterator[dict[str, Any]]:
    """As ``moved_terms`` of a budget has them."""
    yield from (_term(one) for one in shifts if one.name in (GLASS, STOPPING_DOWN))
    doubt_m = Z95 * math.hypot(*(one.sd_m for one in shifts if one.kept is not None))
    if doubt_m > 0:
        yield {"name": DOUBT, "kind": "scatter", "metres": _short(doubt_m)}


def _term(shift: SensorShift) -> dict[str, Any]:
    """All of it where positions stay, as they are not moved for it; else its doubt."""
    kept = shift.kept is not None
    metres = abs(shift.shift_m) if kept else Z95 * shift.sd_m
    return {"name": shift.name, "kind": "bias" if kept else "scatter", "metres": _short(metres)}


def _short(value: float) -> float:
    return float(f"{value:.4g}")
