"""What is said about readings that cannot be right: which, why, what they probably should have said."""

import re
from collections.abc import Iterator
from dataclasses import dataclass
from typing import Literal

import numpy as np

from tapehook.finding import Finding, Severity
from tapehook.job.records import Lens
from tapehook.lens import LensMap
from tapehook.lens.map import Z95
from tapehook.notation import System, format_distance
from tapehook.prep.basis import Basis
from tapehook.prep.focus import FocusRing, shares, within_reach
from tapehook.prep.suspects import SuspectRow
from tapehook.prep.wording import Maker, depth_used, percent, position_text, width_text

LIKELY = 0.5
"""From this confidence on a slip is said to be probable; below it, only possible."""
MATTERS = 0.5
"""From this share of the depth on a reading that cannot be right must be acted on: below, it is worth knowing."""

_HALF: dict[Literal["near_to_far", "far_to_near", "all"], float] = {"near_to_far": -0.5, "all": 0.0, "far_to_near": 0.5}
_WAY = {"near_to_far": ", turned near to far,", "far_to_near": ", turned far to near,", "all": ""}


@dataclass(frozen=True, slots=True)
class Expected:
    """Where the other rows put a suspect reading: position and standard deviation in the lens's unit."""

    position: float
    sd: float
    used: float | None


def suspect_findings(make: Maker, lens: Lens, basis: Basis, ring: FocusRing) -> Iterator[Finding]:
    """One finding for each suspect row."""
    stop = basis.widest or basis.shooting
    for row in ring.suspects:
        expected = _expected(row, ring.axis.lens_map, basis)
        off = expected.used if expected else None
        share = f", {percent(off)} of the depth at {stop.text} away" if off is not None and stop else ""
        others = ""
        if expected is not None:
            others = f"; the other marks expect {position_text(expected.position, lens)} "
            others += f"+- {width_text(Z95 * expected.sd, lens)}{share}"
        reads = f"The mark {row.text}{_WAY[row.approach]} reads {position_text(row.read, lens)}{others}"
        severity: Severity = "fix" if off is None or off >= MATTERS or row.following else "watch"
        yield make(
            "map.suspect_mark",
            severity,
            f"{reads}: {_slip(row, lens)} ({_sure(row.confidence)}); {_left_out(row)} left out.",
            _next_step(row),
            depth_used(off, stop.text) if off is not None and stop else None,
        )


def _expected(row: SuspectRow, lens_map: LensMap | None, basis: Basis) -> Expected | None:
    """What the map made without the row says of it; nothing without a map, or where following rows went with it."""
    if lens_map is None or row.following:
        return None
    value = within_reach(lens_map, np.array([row.value]))
    centre, sd = (float(part[0]) for part in lens_map.position(value))
    play = lens_map.play()
    ahead = _HALF[row.approach] * play.value * lens_map.toward_near if play else 0.0
    noise = lens_map.noise * (0.5**0.5 if row.approach == "all" and play else 1.0)
    stop, used = basis.widest or basis.shooting, None
    if basis.optics is not None and stop is not None:
        shift = np.array([row.read - centre - ahead])
        used = float(shares(lens_map, basis.optics, [stop], value, shift)[0, 0])
    return Expected(
        centre + ahead, float(np.hypot(sd, noise)), used if used is not None and np.isfinite(used) else None
    )


def _slip(row: SuspectRow, lens: Lens) -> str:
    """The slip that would explain the row, and what it should then have said."""
    distance = format_distance(row.distance_m, _system(row)) if row.distance_m is not None else ""
    position = position_text(row.position, lens) if row.position is not None else ""
    probably = "probably" if row.confidence >= LIKELY else "perhaps"
    return {
        "feet_for_metres": f"its distance was {probably} written in the wrong unit and is {distance}",
        "digits_swapped_distance": f"two digits of its distance were {probably} changed over, {distance}",
        "digits_swapped_position": f"two digits of its position were {probably} changed over, {position}",
        "inches_dropped": f"its inches were {probably} left out, {distance}",
        "decimal_feet": f"it is {probably} feet and inches with a point between them, {distance}",
        "neighbour_position": f"its position is {probably} that of the mark beside it, and should be near {position}",
        "skipped_mark": f"from here on the positions {probably} belong one mark further, this one to {distance}",
        "wrong_turn": f"its position is {probably} a turn out, or on the wrong side of zero, {position}",
        "worse_row": f"no slip that is known of explains it better than a wrong reading; it should be near {position}",
    }[row.kind]


def _sure(confidence: float) -> str:
    """How sure: never all of it, as there may be slips nobody thought of."""
    return f"{100 * confidence:.0f} % sure" if confidence < 0.99 else "over 99 % sure"


def _system(row: SuspectRow) -> System:
    """Feet for what was written in feet, and the other way round where the unit was wrong."""
    feet = bool(re.search(r"['′\"″]|ft|feet|foot", row.text, re.IGNORECASE))
    if row.kind == "feet_for_metres":
        feet = not feet
    return "imperial" if feet else "metric"


def _left_out(row: SuspectRow) -> str:
    if row.following:
        return f"it and the {row.following} marks read after it are"
    return "it is" if row.approach == "all" else "that reading is"


def _next_step(row: SuspectRow) -> str:
    if row.following:
        return f"Read the scale again from {row.text} on, mark by mark, both ways."
    if row.distance_m is not None:
        return (
            f"Look at the scale: was the mark {row.text} written down as it is engraved? Then read it again, both ways."
        )
    return f"Read {row.text} again, both ways."
