"""Stops of light said in thirds: 1 1/3 stops, T2.8 2/3."""

import math

from tapehook.notation.stop import FULL_STOPS

_CLOSE = 0.05
"""Stops: nearer to a third than this, the third alone is said."""
_PART = ("", "1/3", "2/3")


def format_thirds(stops: float) -> str:
    """So many stops in thirds: "1 1/3 stops", "2/3 stop", "0 stops"; "-1/3 stop" below zero.

    Where the nearest third is off by 0.05 stop or more the figure follows: "1 1/3 stops (1.25)"; below a sixth it
    stands alone: "0.12 stop". Raises ValueError unless the number is finite.
    """
    if not math.isfinite(stops):
        raise ValueError(f"stops to be written must be finite, not {stops}")
    thirds = round(abs(stops) * 3)
    if not thirds and abs(stops) >= _CLOSE:
        return f"{stops:.2f} stop"
    whole, part = divmod(thirds, 3)
    number = " ".join(text for text in (str(whole) if whole or not part else "", _PART[part]) if text)
    sign = "-" if stops < 0 and thirds else ""
    noun = "stop" if 0 < thirds <= 3 else "stops"
    exact = f" ({stops:.2f})" if abs(abs(stops) - thirds / 3) >= _CLOSE else ""
    return f"{sign}{number} {noun}{exact}"


def format_stop_in_thirds(number: float) -> str:
    """A T-number as a whole stop and thirds: "T2.8 2/3"; where that is off by 0.05 stop or more, "T2.8 1/3 (T3.27)".

    Raises ValueError unless the number is finite and within half a stop of the scale, 0.5 to 128.
    """
    if not (math.isfinite(number) and FULL_STOPS[0][1] * 0.84 < number < FULL_STOPS[-1][1] * 1.19):
        raise ValueError(f"a stop in thirds must be between 0.5 and 128, not {number}")
    steps = 2.0 * math.log2(number / FULL_STOPS[0][1])
    thirds = max(round(steps * 3), 0)
    whole, part = divmod(thirds, 3)
    text = f"T{FULL_STOPS[whole][0]}" + (f" {_PART[part]}" if part else "")
    return text if abs(steps - thirds / 3) < _CLOSE else f"{text} (T{number:.3g})"
