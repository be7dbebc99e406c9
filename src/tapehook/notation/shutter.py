"""Shutters: 172.8°, 180 deg, 1/50 s, 20 ms."""

import math
from fractions import Fraction
from typing import NamedTuple

from tapehook.notation.clean import read, tokens
from tapehook.notation.errors import Refused
from tapehook.notation.number import Quantity, decimal_text, quantities, spelt, to_float

_EXPECTED = "a shutter angle or time, such as 180deg or 1/48 s"
_ANGLE = {"°", "deg", "degree", "degrees"}
_TIME = {"s": Fraction(1), "sec": Fraction(1), "second": Fraction(1), "seconds": Fraction(1), "ms": Fraction(1, 1000)}


class Shutter(NamedTuple):
    """A shutter as it was written: the open angle in degrees of 360, or the time in seconds; the other is None."""

    angle_deg: float | None
    time_s: float | None


def parse_shutter(text: str, *, decimal_comma: bool = False) -> Shutter:
    """A shutter: "180deg", "172.8°", "1/48", "1/48 s", "0.02 s", "20 ms". ``decimal_comma``: see ``parse_number``.

    Raises NotationError, also for a number without a unit, which could be an angle or 1/x of a second.
    """

    def reader(cleaned: str) -> Shutter:
        items = quantities(cleaned, tokens(cleaned), decimal_comma=decimal_comma)
        words = spelt(items)
        first = items[0]
        if not isinstance(first, Quantity) or "Q" in words[1:] or len(words) > 2:
            raise Refused
        unit = words[1] if len(words) == 2 else ""
        if not unit and first.kind != "fraction":
            raise Refused("has no unit", (f"{first.raw} deg", f"1/{first.raw} s"))
        if unit in _ANGLE and first.kind != "fraction":
            return _within(Shutter(to_float(first.value), None))
        if unit in _TIME or not unit:
            return _within(Shutter(None, to_float(first.value * _TIME.get(unit, 1))))
        raise Refused

    return read(text, _EXPECTED, reader)


def format_shutter_time(time_s: float) -> str:
    """A time as the trade writes it: "1/48 s", "1/59.9 s", "1.5 s". Raises ValueError unless finite and above zero."""
    if not (math.isfinite(time_s) and time_s > 0):
        raise ValueError(f"a shutter time must be finite and above zero, not {time_s}")
    return f"{decimal_text(time_s, 2)} s" if time_s >= 0.5 else f"1/{decimal_text(1.0 / time_s, 1)} s"


def format_angle(angle_deg: float) -> str:
    """A shutter angle: "180°", "172.8°"; one decimal. Raises ValueError unless finite."""
    if not math.isfinite(angle_deg):
        raise ValueError(f"an angle to be written must be finite, not {angle_deg}")
    return f"{decimal_text(angle_deg, 1)}°"


def _within(shutter: Shutter) -> Shutter:
    angle, time = shutter
    if (angle is not None and not 0.1 <= angle <= 360) or (time is not None and not 1e-6 <= time <= 3600):
        raise Refused("is out of range")
    return shutter
