"""The table of what was measured, for the screen and for the documentation."""

import os
import platform
from collections.abc import Iterable, Iterator
from datetime import UTC, datetime
from importlib import metadata
from pathlib import Path

from speed.harness import Result, Timing, show_time

HEADER = ("who", "median", "range", "times ours", "goal", "met")
PARTS = ("numpy", "scipy", "typst", "scikit-learn", "pygam")


def rows(result: Result) -> Iterator[tuple[str, ...]]:
    """One row for ours and one for each peer, as text."""
    for timing in result.timings:
        goal, met = result.goal(timing) or ("", None)
        yield (
            _who(timing),
            show_time(timing.median_s),
            f"{show_time(timing.least_s)} – {show_time(timing.most_s)}",
            _times(result.ratio(timing)),
            goal,
            {True: "yes", False: "**no**", None: ""}[met],
        )


def _times(ratio: float) -> str:
    """A ratio with three figures, and never as a power of ten."""
    return f"{ratio:,.0f}" if ratio >= 100 else f"{ratio:.3g}"


def _who(timing: Timing) -> str:
    if timing.share == 1:
        return timing.name
    return f"{timing.name} (did {timing.share:.2%} of the work; scaled up)"


def table(result: Result) -> str:
    """One case in Markdown: title, note, table."""
    lines = [f"## {result.title}", ""]
    if result.case.note:
        lines += [result.case.note, ""]
    lines += [_line(HEADER), _line("---" for _ in HEADER), *map(_line, rows(result))]
    return "\n".join(lines) + "\n"


def _line(cells: Iterable[str]) -> str:
    return f"| {' | '.join(cells)} |"


def goals(results: Iterable[Result]) -> tuple[int, int]:
    """How many goals were met, and how many there are."""
    met = [goal[1] for result in results for timing in result.timings if (goal := result.goal(timing))]
    return sum(met), len(met)


def machine() -> str:
    """Processor, cores, system and versions in one line: what the figures hold for; no name of a host."""
    parts = ", ".join(f"{part} {version}" for part in PARTS if (version := _version(part)))
    return (
        f"{_processor()}, {os.cpu_count()} cores, {platform.system()}; "
        f"Python {platform.python_version()}, {parts}. One thread each, if not said otherwise."
    )


def _load() -> str:
    """How busy the machine was; nothing where the system does not say."""
    if not hasattr(os, "getloadavg"):
        return ""
    return (
        f" The load was {os.getloadavg()[1]:.1f} over the last five minutes; much above 1 means that other work "
        "ran beside this, which lengthens all times and their ranges."
    )


def _processor() -> str:
    info = Path("/proc/cpuinfo")
    if info.exists():
        for line in info.read_text(encoding="utf-8").splitlines():
            if line.startswith("model name"):
                return line.partition(":")[2].strip()
    return platform.processor() or platform.machine()


def _version(part: str) -> str:
    try:
        return metadata.version(part)
    except metadata.PackageNotFoundError:
        return ""


def page(results: list[Result]) -> str:
    """The page `docs/speed.md`: what it is, which machine, and all tables."""
    met, count = goals(results)
    day = datetime.now(UTC).date().isoformat()
    head = (
        "# Speed\n\n"
        "Written by `make speed`; do not edit. Each figure is the median of its rounds; the peers run in the "
        "same rounds as ours; the first run of each is not counted. Compare within a table: another machine "
        "has other figures.\n\n"
        f"Measured on {day}: {machine()}{_load()}\n\n"
        f"{met} of {count} goals met.\n"
    )
    return "\n".join([head, *map(table, results)])
