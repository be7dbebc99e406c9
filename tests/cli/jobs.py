"""Small job folders that tests of the commands make, with positions known from a formula.

Each lens's ring turns evenly in 1/(D - d0), with d0 = 2 f + 50 mm: the course that a lens map follows exactly
(``tapehook.lens.FocusScale``), so that what a map should say between the marks can be worked out by hand.
"""

import math
from pathlib import Path

FOCAL_M = {"N50": 0.050, "F35": 0.035}
NEAREST_M = 0.6
TURN_DEG = 270.0
PLAY_DEG = 0.4
MARKS_M = (0.6, 0.7, 0.8, 1.0, 1.2, 1.5, 2.0, 3.0, 5.0, 10.0, math.inf)

LENSES = """\
id,focal_mm,t_stop,transmission,unit,reading_step,units_per_turn,close_focus_m,serial,pupil_to_sensor_mm,pupil_magnification
N50,50,1.5,0.85,deg,0.1,360,0.6,4711,41,1.15
F35,35,2,,count,1,36000,0.6,4712,,
"""

JOB = """\
title = "Harbour"
shooting_stop = "T2.8"

[criterion]
name = "fixed"
coc_mm = 0.025

[[cameras]]
letter = "A"
"""


def position_deg(lens_id: str, distance_m: float) -> float:
    """Where the ring stands at the centre of its play: 0 at infinity, the whole turn at the nearest mark."""
    datum_m = 2 * FOCAL_M[lens_id] + 0.050
    return TURN_DEG * (NEAREST_M - datum_m) / (distance_m - datum_m)


def readings() -> str:
    """Both lenses read both ways, without any error but the play; the second in counts of a hundredth of a degree."""
    rows = ["lens_id,distance_text,position,approach"]
    for lens_id, per_degree in (("N50", 1), ("F35", 100)):
        for distance_m in MARKS_M:
            for way, sign in (("near_to_far", -1), ("far_to_near", 1)):
                at = per_degree * (position_deg(lens_id, distance_m) + sign * PLAY_DEG / 2)
                rows.append(f"{lens_id},{'inf' if math.isinf(distance_m) else f'{distance_m} m'},{at:.6f},{way}")
    return "\n".join(rows) + "\n"


def write_small_job(folder: Path, **instead: str) -> Path:
    """Write the small job into ``folder``; ``instead`` gives other text for a file by its stem ("job", "lenses")."""
    folder.mkdir(parents=True, exist_ok=True)
    files = {"lenses.csv": LENSES, "readings.csv": readings(), "job.toml": JOB}
    for name, text in files.items():
        (folder / name).write_text(instead.get(name.partition(".")[0], text), encoding="utf-8")
    return folder
