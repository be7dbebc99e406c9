"""What ``tapehook strip`` is told: the ring, the tape and the units, read with everything that is wrong at once."""

import math
from collections.abc import Callable, Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import Any, Literal, TypeVar

from tapehook.cli.depth_through import port_of
from tapehook.cli.refusals import OptionProblem
from tapehook.handover.strip_fields import circumference_mm, diameter_mm, t_number, tape_mm, turn_deg
from tapehook.notation import NotationError, parse_number
from tapehook.optics.port import Port

Parsed = TypeVar("Parsed")


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
    port: Port | None
    problems: tuple[OptionProblem, ...]


def strip_options(typed: Mapping[str, Any]) -> StripOptions:
    """Read the options of a strip; nothing is raised, so that the job's own problems can be told with them."""
    problems: list[OptionProblem] = []
    diameter = _read(problems, typed, "diameter", diameter_mm)
    around = _read(problems, typed, "circumference", circumference_mm)
    if typed.get("diameter") is not None and typed.get("circumference") is not None:
        said = "not both: the circumference says the diameter"
        problems.append(OptionProblem("--circumference", typed["circumference"], "one of --diameter and this", said))
    units: Any = typed.get("units")
    tape = _read(problems, typed, "tape", lambda text: tape_mm(text, 2 if units == "both" else 1))
    return StripOptions(
        circumference_mm=around if around is not None else None if diameter is None else math.pi * diameter,
        rotation_deg=_read(problems, typed, "rotation", turn_deg),
        zero=_read(problems, typed, "zero", parse_number),
        left_handed=bool(typed.get("left_handed")),
        tape_mm=tape,
        units=units,
        depth_at=_read(problems, typed, "depth_at", t_number),
        port=port_of(_Reader(problems, typed), typed),
        problems=tuple(problems),
    )


@dataclass(frozen=True, slots=True)
class _Reader:
    """Reads the options of a port as those of a strip."""

    problems: list[OptionProblem]
    typed: Mapping[str, Any]

    def __call__(self, name: str, parse: Callable[[str], Parsed]) -> Parsed | None:
        return _read(self.problems, self.typed, name, parse)

    def refuse(self, option: str, read: str | None, expected: str, said: str = "") -> None:
        """Note what is wrong with an option."""
        self.problems.append(OptionProblem(option, read, expected, said))


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
