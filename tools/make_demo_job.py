#!/usr/bin/env python3
"""Makes the demo job: an invented kit, simulated, and written down as a crew would in prep.

    python tools/make_demo_job.py [FOLDER]

writes lenses.csv, readings.csv and charts.csv (into the package when no folder is named); job.toml and README.md
there are written by hand. Same code, same bytes: each lens draws from its own seeded stream, so a change to
one lens leaves the others as they are.

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
from dataclasses import dataclass, replace
from pathlib import Path
from statistics import NormalDist
from typing import Literal

from tapehook.notation import parse_distance

DEMO_JOB = Path(__file__).parent.parent / "src" / "tapehook" / "demo_job"
SEED = "ninety herons"
COC_M = 25e-6
MARK_SD_DEG = 0.04
"""How far an engraved line sits off its true place."""
JUDGEMENT = 0.15
"""Scatter of best focus judged on a chart, in half-widths of the depth of field."""
CAMERAS = tomllib.loads((DEMO_JOB / "job.toml").read_text(encoding="utf-8"))["cameras"]
SENSOR_WIDTH_MM: dict[str, float] = {camera["letter"]: camera["sensor_width_mm"] for camera in CAMERAS}
CHART_WIDTHS_MM = (1600, 800, 400, 200)

Unit = Literal["deg", "count", "percent", "mm"]
Row = dict[str, str]


@dataclass(frozen=True)
class Glass:
    """One lens of the kit as nature knows it, and how the crew read it.

    ``close`` is the nearest engraved distance as text, ``throw_deg`` the turn from infinity to there, ``zero``
    the position at infinity. ``cam`` 0 is even in travel, larger spreads the far end; ``sway`` bends it into an
    S. ``pupil_mm`` is entrance pupil to image plane, ``pupil_known`` whether the crew has it on paper. ``ways``
    "some": every other mark both ways. ``without`` are labels this scale does not have.
    """

    id: str
    model: str
    focal_mm: float
    t_stop: float
    camera: str
    serial: str
    close: str
    throw_deg: float
    zero: float
    pupil_mm: float
    pupil_magnification: float
    transmission: float | None = None
    pupil_known: bool = False
    cam: float = 3.0
    sway: float = 0.0
    rises: Literal["near", "far"] = "near"
    feet: bool = True
    unit: Unit = "deg"
    step: float = 0.1
    units_per_turn: float = 360.0
    noise_deg: float = 0.1
    play_deg: float = 0.2
    taped: bool = False
    ways: Literal["both", "some", "near_to_far"] = "both"
    gap_deg: float = 14.0
    without: tuple[str, ...] = ()
    infinity: str = "inf"
    charts: tuple[str, ...] = ()
    charts_measured: bool = False
    zoom_min_mm: float | None = None
    twin_of: str = ""
    note: str = ""
    rear_filter: str = ""
    squeeze: float | None = None
    extender: str = ""
    extender_length_mm: str = ""
    quirks: str = ""
    condition_on_receipt: str = ""

    @property
    def close_m(self) -> float:
        """Close focus, metres from the image plane."""
        return parse_distance(self.close)

    def object_m(self, distance_m: float) -> float:
        """v, metres from the front focal point, for D from the image plane: v + f^2/v = D - e - f/P."""
        f = self.focal_mm / 1000
        s = distance_m - self.pupil_mm / 1000 - f / self.pupil_magnification
        return 0.5 * (s + math.sqrt(s * s - 4 * f * f)) if math.isfinite(distance_m) else math.inf

    def turn_deg(self, object_m: float) -> float:
        """Ring angle from infinity for an object v metres from the front focal point."""
        part = self.object_m(self.close_m) / object_m
        turned = math.log1p(self.cam * part) / math.log1p(self.cam) if self.cam else part
        return self.throw_deg * (turned + self.sway * math.sin(2 * math.pi * turned) / (2 * math.pi))

    def shown(self, turn_deg: float, offset_deg: float = 0.0) -> str:
        """What the read-out shows at a ring angle, ``offset_deg`` added for play and noise."""
        sense = 1.0 if self.rises == "near" else -1.0
        return self.on_step(self.zero + sense * (turn_deg + offset_deg) * self.units_per_turn / 360)

    def on_step(self, position: float) -> str:
        """A position as its read-out shows it."""
        decimals = max(0, -math.floor(math.log10(self.step)))
        return f"{round(position / self.step) * self.step + 0.0:.{decimals}f}"


TEASEL_50 = Glass(
    "L05", "Teasel 50", 50, 1.3, "A", "50417", "2'", 285, 12.0, 71, 0.94, 0.87,
    pupil_known=True, cam=2.5, sway=0.08,
)  # fmt: skip

HEDDLE = Glass(
    "", "", 0, 1.5, "B", "", "", 0, 0, 0, 0,
    rises="far", feet=False, unit="count", step=1, units_per_turn=36000, infinity="∞",
)  # fmt: skip

KIT = (
    Glass(
        "L01", "Teasel 14", 14, 2.0, "A", "14022", '10"', 190, 3.0, 118, 2.6, 0.82,
        pupil_known=True, cam=5.0, gap_deg=10, charts=("1'", "2'", "6'"),
    ),
    Glass(
        "L02", "Teasel 18", 18, 1.5, "A", "18035", '11"', 210, -45.0, 112, 2.2, 0.84,
        pupil_known=True, cam=4.5, sway=-0.06, gap_deg=11, charts=("1'", "1'6\"", "3'", "8'"),
    ),
    Glass(
        "L03", "Teasel 25", 25, 1.3, "A", "25108", "1'", 255, 4.5, 104, 1.8, 0.85,
        without=("5'",), extender="1.4x", extender_length_mm="32",
    ),
    Glass(
        "L04", "Teasel 35", 35, 1.3, "A", "35061", "1'2\"", 270, 20.0, 88, 1.3, 0.86,
        cam=3.5, sway=0.1, charts=("1'6\"", "2'6\"", "5'", "12'"), charts_measured=True,
    ),
    TEASEL_50,
    Glass("L06", "Teasel 65", 65, 1.5, "A", "65019", "2'3\"", 290, 8.0, 79, 0.88, 0.88, ways="near_to_far"),
    Glass("L07", "Teasel 85", 85, 1.5, "A", "85033", "3'", 300, 15.5, 83, 0.81, 0.88, cam=2.0),
    Glass(
        "L08", "Teasel 100", 100, 1.8, "A", "10240", "3'6\"", 305, 6.0, 92, 0.77, None,
        cam=2.0, sway=-0.1, ways="some",
    ),
    Glass(
        "L09", "Teasel 135", 135, 2.0, "A", "13507", "5'", 310, -120.0, 110, 0.7, 0.89,
        cam=1.5, noise_deg=0.08,
    ),
    replace(
        HEDDLE, id="L10", model="Heddle 21", focal_mm=21, serial="H-0211", close="0.33 m", throw_deg=225,
        zero=24100, pupil_mm=96, pupil_magnification=2.0, transmission=0.81, cam=4.0, taped=True, step=1,
    ),
    replace(
        HEDDLE, id="L11", model="Heddle 29", focal_mm=29, serial="H-0298", close="0.36 m", throw_deg=240,
        zero=25350, pupil_mm=90, pupil_magnification=1.5, transmission=0.83, noise_deg=0.08,
    ),
    replace(
        HEDDLE, id="L12", model="Heddle 40", focal_mm=40, t_stop=1.4, serial="H-0404", close="0.45 m",
        throw_deg=260, zero=-1250, pupil_mm=82, pupil_magnification=1.1, transmission=0.84, pupil_known=True, sway=0.12,
        charts=("0.6 m", "1 m", "2 m", "4 m"), charts_measured=True,
    ),
    replace(
        HEDDLE, id="L13", model="Heddle 55", focal_mm=55, t_stop=1.4, serial="H-0553", close="0.6 m",
        throw_deg=275, zero=28900, pupil_mm=76, pupil_magnification=0.93, transmission=0.84, cam=2.5, play_deg=1.1,
        quirks="Loose gear: arrive from the same side, always. Flares with a lamp at the edge of the picture.",
        condition_on_receipt="scratch on the rear element, near the rim; filter thread dented",
    ),
    replace(
        HEDDLE, id="L14", model="Heddle 75", focal_mm=75, serial="H-0752", close="0.8 m", throw_deg=290,
        zero=30210, pupil_mm=80, pupil_magnification=0.86, cam=2.0, noise_deg=0.08, rear_filter="rear gel",
    ),
    replace(
        HEDDLE, id="L15", model="Heddle 110", focal_mm=110, t_stop=1.9, serial="H-1106", close="0.9 m",
        throw_deg=300, zero=31475, pupil_mm=98, pupil_magnification=0.76, transmission=0.86, cam=1.5, noise_deg=0.08,
    ),
    Glass(
        "L16", "Mattock 150", 150, 2.0, "C", "M1503", "5'", 320, 2.0, 128, 0.66, 0.86,
        cam=1.5, unit="percent", units_per_turn=112.5, noise_deg=0.08, charts=("6'", "10'", "20'"),
    ),
    Glass(
        "L17", "Mattock 180", 180, 2.0, "C", "M1801", "6'", 320, 1.5, 146, 0.62, 0.85,
        cam=1.5, unit="percent", units_per_turn=112.5, noise_deg=0.45, play_deg=0.3,
    ),
    Glass(
        "L18", "Mattock 200", 200, 2.0, "C", "M2004", "6'", 325, 1.0, 158, 0.6, None,
        cam=1.2, sway=0.06, unit="percent", units_per_turn=110.8, noise_deg=0.07,
    ),
    Glass(
        "L19", "Drawknife 22-58", 58, 2.8, "", "DK-118", "2'", 280, 10.0, 182, 0.9, 0.78,
        cam=2.5, charts=("3'", "8'"), zoom_min_mm=22,
    ),
    Glass(
        "L20", "Drawknife 60-165", 165, 2.8, "", "DK-207", "1.6 m", 320, 96.5, 236, 0.7, 0.76,
        cam=1.5, rises="far", feet=False, unit="percent", units_per_turn=105.0, noise_deg=0.08, ways="some",
        zoom_min_mm=60,
    ),
    Glass("L21", "Dibber 32", 32, 2.0, "C", "D-3219", "", 0, 0, 0, 0, note="came late, still in its case"),
    Glass(
        "L22", "Dibber 47", 47, 2.0, "C", "D-4702", "0.6 m", 180, 8.0, 74, 1.0, 0.8,
        rises="far", feet=False, unit="mm", step=0.5, units_per_turn=251.3, gap_deg=75,
        note="tape round the ring, 80 mm across",
    ),
    Glass(
        "L23", "Dibber 90", 90, 2.0, "C", "", "1 m", 200, -4.0, 86, 0.8, 0.8,
        cam=1.5, rises="far", feet=False, unit="mm", step=0.5, units_per_turn=282.7, taped=True, play_deg=0.3,
        gap_deg=11, note="serial not read: engraving worn off; tape round the ring, 90 mm across", squeeze=2.0,
    ),
    replace(TEASEL_50, id="L24", serial="50422", throw_deg=285.9, zero=15.4, sway=0.083, twin_of="L05"),
)  # fmt: skip

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
        "quirks": glass.quirks,
        "condition_on_receipt": glass.condition_on_receipt,
    }
    if glass.pupil_known:
        row["pupil_to_sensor_mm"] = f"{glass.pupil_mm:g}"
        row["pupil_magnification"] = f"{glass.pupil_magnification:g}"
    return row


LENS_COLUMNS = (
    *("id", "model", "serial", "camera", "kind", "focal_mm", "focal_min_mm", "t_stop", "transmission"),
    *("engraved_in", "close_focus_m", "unit", "reading_step", "units_per_turn", "rises_toward", "twin_of"),
    *("pupil_to_sensor_mm", "pupil_magnification", "ring_diameter_mm", "squeeze", "rear_filter"),
    *("extender", "extender_length_mm", "quirks", "condition_on_receipt", "note"),
)
READING_COLUMNS = (
    *("lens_id", "axis", "mark_no", "distance_text", "value", "position", "approach", "method"),
    "focal_mm",
)
CHART_COLUMNS = (
    *("lens_id", "chart_distance", "position", "approach", "t_stop", "camera", "focal_mm", "chart_width"),
    *("frame_fill", "lines"),
)


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
    }
    return {name: text.encode() for name, text in texts.items()}


def main(arguments: list[str]) -> None:
    """Write the files into the folder named, or into the package."""
    folder = Path(arguments[0]) if arguments else DEMO_JOB
    folder.mkdir(parents=True, exist_ok=True)
    for name, data in demo_files().items():
        (folder / name).write_bytes(data)


if __name__ == "__main__":
    main(sys.argv[1:])
