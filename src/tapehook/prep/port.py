"""A lens that is also used behind a port: what it must focus at in the water, whether its ring reaches that, the share.

Behind a dome infinity is seen some three radii in front of it (``optics.port``), so that a lens that does not focus so
near focuses on nothing in the water. What helps is a dome of a longer radius, or a close-up lens: it adds its power P
to the vergence at its place, so that infinity in the water comes to lie on the ring with P from 1/v - 1/n on, up to
1/v, where v is how far infinity is seen from the close-up lens and n how far close focus is.
"""

import math
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace
from typing import Any

import numpy as np

from tapehook.finding import Finding, Severity
from tapehook.job.records import Lens
from tapehook.notation import System, format_distance
from tapehook.optics import Pupil
from tapehook.optics.port import FRESH_INDEX, WATERS, Port
from tapehook.optics.through import Through
from tapehook.prep.basis import MM, Basis, Optics
from tapehook.prep.focus import pupil_vergence, width_dpt
from tapehook.prep.results import BudgetView, LensPrep, StopView
from tapehook.prep.room import optics_of, safe_from
from tapehook.prep.shot_lens import FRONT_BEFORE_PUPIL_M
from tapehook.prep.wording import Maker, depth_used, percent

WATCH_FROM, FIX_FROM = 0.25, 1.0
"""As for every share: under a quarter is good, from the whole on the lens is soft. Common practice, no source."""
CLOSE_M: dict[System, float] = {"metric": 1.0, "imperial": 3 * 0.3048}
"""A subject close by in the water: what the lens must focus at for it is said. Ours, no source."""
ROOM_M = 0.01
"""A remedy is worked out for a close focus so much farther: a ring is not turned to its very end."""
STEP_M, MOST_RADIUS_M = 0.005, 2.0
"""A radius that would do is rounded up to this; none above the most a port may have is offered."""
STEP_DPT = 0.25


@dataclass(frozen=True, slots=True)
class Remedy:
    """What brings infinity in the water onto the ring: a dome of a radius from ``radius_m`` on, or a close-up lens.

    ``powers_dpt`` are the least and the most that do, in the quarters they are made in; ``close_up_m`` is where such a
    lens is taken to stand, from the image plane. None where there is none.
    """

    radius_m: float | None
    powers_dpt: tuple[float, float] | None
    close_up_m: float | None


@dataclass(frozen=True, slots=True)
class Ported:
    """A lens behind a port, metres from the image plane.

    ``infinity_m`` is where it sees infinity; inf behind a flat port. ``near_m`` is the close focus of its ring and
    ``nearest_m`` the subject that it then reaches in the water, None where no close focus is known. ``reaches`` is
    False where infinity is seen nearer than close focus: it then focuses on nothing there, ``remedy`` says what helps,
    and ``used`` is how far infinity is off with the ring at close focus. Otherwise ``used`` is the lens's own share of
    the depth over what of its scale counts there. Both at ``stop``; None where it cannot be told.
    """

    port: Port
    infinity_m: float
    near_m: float | None
    nearest_m: float | None = None
    reaches: bool | None = None
    remedy: Remedy | None = None
    used: float | None = None
    stop: StopView | None = None


def port_of(lens: Lens) -> Port | None:
    """The port that a lens is also used behind; None without one, or without its place."""
    if lens.port is None or lens.port_front_mm is None:
        return None
    radius_m = math.inf if lens.port == "flat" else lens.port * MM
    glass_m = (lens.port_glass_mm or 0.0) * MM
    if glass_m >= radius_m:
        return None
    return Port(lens.port_front_mm * MM, WATERS[lens.water or "fresh"], radius_m, glass_m)


def ported(
    lens: Lens, near_m: float | None, optics: Optics | None, stop: StopView | None, budgets: Sequence[BudgetView]
) -> Ported | None:
    """What ``lens`` must focus at behind its port; None without one. ``near_m`` is the close focus of its ring.

    ``stop`` is the one it is shot at; ``budgets`` hold its own for that last.
    """
    port = port_of(lens)
    if port is None:
        return None
    found = Ported(port, port.infinity_seen_m, near_m)
    if near_m is None or _behind_pupil(port, optics) is not None:
        return found
    if near_m > found.infinity_m:
        remedy = remedy_of(port, near_m, optics.pupil if optics else None)
        off = _off(found.infinity_m, near_m, optics, stop)
        return replace(found, reaches=False, remedy=remedy, used=off, stop=None if off is None else stop)
    found = replace(found, reaches=True, nearest_m=float(port.subject_m(near_m)))
    return _with_share(found, budgets[-1]) if budgets else found


def ported_lens(entry: LensPrep) -> Ported | None:
    """The same for a prepared lens."""
    return ported(entry.lens, entry.close_focus_m, optics_of(entry), entry.shooting or entry.widest, entry.budgets)


def _behind_pupil(port: Port, optics: Optics | None) -> float | None:
    """Where the entrance pupil is, metres, of a port that would stand behind it; None where it may stand there."""
    if optics is None or not optics.pupil_known or not Through(port=port).behind_pupil(optics.pupil):
        return None
    return float(np.max(np.asarray(optics.pupil.to_sensor_m)))


def _off(infinity_m: float, near_m: float, optics: Optics | None, stop: StopView | None) -> float | None:
    """How far infinity in the water is off with the ring at close focus, as a share of the depth there."""
    if optics is None or stop is None or not optics.blur_m > 0:
        return None
    seen, close = (float(np.atleast_1d(pupil_vergence(optics, at))[0]) for at in (infinity_m, near_m))
    width = float(np.atleast_1d(width_dpt(optics, stop, near_m))[0])
    return (seen - close) / width if width > 0 and seen > close else None


def _with_share(found: Ported, view: BudgetView) -> Ported:
    """The lens's own share of the depth over what of its scale lies between close focus and infinity in the water."""
    own = view.budget.own[view.budget.distance_m <= found.infinity_m]
    return replace(found, used=float(own.max()), stop=view.stop) if own.size else found


def remedy_of(port: Port, near_m: float, pupil: Pupil | None) -> Remedy:
    """What brings infinity behind a dome onto a ring that ends at ``near_m``."""
    wanted = near_m + ROOM_M
    radius_m = None
    for step in range(math.ceil(port.radius_m / STEP_M), round(MOST_RADIUS_M / STEP_M) + 1):
        longer = replace(port, radius_m=step * STEP_M)
        if longer.infinity_seen_m >= wanted:
            radius_m = longer.radius_m
            break
    pupil_m = 0.0 if pupil is None else float(np.max(np.asarray(pupil.to_sensor_m)))
    stands_m = min(pupil_m + FRONT_BEFORE_PUPIL_M, port.front_m - port.glass_m)
    seen, close = port.infinity_seen_m - stands_m, wanted - stands_m
    if pupil is None or not 0 < seen < close:
        return Remedy(radius_m, None, None)
    least = math.ceil((1.0 / seen - 1.0 / close) / STEP_DPT) * STEP_DPT
    most = math.floor(1.0 / seen / STEP_DPT) * STEP_DPT
    return Remedy(radius_m, (least, most), stands_m) if least <= most else Remedy(radius_m, None, None)


def port_findings(
    make: Maker, lens: Lens, basis: Basis, near_m: float | None, budgets: Sequence[BudgetView]
) -> Iterator[Finding]:
    """What is said of a lens that is also used behind a port; nothing without one."""
    found = ported(lens, near_m, basis.optics, basis.shooting or basis.widest, budgets)
    if found is None:
        return
    pupil_m = _behind_pupil(found.port, basis.optics)
    if pupil_m is not None:
        front = f"{1e3 * found.port.front_m:.0f} mm"
        message = f"Its port is said to stand {front} before the sensor, behind the entrance pupil at "
        message += f"{1e3 * pupil_m:.0f} mm: nothing is worked out for it."
        yield make("port.behind_pupil", "fix", message, "Measure from the sensor to the middle of its outer face.")
    else:
        yield (_no_reach if found.reaches is False else _share)(make, found, basis.system)


def _shape(port: Port) -> str:
    return "the flat port" if math.isinf(port.radius_m) else f"the dome of {1e3 * port.radius_m:.0f} mm"


def _no_reach(make: Maker, found: Ported, system: System) -> Finding:
    assert found.near_m is not None  # noqa: S101 - without a close focus nothing is out of reach
    if not found.infinity_m > 0:
        message = (
            f"Behind {_shape(found.port)} the picture of infinity lies behind the sensor: it focuses on nothing there."
        )
        return make("port.no_reach", "fix", message, "Measure the port again: its radius, its glass, where it stands.")
    infinity, near = format_distance(found.infinity_m, system), format_distance(found.near_m, system)
    message = (
        f"Behind {_shape(found.port)} it must focus at {infinity} for infinity in the water, and its ring ends at "
        f"{near}: it focuses on nothing there"
    )
    if found.used is None or found.stop is None:
        return make("port.no_reach", "fix", f"{message}.", _helps(found.remedy))
    message += f", infinity is off by {percent(found.used)} of the depth at {found.stop.text}."
    return make("port.no_reach", "fix", message, _helps(found.remedy), depth_used(found.used, found.stop.text))


def _helps(remedy: Remedy | None) -> str:
    """What would bring the water onto the ring."""
    ways = []
    if remedy is not None and remedy.radius_m is not None:
        ways.append(f"a dome of {1e3 * remedy.radius_m:.0f} mm or more there")
    if remedy is not None and remedy.powers_dpt is not None and remedy.close_up_m is not None:
        least, most = remedy.powers_dpt
        powers = f"+{least:g}" if least == most else f"+{least:g} to +{most:g}"
        ways.append(f"a close-up lens of {powers} dpt ({1e3 * remedy.close_up_m:.0f} mm before the sensor, assumed)")
    ways.append("a lens that focuses nearer")
    return f"Take {', or '.join(ways)}; tape the first marks under water."


def _share(make: Maker, found: Ported, system: System) -> Finding:
    message = f"Behind {_shape(found.port)} {_sees(found, system)}{_reach(found, system)}"
    step = "Tape the first marks under water: the map is that of the air."
    if found.used is None or found.stop is None:
        if found.near_m is None:
            step = f"Write close_focus_m into lenses.csv to see whether its ring reaches that. {step}"
        return make("port.share", "info", f"{message}.", step)
    used, stop = found.used, found.stop.text
    severity: Severity = "fix" if used >= FIX_FROM else "watch" if used >= WATCH_FROM else "info"
    message += f"; over that the lens alone uses {percent(used)} of the depth at {stop}."
    safe = None if severity == "info" else safe_from(used, found.stop)
    close = "" if safe is None else f"Under a quarter from {safe.text} on. "
    return make("port.share", severity, message, f"{close}{step}", depth_used(used, stop))


def _sees(found: Ported, system: System) -> str:
    """What it must focus at for infinity and for a subject close by, both in the water."""
    subject = format_distance(CLOSE_M[system], system)
    seen_m = float(found.port.seen_m(CLOSE_M[system]))
    close = ""
    if seen_m > 0:
        close = f"at {format_distance(seen_m, system)} for a subject at {subject} in the water"
    if not found.infinity_m > 0:
        return "its picture of infinity lies behind the sensor"
    if math.isinf(found.infinity_m):
        return f"it must focus {close} (infinity stays infinity)" if close else "infinity stays infinity"
    far = f"it must focus at {format_distance(found.infinity_m, system)} for infinity"
    return f"{far} and {close}" if close else f"{far} in the water"


def _reach(found: Ported, system: System) -> str:
    """How near its ring comes there."""
    if found.near_m is None or found.nearest_m is None:
        return ""
    near = format_distance(found.near_m, system)
    if found.nearest_m <= found.port.front_m * (1.0 + 1e-9):
        return f", and its close focus, {near}, reaches as near as the port"
    return f", and its close focus, {near}, reaches {format_distance(found.nearest_m, system)}"


def port_assumptions(lens: Lens) -> tuple[str, ...]:
    """What is assumed of the port of a lens, a sentence each; none without one."""
    if port_of(lens) is None:
        return ()
    said = []
    if lens.water is None:
        said.append(f"Water before the port not said: fresh, of index {FRESH_INDEX:g}, is taken.")
    if lens.port_glass_mm is None:
        said.append("Glass of the port not given: it is taken to be thin.")
    return (*said, "Through a port the figures hold near the middle of the picture.")


def ported_as_json(entry: LensPrep) -> dict[str, Any] | None:
    """The lens behind its port as plain JSON values; infinity is null; None without one."""
    found = ported_lens(entry)
    if found is None:
        return None
    remedy = found.remedy or Remedy(None, None, None)
    least, most = remedy.powers_dpt or (None, None)
    own, off = (found.used, None) if found.reaches is not False else (None, found.used)
    dome = math.isfinite(found.port.radius_m)
    return {
        "shape": "dome" if dome else "flat",
        "radius_mm": 1e3 * found.port.radius_m if dome else None,
        "front_mm": 1e3 * found.port.front_m,
        "glass_mm": 1e3 * found.port.glass_m,
        "water": entry.lens.water or "fresh",
        "infinity_seen_m": found.infinity_m if math.isfinite(found.infinity_m) else None,
        "close_focus_m": found.near_m,
        "nearest_m": found.nearest_m,
        "reaches_infinity": found.reaches,
        "radius_needed_mm": None if remedy.radius_m is None else 1e3 * remedy.radius_m,
        "close_up_least_dpt": least,
        "close_up_most_dpt": most,
        "stop": found.stop.text if found.stop else None,
        "lens_depth_used_percent": _percent(own),
        "infinity_off_percent": _percent(off),
    }


def _percent(share: float | None) -> float | None:
    return 100.0 * share if share is not None and math.isfinite(share) else None
