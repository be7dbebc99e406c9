"""The stored reference tables (README.md beside this file says where they come from), ready for tests."""

import csv
import json
import math
import tomllib
from functools import cache
from pathlib import Path
from typing import Any

from tapehook.optics import Pupil

HERE = Path(__file__).parent
MAPS = HERE / "maps"
"""The 25 reference lenses: a job folder, with ``truth/`` in it."""

Row = dict[str, Any]

DESIGNS = tuple(sorted(path.stem for path in (HERE / "raytrace").glob("*.json")))
FRONT_ELEMENT = "triplet-75-front-element"
UNIT_FOCUSING = tuple(name for name in DESIGNS if name != FRONT_ELEMENT)


@cache
def design(name: str) -> Row:
    """One ray-traced lens design."""
    loaded: Row = json.loads((HERE / "raytrace" / f"{name}.json").read_text(encoding="utf-8"))
    return loaded


def focal_m(name: str) -> float:
    """Focal length at infinity, metres."""
    return float(design(name)["first_order_at_infinity"]["focal_length_mm"]) * 1e-3


def blur_m(name: str) -> float:
    """Largest blur disc of the depth rows, metres."""
    return float(design(name)["blur_diameter_mm"]) * 1e-3


def pupil(name: str) -> Pupil:
    """Pupil data at infinity focus."""
    first = design(name)["first_order_at_infinity"]
    return Pupil(first["entrance_pupil_to_sensor_mm"] * 1e-3, first["pupil_magnification"])


def distance_m(row: Row) -> float:
    """Object distance of a row from the sensor, metres; inf for infinity."""
    return math.inf if row["at_infinity"] else float(row["object_distance_from_sensor_mm"]) * 1e-3


def limit_m(truth: Row, end: str) -> float:
    """Near or far limit of a truth block, metres from the sensor; inf where the far limit is infinite."""
    return math.inf if truth[f"{end}_mm"] is None else float(truth[f"{end}_mm"]) * 1e-3


def half_width_dpt(truth: Row) -> float:
    """Half the distance of the limits in vergence, dioptres at the entrance pupil."""
    near, far = (truth[f"{end}_vergence_at_entrance_pupil_per_m"] for end in ("near", "far"))
    return float(near - far) / 2.0


def as_set(name: str, row: Row) -> Row:
    """The row of the focus map for the distance of a depth row."""
    for candidate in design(name)["focus_map"]:
        if distance_m(candidate) == distance_m(row):
            found: Row = candidate
            return found
    raise KeyError(name, distance_m(row))


def checks(name: str) -> list[Row]:
    """Rows of ``checks/<name>.toml``."""
    rows: list[Row] = tomllib.loads((HERE / "checks" / f"{name}.toml").read_text(encoding="utf-8"))["check"]
    return rows


def certified(name: str) -> Row:
    """A certified regression of ``checks/strd.toml``."""
    fit: Row = tomllib.loads((HERE / "checks" / "strd.toml").read_text(encoding="utf-8"))[name]
    return fit


def true_curve(lens_id: str) -> list[tuple[float, float, float]]:
    """Vergence from the front focal point (1/m), distance (m) and position along the true map of a reference lens."""
    with (MAPS / "truth" / f"{lens_id}.csv").open(encoding="utf-8", newline="") as file:
        return [
            (float(row["vergence_dpt"]), float(row["distance_m"]), float(row["position"]))
            for row in csv.DictReader(file)
        ]


def true_parameters() -> dict[str, Row]:
    """Everything the simulation knew of each reference lens, by lens id."""
    loaded = json.loads((MAPS / "truth" / "parameters.json").read_text(encoding="utf-8"))
    return {entry["id"]: entry for entry in loaded}


def planted_errors() -> list[dict[str, str]]:
    """The slips planted in the readings."""
    with (MAPS / "truth" / "planted_errors.csv").open(encoding="utf-8", newline="") as file:
        return list(csv.DictReader(file))
