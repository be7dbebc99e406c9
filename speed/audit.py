"""The audit of a rental house: ten thousand lenses from their folder to the lists, over all cores."""

import csv
import subprocess
import sys
import tempfile
from collections.abc import Iterable, Sequence
from pathlib import Path

import numpy as np

from speed.fleet import FAR, fleet
from speed.harness import Case, Contender, case
from speed.startup import COMMAND
from tapehook.cli.processors import cores

LENSES, MARKS, COPIES = 10_000, 12, 5
MOST_S, MOST_BYTES = 60.0, 1.5 * 2**30
PLAY_DEG, NOISE_DEG = 0.3, 0.1
SLIPS = 300
NEAREST_M, DATUM_M, FOCAL_MM = 0.6, 0.15, 50


@case(f"`tapehook audit` of {LENSES:,} lenses")
def rental_house() -> Case:
    """The whole command: read the folder, check every lens, compare the copies of each model, write the lists."""
    place = tempfile.TemporaryDirectory()
    folder = Path(place.name) / "store"
    _write(folder)

    def audit() -> None:
        """The command as a process of its own; fails when it, or the largest of its children, takes too much memory."""
        command = [sys.executable, "-c", _MEASURED, str(COMMAND), "audit", str(folder), "--out", f"{place.name}/out"]
        done = subprocess.run(command, check=False, capture_output=True, text=True)
        if done.returncode:
            raise RuntimeError(done.stderr[-2000:])
        used = int(done.stderr.split()[-1]) * 1024
        if used > MOST_BYTES:
            raise MemoryError(f"the audit held {used / 2**30:.2f} GiB, goal {MOST_BYTES / 2**30} GiB")
        print(f"  memory: {used / 2**30:.2f} GiB at most, all processes together")

    return Case(
        ours=Contender("tapehook audit, all of it", audit, rounds=1),
        peers=(),
        at_most_s=MOST_S,
        note=f"{LENSES:,} lenses of {MARKS} marks read both ways, {COPIES} copies of each model, {SLIPS} slips among "
        f"them, on {cores()} cores; from starting the program to its end. It fails above 1.5 GiB for all its processes "
        "together.",
    )


_MEASURED = """
import subprocess, sys, threading, time
from pathlib import Path

def tree(pid):
    children = Path(f"/proc/{pid}/task/{pid}/children")
    try:
        return [pid, *(p for child in children.read_text().split() for p in tree(int(child)))]
    except OSError:
        return []

def held(pid):
    total = 0
    for each in tree(pid):
        try:
            lines = Path(f"/proc/{each}/smaps_rollup").read_text().splitlines()
        except OSError:
            continue
        total += sum(int(line.split()[1]) for line in lines if line.startswith("Pss:"))
    return total

process = subprocess.Popen(sys.argv[1:], stdout=subprocess.DEVNULL)
most = 0
while process.poll() is None:
    most = max(most, held(process.pid))
    time.sleep(0.25)
print(most, file=sys.stderr)
sys.exit(process.returncode)
"""
"""Runs a command and tells, in KiB, how much memory it and its children held at most (proportional set size)."""


def _write(folder: Path) -> None:
    """A job folder of simulated lenses, the same each time."""
    folder.mkdir()
    rng = np.random.default_rng(2810)
    models = fleet(LENSES // COPIES, MARKS, 2)
    near_dpt = 1.0 / (NEAREST_M - DATUM_M)
    with np.errstate(divide="ignore"):
        distances = DATUM_M + 1.0 / ((models.u - FAR) * near_dpt)
    slipped = set(rng.choice(LENSES, SLIPS, replace=False).tolist())
    lens_rows, rows = [], []
    for number in range(LENSES):
        model, lens_id = number // COPIES, f"L{number:05d}"
        lens_rows.append((lens_id, FOCAL_MM, "T1.5", 0.85, "deg", 0.1, 360, NEAREST_M, f"M{model}", f"S{number}"))
        centre = models.y[model] * (1.0 + rng.normal(0, 0.004)) + rng.normal(0, 3.0)
        texts = ["inf" if not np.isfinite(d) else f"{d:.4f} m" for d in distances[model]]
        if number in slipped:
            centre[rng.integers(1, MARKS - 1)] += 15.0
        for way, sign in (("near_to_far", -1), ("far_to_near", 1)):
            read = np.round(centre + sign * PLAY_DEG / 2 + rng.normal(0, NOISE_DEG, MARKS), 1)
            rows += [(lens_id, i + 1, texts[i], at, way) for i, at in enumerate(read.tolist())]
    header = ("id", "focal_mm", "t_stop", "transmission", "unit", "reading_step", "units_per_turn", "close_focus_m")
    _table(folder / "lenses.csv", (*header, "model", "serial"), lens_rows)
    _table(folder / "readings.csv", ("lens_id", "mark_no", "distance_text", "position", "approach"), rows)


def _table(path: Path, header: Sequence[str], rows: Iterable[Sequence[object]]) -> None:
    with path.open("w", newline="", encoding="utf-8") as file:
        writer = csv.writer(file)
        writer.writerow(header)
        writer.writerows(rows)
