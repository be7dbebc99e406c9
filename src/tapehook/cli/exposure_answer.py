"""What ``tapehook exposure`` answers: the typed texts read, the one left out solved, every assumption said."""

import math
from collections.abc import Callable, Mapping, Sequence
from pathlib import Path
from typing import Any, Literal, TypeVar

from tapehook.cli.exposure_ways import Asked, on_hand, ways_in_words
from tapehook.cli.refusals import OptionProblem, Refusal
from tapehook.notation import (
    LUX_PER_FOOT_CANDLE,
    NotationError,
    Stop,
    format_angle,
    format_density,
    format_shutter_time,
    format_stop_in_thirds,
    format_thirds,
    parse_filter,
    parse_light,
    parse_number,
    parse_shutter,
    parse_stop,
)
from tapehook.optics.exposure import (
    CINE_METER_LX_S,
    Quantity,
    shutter_angle_deg,
    solve_exposure,
    stops_of_density,
    stops_over,
)

Parsed = TypeVar("Parsed")
Solved = Literal["stop", "ei", "fps", "shutter", "light", "nd", "exposure"]

_FEW_STOPS = 0.05
_DENSEST = 9.0
_SLOWEST, _FASTEST = 0.01, 100_000.0


class OptionReader:
    """Reads typed options and gathers everything that is wrong with them."""

    def __init__(self, typed: Mapping[str, str | None]) -> None:
        self._typed = typed
        self.problems: list[OptionProblem] = []

    def __call__(self, name: str, parse: Callable[[str], Parsed]) -> Parsed | None:
        """The parsed text of one option; None when it was not given or cannot be read."""
        text = self._typed.get(name)
        return None if text is None else self.read(name, text, parse)

    def read(self, name: str, text: str, parse: Callable[[str], Parsed]) -> Parsed | None:
        """The same for a text of its own."""
        try:
            return parse(text)
        except NotationError as error:
            self.problems.append(OptionProblem(option_of(name), text, error.expected, str(error)))
            return None

    def refuse(self, name: str, expected: str, said: str) -> None:
        """Note what is wrong with an option, in words of its own."""
        self.problems.append(OptionProblem(option_of(name), self._typed.get(name), expected, said))

    def finish(self) -> None:
        """Raise Refusal with all that is wrong, if anything is."""
        if self.problems:
            raise Refusal(self.problems)


def option_of(name: str) -> str:
    """An option as it is typed."""
    return f"--{name.replace('_', '-')}"


def number_between(least: float, most: float, expected: str) -> Callable[[str], float]:
    """A reader of numbers within limits."""

    def parse(text: str) -> float:
        value = parse_number(text)
        if not least <= value <= most:
            raise NotationError(text, expected, (), "is out of range")
        return value

    return parse


FRAME_RATE = number_between(_SLOWEST, _FASTEST, "a frame rate from 0.01 to 100000 frames a second, such as 24")


def exposure_answer(
    typed: Mapping[str, str | None], nd: Sequence[str], filters: Sequence[str], tray: Path | None = None
) -> tuple[dict[str, Any], list[str]]:
    """The JSON object of ``tapehook exposure``, and the ways out where the exposure is off, a sentence each.

    Raises Refusal with everything that cannot be read or solved, JobProblems where the tray's folder cannot be read.
    """
    read = OptionReader(typed)
    asked = _asked(read, typed, nd, filters)
    solved = _what_to_solve(read, typed, asked)
    read.finish()
    stops, value, text = _solve(read, asked, solved)
    read.finish()
    if tray is not None and solved == "nd" and value is not None:
        text += on_hand(tray, value)
    answer = {
        "solved": solved,
        "value": value,
        "text": text,
        "stops_from_given": stops,
        "assumptions": _assumptions(asked, solved, meter_given=typed.get("meter") is not None),
    }
    off = solved == "exposure" or value is None
    return answer, ways_in_words(asked, stops or 0.0) if off else []


def _asked(read: OptionReader, typed: Mapping[str, str | None], nd: Sequence[str], filters: Sequence[str]) -> Asked:
    taken = [read.read("nd", text, lambda one: parse_filter(one, bare_density=True)) for text in nd]
    taken += [read.read("filter", text, parse_filter) for text in filters]
    density, light = sum(one or 0.0 for one in taken), typed.get("light")
    if density > _DENSEST:
        said = f"with all filters the density {density:.3g} is out of range, at most {_DENSEST:g}"
        read.refuse("nd" if nd else "filter", "filters that let some light through", said)
    return Asked(
        read("stop", _t_stop),
        read("ei", number_between(0.1, 1e7, "an exposure index from 0.1 to 10000000, such as 800")),
        read("fps", FRAME_RATE),
        read("shutter", parse_shutter),
        read("light", parse_light),
        density,
        bool(nd),
        read("meter", number_between(100.0, 1000.0, "lux seconds from 100 to 1000, such as 250")) or CINE_METER_LX_S,
        light is None or "l" not in light.lower() or "candle" in light.lower(),
    )


def _what_to_solve(read: OptionReader, typed: Mapping[str, str | None], asked: Asked) -> Solved:
    """The one option left out; with none, the ND, or how far the exposure is off where an ND was given."""
    in_time = asked.shutter is not None and asked.shutter.time_s is not None
    names: tuple[Solved, ...] = ("stop", "ei", "fps", "shutter", "light")
    left_out = [name for name in names if typed.get(name) is None and not (name == "fps" and in_time)]
    if in_time and asked.fps and asked.fps * (asked.time_s or 0.0) > 1.0 + 1e-9:
        longest = format_shutter_time(1.0 / asked.fps)
        read.refuse("shutter", f"at most {longest}", f"does not fit a frame at {asked.fps:g} fps, at most {longest}")
    if len(left_out) > 1:
        some = ", ".join(option_of(name) for name in left_out)
        said = f"left out are {some}; leave out one only, and it is solved"
        read.problems.append(OptionProblem(None, None, "all but one of them", said))
    return left_out[0] if left_out else "exposure" if asked.filtered else "nd"


def _solve(read: OptionReader, asked: Asked, solved: Solved) -> tuple[float | None, float | None, str]:
    """Stops off as everything was given (None where something was left out), the value found, and its text."""
    quantity: Quantity | None = {
        "stop": "t_stop",
        "ei": "ei",
        "fps": "time_s",
        "shutter": "time_s",
        "light": "light_lux",
        "nd": "density",
    }.get(solved)  # type: ignore[assignment]  # the values are quantities
    given = {
        "t_stop": asked.stop.exact if asked.stop else 1.0,
        "ei": asked.ei or 1.0,
        "time_s": asked.time_s or 1.0,
        "density": asked.density,
        "light_lux": asked.light_lux or 1.0,
    }
    if quantity is None or quantity == "density":
        off = float(stops_over(**given, meter_lx_s=asked.meter_lx_s))
        return (off, *(_needed_nd(off) if quantity else (off, _off_text(off))))
    found = solve_exposure(quantity, **given, meter_lx_s=asked.meter_lx_s)
    match solved:
        case "stop":
            return None, *_stop(read, found)
        case "ei":
            return None, found, f"EI {found:.4g}"
        case "light":
            return None, *_light(asked, found)
        case "fps":
            return None, *_frame_rate(read, asked, found)
    return None, *_shutter(read, asked, found)


def _needed_nd(off: float) -> tuple[float | None, str]:
    """The density that takes what is over, None where light is missing instead."""
    if off < -_FEW_STOPS:
        return None, f"no ND: the light is {format_thirds(-off)} short"
    density = max(off, 0.0) * float(1.0 / stops_of_density(1.0))
    return density, f"ND {format_density(density)}, {format_thirds(max(off, 0.0))}"


def _off_text(off: float) -> str:
    if abs(off) < _FEW_STOPS:
        return "right"
    return f"{format_thirds(abs(off))} {'over' if off > 0 else 'under'}"


def _stop(read: OptionReader, found: float) -> tuple[float, str]:
    if not 0.5 <= found <= 128:
        said = f"would have to be T{found:.3g}, which no lens has; change the light, the ND or the EI"
        read.refuse("stop", "a stop between T0.5 and T128", said)
        return found, ""
    return found, format_stop_in_thirds(found)


def _light(asked: Asked, lux: float) -> tuple[float, str]:
    """Lux, and both units in words."""
    foot_candles, other = f"{lux / LUX_PER_FOOT_CANDLE:.3g} fc", f"{lux:.3g} lx"
    return lux, f"{foot_candles}, {other}" if asked.imperial else f"{other}, {foot_candles}"


def _frame_rate(read: OptionReader, asked: Asked, time_s: float) -> tuple[float, str]:
    angle = asked.shutter.angle_deg if asked.shutter else None
    fps = (angle or math.nan) / (360.0 * time_s)
    if not _SLOWEST <= fps <= _FASTEST:
        said = f"would have to be {fps:.3g} frames a second; change the stop, the light or the EI"
        read.refuse("fps", "a frame rate a camera has", said)
    return fps, f"{fps:.4g} fps, {format_shutter_time(time_s)}"


def _shutter(read: OptionReader, asked: Asked, time_s: float) -> tuple[float, str]:
    """The angle at the frame rate given."""
    fps = asked.fps or math.nan
    angle = float(shutter_angle_deg(time_s, fps))
    if angle > 360.0 * (1.0 + 1e-9):
        short = format_thirds(math.log2(angle / 360.0))
        said = f"would have to be open longer than a frame at {fps:g} fps; {short} short with it fully open"
        read.refuse("shutter", "an exposure that fits in a frame", said)
    return angle, f"{format_angle(angle)}, {format_shutter_time(time_s)}"


def _assumptions(asked: Asked, solved: Solved, *, meter_given: bool) -> list[str]:
    """One sentence for each thing that was assumed, or that the figures rest on."""
    said = []
    constant = f"{asked.meter_lx_s:.4g} lux seconds"
    said.append(
        f"An incident meter with the constant {constant}."
        if meter_given
        else f"No meter constant given: {constant} is taken, the trade's 25 foot-candle seconds; many meters have 250."
    )
    if asked.stop and asked.stop.scale is None:
        said.append(f"{asked.stop.label} is taken as a T-stop.")
    if asked.stop and abs(asked.stop.exact / asked.stop.number - 1.0) > 5e-3:
        said.append(f"{asked.stop.label} is taken as the exact stop, T{asked.stop.exact:.4g}.")
    if asked.shutter and asked.shutter.time_s and asked.fps:
        said.append("The shutter is a time: the frame rate does not change the exposure.")
    if not asked.filtered and not asked.density and solved != "nd":
        said.append("No filter.")
    elif asked.density:
        took = format_thirds(float(stops_of_density(asked.density)))
        said.append(f"The filters given take {took} together, by their labels; measure those that matter.")
    return said


def _t_stop(text: str) -> Stop:
    stop = parse_stop(text)
    if stop.scale == "f":
        raise NotationError(text, "a T-stop such as T4, as exposure follows T")
    return stop
