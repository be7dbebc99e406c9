"""A scan of the air as a text: a frequency and a level in each line, as most scanners give out.

Parted by commas, semicolons, tabs or spaces. A first line that is no pair of numbers is the header; a unit in it (Hz,
kHz, MHz, GHz) holds for the frequencies. Without one the size of the numbers tells: no band lies below 10 MHz.
"""

import math
import re
from collections.abc import Iterator

from tapehook.job.problems import JobProblems, Problem
from tapehook.job.sheets import Sheet, decoded

MOST_POINTS = 100_000
LOWEST_MHZ, HIGHEST_MHZ = 1.0, 100_000.0
LOWEST_DBM, HIGHEST_DBM = -250.0, 100.0
_UNITS = {"hz": 1e-6, "khz": 1e-3, "mhz": 1.0, "ghz": 1e3}
_UNIT = re.compile(r"(?<![a-z])(hz|khz|mhz|ghz)(?![a-z])", re.IGNORECASE)
_EXPECTED = "a frequency and a level in dBm, such as 2450.0, -87"


def read_scan(data: bytes, file: str) -> list[tuple[float, float]]:
    """Points (MHz, dBm) as they stand in the text. Raises JobProblems with all lines that cannot be read."""
    sheet = Sheet(file)
    text = decoded(sheet, data)
    if text is None:
        raise JobProblems(sheet.problems)
    rows = [(number, line.strip()) for number, line in enumerate(text.splitlines(), start=1)]
    rows = [(number, line) for number, line in rows if line and not line.startswith(("#", "!"))]
    if len(rows) > MOST_POINTS:
        raise JobProblems([Problem(file, None, None, str(len(rows)), f"at most {MOST_POINTS} lines")])
    header = rows[0][1] if rows and _pair(rows[0][1]) is None else ""
    pairs = [(number, line, _pair(line)) for number, line in rows[1 if header else 0 :]]
    problems = [Problem(file, number, None, line, _EXPECTED) for number, line, pair in pairs if pair is None]
    good = [(number, line, pair) for number, line, pair in pairs if pair is not None]
    unit = _unit(header, [pair[0] for _, _, pair in good])
    problems += _beyond(file, good, unit)
    if not problems and len({pair[0] for _, _, pair in good}) < 2:
        problems.append(Problem(file, None, None, None, "two frequencies or more, each with its level"))
    if problems:
        raise JobProblems(problems)
    return [(at * unit, level) for _, _, (at, level) in good]


def _pair(line: str) -> tuple[float, float] | None:
    """The first two numbers of a line; with semicolons, tabs or spaces between, a comma may be the decimal mark."""
    parts = re.split(r"[;\t]\s*|\s+", line) if re.search(r"[;\t]|\d\s+[-+\d]", line) else line.split(",")
    cells = [part.strip().strip('"').rstrip(",").replace(",", ".") for part in parts if part.strip()]
    try:
        at, level = float(cells[0]), float(cells[1])
    except (IndexError, ValueError):
        return None
    return (at, level) if math.isfinite(at) and math.isfinite(level) else None


def _unit(header: str, frequencies: list[float]) -> float:
    """What a frequency is multiplied with to be MHz."""
    named = _UNIT.search(header)
    if named:
        return _UNITS[named.group(1).lower()]
    top = max(frequencies, default=1e3)
    return 1e-6 if top >= 1e8 else 1e-3 if top >= 1e5 else 1e3 if top < 10.0 else 1.0


def _beyond(file: str, rows: list[tuple[int, str, tuple[float, float]]], unit: float) -> Iterator[Problem]:
    """Frequencies and levels that no scan has."""
    for number, _, (at, level) in rows:
        if not LOWEST_MHZ <= at * unit <= HIGHEST_MHZ:
            yield Problem(file, number, "frequency", f"{at:g}", f"{LOWEST_MHZ:g} to {HIGHEST_MHZ:g} MHz")
        if not LOWEST_DBM <= level <= HIGHEST_DBM:
            yield Problem(file, number, "level", f"{level:g}", f"{LOWEST_DBM:g} to {HIGHEST_DBM:g} dBm")
