"""What ``tapehook strip`` is told: the ring, the tape and the units, read with everything that is wrong at once."""

import math
from collections.abc import Callable, Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import Any, Literal, TypeVar

from tapehook.cli.refusals import OptionProblem
from tapehook.notation import NotationError, parse_length, parse_number, parse_stop

Parsed = TypeVar("Parsed")
_TAPE_MM = {1: (6.0, 50.0), 2: (10.0, 50.0)}
"""Least and most width of the tape for strips of one and of two rows."""


@dataclass(frozen=True, slots=True)
class StripOptions:
    """What was asked for, millimetres and degrees; None where nothing was said. ``problems`` are all that was wrong."""

    circumference_mm: float | None
    rotation_deg: float | None
    zero: float | None
    left_handed: bool
    tape_mm: float | None
    units: Literal["ft", "m", "both"] | None
    depth_at: float | None
    problems: tuple[OptionProblem, ...]


def strip_options(typed: Mapping[str, Any]) -> StripOptions:
    """Read the options of a strip; nothing is raised, so that the job's own problems can be told with them."""
    problems: list[OptionProblem] = []
    diameter = _read(problems, typed, "diameter", lambda text: _mm(text, 5, 1000, "a diameter from 5 mm to 1 m"))
    around = _read(problems, typed, "circumference", lambda text: _mm(text, 15, 3200, "a length from 15 mm to 3.2 m"))
    if typed.get("diameter") is not None and typed.get("circumference") is not None:
        said = "not both: the circumference says the diameter"
        problems.append(OptionProblem("--circumference", typed["circumference"], "one of --diameter and this", said))
    units: Any = typed.get("units")
    least, most = _TAPE_MM[2 if units == "both" else 1]
    tape = _read(problems, typed, "tape", lambda text: _mm(text, least, most, f"a width from {least:g} to {most:g} mm"))
    return StripOptions(
        circumference_mm=around if around is not None else None if diameter is None else math.pi * diameter,
        rotation_deg=_read(problems, typed, "rotation", _turn),
        zero=_read(problems, typed, "zero", parse_number),
        left_handed=bool(typed.get("left_handed")),
        tape_mm=tape,
        units=units,
        depth_at=_read(problems, typed, "depth_at", _t_stop),
        problems=tuple(problems),
    )


def _read(
    problems: list[OptionProblem], typed: Mapping[str, Any], name: str, parse: Callable[[str], Parsed]
) -> Parsed | None:
    """The parsed text of one option; None, and a problem noted, when it cannot be read."""
    text = typed.get(name)
    if text is None:
        return None
    try:
        return parse(text)
    except NotationError as error:
        problems.append(OptionProblem(f"--{name.replace('_', '-')}", text, error.expected, str(error)))
        return None


def _mm(text: str, least: float, most: float, expected: str) -> float:
    return _within(text, parse_length(text, bare_unit="mm") * 1e3, least, most, expected)


def _turn(text: str) -> float:
    bare = text.strip().removesuffix("deg").removesuffix("°").strip()
    return _within(text, parse_number(bare), 5.0, 360.0, "degrees of turn from 5 to 360, such as 270")


def _t_stop(text: str) -> float:
    stop = parse_stop(text)
    if stop.scale == "f":
        raise NotationError(text, "a T-stop such as T2.8")
    return stop.number


def _within(text: str, value: float, least: float, most: float, expected: str) -> float:
    # A length that was typed in inches may miss a limit by its last digit.
    if not least * (1 - 1e-9) <= value <= most * (1 + 1e-9):
        raise NotationError(text, expected, (), "is out of range")
    return value


def check_file(out: Path) -> list[OptionProblem]:
    """What is wrong with ``out`` as a PDF to be written, if anything."""
    import os

    if out.suffix.lower() != ".pdf":
        return [OptionProblem("--out", str(out), "a file whose name ends in .pdf")]
    if out.is_dir():
        return [OptionProblem("--out", str(out), "a file, and not a folder that is there already")]
    folder = out.parent
    if not folder.is_dir():
        return [OptionProblem("--out", str(out), "a file in a folder that is there")]
    if not os.access(folder, os.W_OK | os.X_OK):
        return [OptionProblem("--out", str(out), "a file in a folder that can be written to")]
    return []
