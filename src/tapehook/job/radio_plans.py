"""A radio plan as a file: what ``tapehook radio --json`` printed, or the same by hand; only band and channel count."""

import json
from pathlib import Path
from typing import Any

from tapehook.job.problems import JobProblems, Problem
from tapehook.job.sheets import read_bytes
from tapehook.job.tomlfile import BANDS


def read_radio_plan(path: Path) -> dict[str, tuple[str, int]]:
    """Band ("2450") and channel number by letter of the camera. Raises JobProblems with all that is wrong."""
    name, problems = path.name, []
    try:
        document: Any = json.loads(read_bytes(path))
    except (ValueError, RecursionError):
        raise JobProblems(
            [Problem(name, None, None, None, "a plan as JSON, as tapehook radio --json prints it")]
        ) from None
    networks = document.get("networks") if isinstance(document, dict) else None
    if not isinstance(networks, dict):
        raise JobProblems([Problem(name, None, "networks", None, "a table of cameras by letter")])
    plan = {}
    for letter, said in networks.items():
        band, channel = (said.get("band"), said.get("channel")) if isinstance(said, dict) else (None, None)
        if band not in BANDS:
            problems.append(Problem(name, None, f"networks.{letter}.band", _read(band), f"one of {', '.join(BANDS)}"))
        elif type(channel) is not int:
            expected = "the number of a channel such as 15"
            problems.append(Problem(name, None, f"networks.{letter}.channel", _read(channel), expected))
        else:
            plan[letter] = (band, channel)
    if problems:
        raise JobProblems(problems)
    return plan


def _read(value: object) -> str | None:
    return None if value is None else str(value)
