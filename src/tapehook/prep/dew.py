"""A lens brought from the cold into damp air: whether it fogs, when it is clear, and when its focus may be trusted."""

import math
from dataclasses import dataclass
from typing import Any

from tapehook.notation import format_temperature
from tapehook.optics.dew import (
    HIGHEST_C,
    LOWEST_C,
    TAKEN_ON_K,
    USUAL_TIME_CONSTANT_S,
    dew_point_c,
    frost_point_c,
    time_to_reach_s,
)

_NO_WAY_K = 1e-6
MARGIN_K = 1.0
"""A lens this little above the dew point may fog: hygrometers are no better. Common practice, no source."""


@dataclass(frozen=True, slots=True)
class Warming:
    """How long a lens took from one temperature to another in air: what its time constant is measured by."""

    then_c: float
    after_s: float


@dataclass(frozen=True, slots=True)
class DewCheck:
    """A lens in air: temperatures in °C, times in seconds (inf: never).

    ``settles_c`` is where dew, or below freezing frost, settles on glass; ``clear_s`` until the lens is a kelvin above
    that, or half the way to the air where that is nearer; ``taken_on_s`` until it has the air's temperature within a
    kelvin; ``measured`` where the time constant was.
    """

    air_c: float
    humidity: float
    lens_c: float
    dew_c: float
    settles_c: float
    clear_s: float
    taken_on_s: float
    time_constant_s: float
    measured: bool

    @property
    def fogs(self) -> bool:
        """True where the lens is no warmer than what dew or frost settles on."""
        return self.lens_c <= self.settles_c

    @property
    def may_fog(self) -> bool:
        """True where it fogs, or is within a kelvin of it."""
        return self.lens_c <= self.settles_c + MARGIN_K

    @property
    def point(self) -> str:
        """What a lens has to be above, in words: "the dew point is 11.1 °C", or where frost forms."""
        frost = self.settles_c > self.dew_c
        return f"{'frost forms at' if frost else 'the dew point is'} {format_temperature(self.settles_c)}"

    @property
    def message(self) -> str:
        """What is found, in one sentence."""
        lens = format_temperature(self.lens_c)
        settled = f"takes on the air's temperature to a kelvin in {time_text(self.taken_on_s)}"
        if self.fogs:
            clear = "does not clear in this air" if math.isinf(self.clear_s) else f"clears in {time_text(self.clear_s)}"
            return f"A lens at {lens} fogs: {self.point}. It {clear} and {settled}."
        if self.may_fog:
            return f"A lens at {lens} may fog: {self.point}, within a kelvin of it. It {settled}."
        return f"A lens at {lens} stays clear: {self.point}. It {settled}."

    @property
    def next_step(self) -> str:
        """What to do."""
        if self.fogs and math.isinf(self.clear_s):
            return "Dry the air or warm the lens above the dew point; do not wipe what fogs again."
        if self.may_fog:
            return (
                "Leave it closed in its bag or case until it is warm, out in time; do not change lenses while it is "
                "cold, and do not heat it by force."
            )
        if self.taken_on_s > 0:
            return "Check infinity and one near mark when it has taken on the temperature of the set, not before."
        return "Nothing to do."

    @property
    def assumptions(self) -> tuple[str, ...]:
        """What was assumed, a sentence each."""
        always = (
            "The lens warms by Newton's law, as one piece in still air; its inner glass comes later than its barrel, "
            "and what has fogged it must dry."
        )
        if self.measured:
            return (always,)
        taken = (
            f"Time constant not measured: {time_text(self.time_constant_s)} assumed (common practice, no source). Give "
            "what the barrel showed later, and after how long, to have it from your lens."
        )
        return (taken, always)


def check_dew(
    air_c: float,
    humidity: float,
    lens_c: float,
    time_constant_s: float | None = None,
    warming: Warming | None = None,
) -> DewCheck:
    """Judge a lens at ``lens_c`` in air at ``air_c`` of relative ``humidity`` (0 to 1].

    The time constant comes from ``warming``, else as given, else the usual one. Raises ValueError for a warming that is
    none: a temperature that does not lie between lens and air, or no time; and for air outside -40 to 50 °C.
    """
    if not LOWEST_C <= air_c <= HIGHEST_C:
        raise ValueError(f"air from {LOWEST_C:g} to {HIGHEST_C:g} °C")
    constant_s = time_constant_s or USUAL_TIME_CONSTANT_S
    if warming is not None:
        constant_s = _measured(air_c, lens_c, warming)
    dew_c = float(dew_point_c(air_c, humidity))
    settled_c = air_c + math.copysign(min(TAKEN_ON_K, abs(lens_c - air_c)), lens_c - air_c)
    # Frost settles on what is colder than the air, however full of vapour that is.
    settles_c = max(dew_c, min(float(frost_point_c(dew_c)), air_c - MARGIN_K))
    clear_s = _clear_s(lens_c, air_c, settles_c, constant_s) if lens_c <= settles_c else 0.0
    taken_s = float(time_to_reach_s(lens_c, air_c, settled_c, constant_s))
    measured = warming is not None or time_constant_s is not None
    return DewCheck(air_c, humidity, lens_c, dew_c, settles_c, clear_s, taken_s, constant_s, measured)


def _clear_s(lens_c: float, air_c: float, settles_c: float, constant_s: float) -> float:
    """Time until a lens that fogs is sure to be clear; inf where the air is no warmer than what it settles on."""
    way_k = min(MARGIN_K, (air_c - settles_c) / 2.0)
    return float(time_to_reach_s(lens_c, air_c, settles_c + way_k, constant_s)) if way_k > _NO_WAY_K else math.inf


def _measured(air_c: float, lens_c: float, warming: Warming) -> float:
    """The time constant a warming shows: time over ln((air - lens)/(air - then))."""
    start, end = air_c - lens_c, air_c - warming.then_c
    if start == 0 or not 0 < end / start < 1 or warming.after_s <= 0:
        raise ValueError("a temperature between that of the lens and that of the air, some time later")
    return warming.after_s / math.log(start / end)


def time_text(seconds: float) -> str:
    """A time for a sentence: minutes, or hours from two on."""
    minutes = seconds / 60.0
    return f"{minutes:.0f} min" if minutes < 120 else f"{minutes / 60.0:.1f} h"


def dew_as_json(check: DewCheck) -> dict[str, Any]:
    """The check as plain JSON values, the shape of ``tapehook dew --json``."""
    return {
        "air_c": check.air_c,
        "humidity": check.humidity,
        "lens_c": check.lens_c,
        "dew_point_c": check.dew_c,
        "fogs": check.fogs,
        "clear_after_min": check.clear_s / 60.0 if math.isfinite(check.clear_s) else None,
        "taken_on_after_min": check.taken_on_s / 60.0,
        "time_constant_min": check.time_constant_s / 60.0,
        "time_constant_measured": check.measured,
        "message": check.message,
        "next_step": check.next_step,
        "assumptions": list(check.assumptions),
    }
