#!/usr/bin/env python3
"""Makes the demo job: an invented kit, simulated, and written down as a crew would in prep.

    python tools/make_demo_job.py [FOLDER]

writes lenses.csv, readings.csv, charts.csv, morning.csv and a photo (into the package when no folder is named);
job.toml and README.md there are written by hand. Same code, same bytes: each lens draws from its own seeded stream, so
a change to one lens leaves the others as they are. The lenses themselves are in demo_kit.py.

How a lens is simulated: it focuses by moving as a whole, so that its travel is f^2/v, v the distance from
object to front focal point. The cam turns the part of the travel used into ring angle, the read-out adds its
zero and its sense. A reading is half the play off to its side, has reading noise, and is rounded to the step
of the read-out. An engraved mark sits a little off its place, the same in each reading of it; a taped mark
carries the error of the tape.
"""

import csv
import io
import math
import random
import sys
import tomllib
from collections.abc import Callable, Iterator
from pathlib import Path
from statistics import NormalDist

from tapehook.notation import parse_distance

ROOT = Path(__file__).parent.parent
if not __package__:  # run from a shell, when its own folder alone is on the path
    sys.path.insert(0, str(ROOT))
from tools.demo_kit import KIT, Glass  # noqa: E402
from tools.demo_photo import photo  # noqa: E402

DEMO_JOB = ROOT / "src" / "tapehook" / "demo_job"
SEED = "ninety herons"
COC_M = 25e-6
MARK_SD_DEG = 0.04
"""How far an engraved line sits off its true place."""
JUDGEMENT = 0.15
"""Scatter of best focus judged on a chart, in half-widths of the depth of field."""
CAMERAS = tomllib.loads((DEMO_JOB / "job.toml").read_text(encoding="utf-8"))["cameras"]
SENSOR_WIDTH_MM: dict[str, float] = {camera["letter"]: camera["sensor_width_mm"] for camera in CAMERAS}
CHART_WIDTHS_MM = (1600, 800, 400, 200)

Row = dict[str, str]

NO_READINGS = frozenset({"L21"})
FEET_INCHES = (
    *(9, 10, 11, 12, 13, 14, 16, 18, 20, 22, 24, 27, 30, 33, 36, 39, 42, 48, 54, 60, 66, 72, 78, 84, 96, 108),
    *(120, 144, 168, 192, 240, 300, 360, 480, 600, 900, 1200, 1800),
)
CENTIMETRES = (
    *(
        27,
        30,
        33,
        36,
        40,
        45,
        50,
        55,
        60,
        65,
        70,
        80,
        90,
        100,
        110,
        120,
        130,
        140,
        150,
        160,
        175,
        200,
        225,
        250,
    ),
    *(300, 350, 400, 500, 600, 700, 800, 1000, 1200, 1500, 2000, 3000, 5000),
)
FARTHEST_TAPED_M = 10.0
STOPS = ("1.4", "2", "2.8", "4", "5.6", "8", "11", "16", "22")
ZOOM_MARKS_MM = (22, 25, 28, 32, 36, 40, 45, 50, 58)


class Chance:
    """A stream of normal draws for one subject of one lens, the same on every machine and Python."""

    def __init__(self, *subject: str) -> None:
        self._random = random.Random(":".join((SEED, *subject)))  # noqa: S311 - a simulation, no secret
        self._normal = NormalDist()

    def normal(self, sd: float) -> float:
        """A draw with mean nought; one in 2^53 streams starts with nought itself, which has no place."""
        return sd * self._normal.inv_cdf(max(self._random.random(), 2.0**-53))


def feet_text(inches: int) -> str:
    """5'6" from 66."""
    feet, rest = divmod(inches, 12)
    return (f"{feet}'" if feet else "") + (f'{rest}"' if rest else "")


def labels(glass: Glass) -> list[str]:
    """Distances this scale shows, or the crew taped, nearest first, ``gap_deg`` or more apart."""
    texts = [feet_text(n) for n in FEET_INCHES] if glass.feet else [f"{n / 100:g} m" for n in CENTIMETRES]
    farthest_m = FARTHEST_TAPED_M if glass.taped else math.inf
    chosen, last_deg = [glass.close], glass.throw_deg
    for text in texts:
        distance_m = parse_distance(text)
        if distance_m <= glass.close_m or distance_m > farthest_m or text in glass.without:
            continue
        turn_deg = glass.turn_deg(glass.object_m(distance_m))
        if last_deg - turn_deg >= glass.gap_deg and turn_deg >= glass.gap_deg / 2:
            chosen.append(text)
            last_deg = turn_deg
    return [*chosen, glass.infinity]


def tape_sd_m(distance_m: float) -> float:
    """Scatter of a taped distance: 3 mm for hook and chart, 3 mm a metre for sag and angle."""
    return math.hypot(0.003, 0.003 * distance_m)


def focus_readings(glass: Glass) -> Iterator[Row]:
    """Focus readings of one lens before anything goes wrong with them."""
    chance = Chance(glass.id, "focus")
    for number, text in enumerate(labels(glass), start=1):
        distance_m = parse_distance(text)
        taped = glass.taped and math.isfinite(distance_m)
        true_m = distance_m + chance.normal(tape_sd_m(distance_m)) if taped else distance_m
        place_deg = glass.turn_deg(glass.object_m(true_m)) + (0.0 if taped else chance.normal(MARK_SD_DEG))
        for approach, sign in (("near_to_far", -1), ("far_to_near", 1)):
            position = glass.shown(place_deg, sign * glass.play_deg / 2 + chance.normal(glass.noise_deg))
            if sign > 0 and (glass.ways == "near_to_far" or (glass.ways == "some" and number % 2 == 0)):
                continue
            yield {
                "lens_id": glass.id,
                "axis": "focus",
                "mark_no": str(number),
                "distance_text": text,
                "position": position,
                "approach": approach,
                "method": "taped" if taped else "engraved",
            }


def ring_readings(glass: Glass, axis: str, marks: list[tuple[str, float]]) -> Iterator[Row]:
    """Readings of an iris or zoom ring: ``marks`` are what is engraved, and its true position."""
    chance = Chance(glass.id, axis)
    for number, (text, place) in enumerate(marks, start=1):
        position = glass.on_step(place + chance.normal(glass.noise_deg * glass.units_per_turn / 360))
        yield {
            "lens_id": glass.id,
            "axis": axis,
            "mark_no": str(number),
            "value": text,
            "position": position,
            "method": "engraved",
        }


def iris_marks(glass: Glass, first_deg: float, per_stop_deg: float) -> list[tuple[str, float]]:
    """Whole stops from the widest on; the ring is a little cramped at its small end."""
    numbers = [f"{glass.t_stop:g}", *(label for label in STOPS if float(label) > glass.t_stop * 1.1)]
    stops = [2 * math.log2(float(label) / glass.t_stop) for label in numbers]
    return [
        (f"T{label}", first_deg + per_stop_deg * stop * (1 - 0.02 * stop))
        for label, stop in zip(numbers, stops, strict=True)
    ]


def zoom_marks(first_deg: float, throw_deg: float) -> list[tuple[str, float]]:
    """Focal lengths, nearly even in octaves."""
    span = math.log(ZOOM_MARKS_MM[-1] / ZOOM_MARKS_MM[0])
    parts = [math.log(focal / ZOOM_MARKS_MM[0]) / span for focal in ZOOM_MARKS_MM]
    return [
        (f"{focal} mm", first_deg + throw_deg * (part + 0.06 * math.sin(math.pi * part)))
        for focal, part in zip(ZOOM_MARKS_MM, parts, strict=True)
    ]


def inches_dropped(rows: list[Row]) -> list[Row]:
    """5'6" was written down as 5'."""
    return [row | {"distance_text": "5'"} if row["distance_text"] == "5'6\"" else row for row in rows]


def digits_swapped(rows: list[Row]) -> list[Row]:
    """Two digits of one position changed places, in the reading at 1 m from far to near."""

    def written(row: Row) -> Row:
        digits = row["position"]
        there = row["distance_text"] == "1 m" and row["approach"] == "far_to_near"
        return row | {"position": digits[0] + digits[2] + digits[1] + digits[3:]} if there else row

    return [written(row) for row in rows]


def infinity_missing(rows: list[Row]) -> list[Row]:
    """Nobody read the infinity mark."""
    return [row for row in rows if row["distance_text"] not in ("inf", "∞")]


def near_end_missing(rows: list[Row]) -> list[Row]:
    """Nothing nearer than 1.5 m was read; the ring goes on to close focus."""
    return [row for row in rows if parse_distance(row["distance_text"]) >= 1.5]


TROUBLES: dict[str, Callable[[list[Row]], list[Row]]] = {
    "L03": inches_dropped,
    "L07": infinity_missing,
    "L11": digits_swapped,
    "L15": near_end_missing,
}


def readings() -> Iterator[Row]:
    """All rows of readings.csv."""
    for glass in KIT:
        if glass.id in NO_READINGS:
            continue
        yield from TROUBLES.get(glass.id, list)(list(focus_readings(glass)))
        if glass.id == "L05":
            yield from ring_readings(glass, "iris", iris_marks(glass, 4.0, 9.5))
        if glass.id == "L19":
            yield from ring_readings(glass, "iris", iris_marks(glass, 2.5, 11.0))
            yield from ring_readings(glass, "zoom", zoom_marks(-6.0, 94.0))
        if glass.id == "L20":
            yield from zoom_readings(glass)


STRAY_UM = {165: 0.0, 100: 25.0, 60: 70.0}
"""How far the sensor would have to move for the picture of L20 to be sharp where its long end is, by focal length."""


def sharp_at(glass: Glass, chance: Chance, distance_m: float, moved_um: float, focal_mm: float, t_stop: float) -> float:
    """Ring angle at which the picture of a taped chart is judged sharp, degrees: the sensor as if so far too near."""
    object_m = glass.object_m(distance_m + chance.normal(tape_sd_m(distance_m)))
    f_m = focal_mm / 1000
    room_dpt = COC_M * t_stop * math.sqrt(glass.transmission or 0.85) / f_m**2
    judged_dpt = 1 / object_m + moved_um * 1e-6 / f_m**2 + chance.normal(JUDGEMENT * room_dpt)
    return glass.turn_deg(1 / judged_dpt)


def both_ways(glass: Glass, chance: Chance, turn_deg: float) -> Iterator[Row]:
    """What the read-out shows of it, arrived at from either side."""
    for approach, sign in (("near_to_far", -1), ("far_to_near", 1)):
        position = glass.shown(turn_deg, sign * glass.play_deg / 2 + chance.normal(glass.noise_deg))
        yield {"lens_id": glass.id, "position": position, "approach": approach}


def zoom_readings(glass: Glass) -> Iterator[Row]:
    """Marks of a zoom found by the picture at three focal lengths: it does not hold focus at its wide end."""
    chance = Chance(glass.id, "zooming")
    for focal_mm, moved_um in STRAY_UM.items():
        for text in ("1.75 m", "2.5 m", "4 m", "8 m"):
            turn_deg = sharp_at(glass, chance, parse_distance(text), moved_um, focal_mm, glass.t_stop)
            for row in both_ways(glass, chance, turn_deg):
                said = {"axis": "focus", "distance_text": text, "method": "taped", "focal_mm": str(focal_mm)}
                yield row | said


STOPPED_UM = {"T1.5": 0.0, "T2": 32.0}
"""How far best focus of L10 moves on stopping down, as if the sensor came too near."""


def charts_stopped_down(glass: Glass) -> Iterator[Row]:
    """One lens found sharp wide open and at the stop of the job."""
    chance = Chance(glass.id, "stopping down")
    for text in ("1 m", "2 m", "4 m"):
        for stop, moved_um in STOPPED_UM.items():
            turn_deg = sharp_at(glass, chance, parse_distance(text), moved_um, glass.focal_mm, float(stop[1:]))
            for row in both_ways(glass, chance, turn_deg):
                yield row | {"chart_distance": text, "t_stop": stop, "camera": glass.camera}


APART_UM = {"level": 0.0, "upright": 75.0}
"""How far the two directions of L23 are sharp apart, as if the sensor came too near for upright lines."""


def charts_of_lines(glass: Glass) -> Iterator[Row]:
    """An anamorphic lens found sharp on both kinds of lines."""
    chance = Chance(glass.id, "lines")
    for text in ("1.5 m", "2.5 m", "5 m"):
        for lines, moved_um in APART_UM.items():
            turn_deg = sharp_at(glass, chance, parse_distance(text), moved_um, glass.focal_mm, glass.t_stop)
            for row in both_ways(glass, chance, turn_deg):
                yield row | {"chart_distance": text, "t_stop": f"T{glass.t_stop:g}", "camera": "C", "lines": lines}


MORNING_UM = {"L03": 14.0, "L11": 13.0, "L13": 15.0}
"""How far three lenses were found off after a night in the van, as if the sensors came too near: barrels shrank."""
MORNING = {"date": "2026-11-23", "temperature_c": "3"}


def morning() -> Iterator[Row]:
    """All rows of morning.csv: one chart each, wide open, on the body the lens is used on."""
    for glass in KIT:
        if glass.id not in MORNING_UM:
            continue
        chance, text = Chance(glass.id, "cold morning"), "12'" if glass.feet else "4 m"
        moved_um = MORNING_UM[glass.id]
        turn_deg = sharp_at(glass, chance, parse_distance(text), moved_um, glass.focal_mm, glass.t_stop)
        found = next(both_ways(glass, chance, turn_deg))
        yield found | {"chart_distance": text, "camera": glass.camera} | MORNING


def charts() -> Iterator[Row]:
    """All rows of charts.csv: best focus wide open, arrived at from near to far."""
    for glass in KIT:
        chance = Chance(glass.id, "charts")
        for text in glass.charts:
            distance_m = parse_distance(text)
            object_m = glass.object_m(distance_m + chance.normal(tape_sd_m(distance_m)))
            f_number = glass.t_stop * math.sqrt(glass.transmission or 0.85)
            depth_dpt = COC_M * f_number / (glass.focal_mm / 1000) ** 2
            judged_dpt = 1 / object_m + chance.normal(JUDGEMENT * depth_dpt)
            offset_deg = chance.normal(glass.noise_deg) - glass.play_deg / 2
            row = {
                "lens_id": glass.id,
                "chart_distance": text,
                "position": glass.shown(glass.turn_deg(1 / judged_dpt), offset_deg),
                "approach": "near_to_far",
                "t_stop": f"T{glass.t_stop:g}",
                "camera": glass.camera or "A",
            }
            if glass.zoom_min_mm:
                row["focal_mm"] = f"{glass.focal_mm:g}"
            yield row | (chart_size(glass, object_m) if glass.charts_measured else {})
        if glass.id == "L10":
            yield from charts_stopped_down(glass)
        if glass.squeeze:
            yield from charts_of_lines(glass)


def chart_size(glass: Glass, object_m: float) -> Row:
    """The largest chart that stays well inside the picture, and the part of the width it fills."""
    magnification = glass.focal_mm / 1000 / object_m
    for width_mm in CHART_WIDTHS_MM:
        fill = width_mm * magnification / SENSOR_WIDTH_MM[glass.camera]
        if fill < 0.7:
            return {"chart_width": f"{width_mm} mm", "frame_fill": f"{100 * fill:.1f} %"}
    raise ValueError(f"no chart is small enough for {glass.id} at {object_m} m")


RING_MM = {"Teasel": "80", "Heddle": "86", "Mattock": "95", "Drawknife": "114"}
"""Diameter of the focus ring, by the first word of the model; nobody has measured those of the Dibbers."""


def lens_row(glass: Glass) -> Row:
    """The row of lenses.csv; of a lens nobody has looked at, what its case says."""
    row = {
        "id": glass.id,
        "model": glass.model,
        "serial": glass.serial,
        "kind": "zoom" if glass.zoom_min_mm else "prime",
        "focal_mm": f"{glass.focal_mm:g}",
        "camera": glass.camera,
        "note": glass.note,
    }
    if glass.id in NO_READINGS:
        return row
    row |= {
        "t_stop": f"{glass.t_stop:.1f}",
        "rises_toward": glass.rises,
        "engraved_in": "feet" if glass.feet else "metric",
        "unit": glass.unit,
        "reading_step": f"{glass.step:g}",
        "units_per_turn": f"{glass.units_per_turn:g}",
        "close_focus_m": f"{glass.close_m:.5g}",
        "twin_of": glass.twin_of,
        "focal_min_mm": f"{glass.zoom_min_mm:g}" if glass.zoom_min_mm else "",
        "transmission": f"{glass.transmission:g}" if glass.transmission else "",
        "ring_diameter_mm": RING_MM.get(glass.model.split()[0], ""),
        "rear_filter": glass.rear_filter,
        "squeeze": f"{glass.squeeze:g}" if glass.squeeze else "",
        "extender": glass.extender,
        "extender_length_mm": glass.extender_length_mm,
        "port": glass.port,
        "port_front_mm": glass.port_front_mm,
        "quirks": glass.quirks,
        "condition_on_receipt": glass.condition_on_receipt,
        "photos_on_receipt": glass.photos_on_receipt,
    }
    if glass.pupil_known:
        row["pupil_to_sensor_mm"] = f"{glass.pupil_mm:g}"
        row["pupil_magnification"] = f"{glass.pupil_magnification:g}"
    return row


LENS_COLUMNS = (
    *("id", "model", "serial", "camera", "kind", "focal_mm", "focal_min_mm", "t_stop", "transmission"),
    *("engraved_in", "close_focus_m", "unit", "reading_step", "units_per_turn", "rises_toward", "twin_of"),
    *("pupil_to_sensor_mm", "pupil_magnification", "ring_diameter_mm", "squeeze", "rear_filter"),
    *("extender", "extender_length_mm", "port", "port_front_mm"),
    *("quirks", "condition_on_receipt", "photos_on_receipt", "note"),
)
READING_COLUMNS = (
    *("lens_id", "axis", "mark_no", "distance_text", "value", "position", "approach", "method"),
    "focal_mm",
)
CHART_COLUMNS = (
    *("lens_id", "chart_distance", "position", "approach", "t_stop", "camera", "focal_mm", "chart_width"),
    *("frame_fill", "lines"),
)


MORNING_COLUMNS = ("lens_id", "date", "chart_distance", "position", "approach", "camera", "temperature_c")


def table(columns: tuple[str, ...], rows: Iterator[Row]) -> str:
    """Rows as CSV with a header."""
    text = io.StringIO()
    writer = csv.DictWriter(text, columns, restval="", lineterminator="\n")
    writer.writeheader()
    writer.writerows(rows)
    return text.getvalue()


def demo_files() -> dict[str, bytes]:
    """Name and bytes of each file of the demo job that is made here."""
    texts = {
        "lenses.csv": table(LENS_COLUMNS, map(lens_row, KIT)),
        "readings.csv": table(READING_COLUMNS, readings()),
        "charts.csv": table(CHART_COLUMNS, charts()),
        "morning.csv": table(MORNING_COLUMNS, morning()),
    }
    return {name: text.encode() for name, text in texts.items()} | {"photos/L13-rear.png": photo()}


def main(arguments: list[str]) -> None:
    """Write the files into the folder named, or into the package."""
    folder = Path(arguments[0]) if arguments else DEMO_JOB
    for name, data in demo_files().items():
        (folder / name).parent.mkdir(parents=True, exist_ok=True)
        (folder / name).write_bytes(data)


if __name__ == "__main__":
    main(sys.argv[1:])
