"""Extender and port as typed for ``tapehook depth``, and what is said of them."""

import math
import re
from collections.abc import Callable, Mapping
from typing import Any, Protocol, TypeVar

from tapehook.notation import (
    FocalRange,
    NotationError,
    System,
    format_distance,
    format_focal_length,
    format_stop,
    parse_length,
    parse_number,
)
from tapehook.optics.extender import Extender
from tapehook.optics.port import FRESH_INDEX, WATERS, Port
from tapehook.optics.through import Through

Parsed = TypeVar("Parsed")

LEAST_FRONT_M = 0.02
"""No lens goes between a port and a sensor nearer than this: the shallowest mounts are some 18 mm deep."""
_TIMES = re.compile(r"\s*[x×]\s*", re.IGNORECASE)


class Reader(Protocol):
    """Reads typed options by name and gathers what is wrong with them."""

    def __call__(self, name: str, parse: Callable[[str], Parsed]) -> Parsed | None:
        """The parsed text of one option; None when it was not given or cannot be read."""

    def refuse(self, option: str, read: str | None, expected: str, said: str = "") -> None:
        """Note what is wrong with an option."""


def through_of(read: Reader, typed: Mapping[str, str | None]) -> Through:
    """The extender and the port typed; nothing where none is."""
    factor, length_m = read("extender", parse_factor), read("extender_length", _part)
    if typed.get("extender_length") and not typed.get("extender"):
        read.refuse("--extender", None, "a factor such as 2x", "not given, but --extender-length is")
    extender = None if factor is None else Extender(factor, length_m or 0.0)
    return Through(extender, port_of(read, typed))


def port_of(read: Reader, typed: Mapping[str, str | None]) -> Port | None:
    """The port typed, with all that is wrong with it noted; None where none is."""
    radius_m, front_m = read("port", _radius), read("port_front", _front)
    glass_m, water = read("port_glass", _part), read("water", _water)
    others = [name for name in ("port_front", "port_glass", "water") if typed.get(name)]
    if typed.get("port") is None:
        if others:
            option = f"--{others[0].replace('_', '-')}"
            read.refuse("--port", None, "flat, or the radius of a dome such as 100mm", f"not given, but {option} is")
        return None
    if typed.get("port_front") is None:
        expected = "the place of the port such as 180mm"
        read.refuse("--port-front", None, expected, "not given, expected how far its outer face is from the sensor")
    if radius_m is None or front_m is None:
        return None
    if (glass_m or 0.0) >= radius_m:
        read.refuse("--port-glass", typed.get("port_glass"), "glass thinner than the dome's radius")
        return None
    return Port(front_m, water or FRESH_INDEX, radius_m, glass_m or 0.0)


def parse_factor(text: str) -> float:
    """How many times an extender lengthens: "1.4x", "2". Raises NotationError."""
    expected = "a factor from 1 to 4 such as 1.4x"
    try:
        value = parse_number(_TIMES.sub("", text))
    except NotationError:
        raise NotationError(text, expected) from None
    if not 1.0 <= value <= 4.0:
        raise NotationError(text, expected, (), "is out of range")
    return value


def _radius(text: str) -> float:
    if text.strip().casefold() == "flat":
        return math.inf
    return _length(text, 0.01, 2.0, "flat, or the radius of a dome from 1 cm to 2 m such as 100mm")


def _part(text: str) -> float:
    return _length(text, 0.0, 5.0, "a length up to 5 m such as 30mm")


def _front(text: str) -> float:
    return _length(text, LEAST_FRONT_M, 5.0, "a place from 20 mm to 5 m before the sensor such as 180mm")


def _length(text: str, least_m: float, most_m: float, expected: str) -> float:
    try:
        value = parse_length(text, bare_unit="mm")
    except NotationError as error:
        raise NotationError(text, expected, error.readings, error.reason) from None
    if not least_m <= value <= most_m:
        raise NotationError(text, expected, (), "is out of range")
    return value


def _water(text: str) -> float:
    found = WATERS.get(text.strip().casefold())
    if found is None:
        raise NotationError(text, "fresh or sea")
    return found


def as_json(through: Through, focal_m: float, stop: tuple[str, float], distance_m: float) -> dict[str, Any]:
    """What an extender and a port make of a lens: of its ``stop``, the letter and the number, and its scale."""
    extender, port = through.extender, through.port
    letter, number = stop
    scale_m = float(through.scale_m(distance_m))
    seen: dict[str, Any] | None = None
    if port is not None:
        seen = {
            "shape": "flat" if math.isinf(port.radius_m) else "dome",
            "seen_m": _finite(float(port.seen_m(distance_m))),
            "infinity_seen_m": _finite(port.infinity_seen_m),
            "field_narrower": port.nearer,
        }
    return {
        "scale_m": _finite(scale_m),
        "extender": extender
        and {
            "factor": extender.factor,
            "focal_mm": 1e3 * float(extender.focal_m(focal_m)),
            "stop": _stop(letter, float(extender.stop(number))),
            "stops_lost": extender.stops_lost,
        },
        "port": seen,
    }


def _stop(letter: str, number: float) -> str:
    return format_stop(number) if letter == "T" else f"f/{number:.3g}"


def assumed(through: Through, typed: Mapping[str, str | None]) -> list[str]:
    """What was assumed of both, a sentence each."""
    said = []
    if through.extender is not None and not typed.get("extender_length"):
        said.append(
            "Length of the extender not given: 0 taken. The marks count from where the sensor was: take its length, "
            "mount to mount, off each taped distance."
        )
    if through.port is not None:
        if not typed.get("water"):
            said.append(f"Water not said: fresh, of index {FRESH_INDEX:g}, is taken.")
        if not typed.get("port_glass"):
            said.append("Glass of the port not given: it is taken to be thin.")
        said.append("Through a port the figures hold near the middle of the picture.")
    return said


def lines(shown: Mapping[str, Any], system: str) -> list[str]:
    """Both for people, a line each."""
    units: System = "imperial" if system == "imperial" else "metric"
    found, extender, port = [], shown["extender"], shown["port"]

    def say(metres: float | None) -> str:
        return format_distance(math.inf if metres is None else max(metres, 1e-3), units)

    if extender:
        focal = format_focal_length(FocalRange(extender["focal_mm"] / 1e3, extender["focal_mm"] / 1e3))
        found.append(f"  extender    {extender['factor']:g}x: {focal} at {extender['stop']}, the marks stay")
    if port:
        where = "" if port["infinity_seen_m"] is None else f", infinity at {say(port['infinity_seen_m'])}"
        field = f", the field {port['field_narrower']:.2f} times narrower" if port["shape"] == "flat" else ""
        found.append(f"  port        {port['shape']}: seen at {say(port['seen_m'])}{where}{field}")
    if found:
        found.append(f"  on the ring {say(shown['scale_m'])}")
    return found


def _finite(value: float) -> float | None:
    return value if math.isfinite(value) else None
