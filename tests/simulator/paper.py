"""What a crew would have on paper of a simulated lens: its record, readings and chart tests, as records of a job."""

from collections.abc import Sequence
from typing import Any

import numpy as np
import numpy.typing as npt

from tapehook.job import Camera, ChartTest, Criterion, Job, Lens, Reading
from tapehook.job.records import Approach, Method
from tests.simulator.lenses import TrueLens

Floats = npt.NDArray[np.float64]

BOTH: tuple[Approach, Approach] = ("near_to_far", "far_to_near")
AHEAD: dict[Approach | None, float] = {"near_to_far": -1.0, "far_to_near": 1.0, None: 0.0}
"""A reading runs ahead of the glass: turned toward near it stands nearer by half the play."""

METRIC_M = (
    *(0.28, 0.3, 0.33, 0.35, 0.38, 0.4, 0.45, 0.5, 0.55, 0.6, 0.65, 0.7, 0.75, 0.8, 0.85, 0.9, 1.0, 1.1, 1.2, 1.3),
    *(1.4, 1.5, 1.6, 1.75, 2.0, 2.2, 2.5, 2.75, 3.0, 3.5, 4.0, 4.5, 5.0, 6.0, 7.0, 8.0, 10.0, 12.0, 15.0, 20.0, 30.0),
)
FEET = (
    *(1.0, 1 + 1 / 12, 1.25, 1.5, 1 + 7 / 12, 1.75, 2.0, 2.25, 2.5, 2.75, 3.0, 3.25, 3.5, 3.75, 4.0, 4.5, 5.0, 5.5),
    *(6.0, 6.5, 7.0, 8.0, 9.0, 10.0, 11.0, 12.0, 13.0, 14.0, 15.0, 16.0, 18.0, 20.0, 25.0, 30.0, 40.0, 50.0, 60.0),
)
FOOT_M = 0.3048


def lens_record(lens: TrueLens, lens_id: str, **instead: Any) -> Lens:  # noqa: ANN401 - any field
    """The lens as lenses.csv would hold it."""
    known: dict[str, Any] = {
        "focal_mm": lens.focal_mm,
        "t_stop": lens.t_stop,
        "transmission": lens.transmission,
        "rises_toward": "near" if lens.toward_near > 0 else "far",
        "engraved_in": "metric",
        "unit": lens.unit,
        "reading_step": lens.step,
        "close_focus_m": lens.near_m,
        "units_per_turn": lens.units_per_turn,
        "serial": f"S{lens_id}",
    }
    return Lens.model_validate({"id": lens_id, **known, **instead})


def engraved_distances(
    rng: np.random.Generator, lens: TrueLens, count: int, *, feet: bool = False
) -> tuple[float, ...]:
    """About ``count`` distances of a scale, metres, nearest first: the nearest, infinity, and what lies between.

    As on a real ring the marks stand at roughly equal steps of the ring, each where a scale has a figure to engrave.
    """
    scale = [d * FOOT_M for d in FEET] if feet else list(METRIC_M)
    usable = np.array([d for d in scale if d >= lens.near_m])
    angle = lens.turn_deg(lens.vergence(usable))
    wanted = (np.arange(count) + rng.uniform(-0.3, 0.3, count)) / (count - 1)
    targets = lens.turn_deg(0.0) + (angle[0] - lens.turn_deg(0.0)) * wanted
    chosen = {float(usable[np.argmin(np.abs(angle - target))]) for target in targets[1:-1]}
    return (*sorted({float(usable[0]), *chosen}), float("inf"))


def taping_sd_m(distance_m: npt.ArrayLike) -> Floats:
    """Standard deviation of a taped distance, metres: 3 mm and 3 mm a metre; 0 at infinity."""
    d = np.asarray(distance_m, dtype=np.float64)
    finite = np.where(np.isfinite(d), d, 0.0)
    return np.where(np.isfinite(d), np.hypot(3e-3, 3e-3 * finite), 0.0)


def read_marks(
    rng: np.random.Generator,
    lens: TrueLens,
    lens_id: str,
    distances_m: Sequence[float],
    *,
    ways: Sequence[Approach | None] = BOTH,
    method: Method = "engraved",
    feet: bool = False,
) -> tuple[Reading, ...]:
    """Readings of each distance, once each way: play, reading noise, engraving or tape error, rounding to the step.

    ``written`` is the distance as a person would write it, in metres or, for a scale in feet, feet and inches.
    """
    d = np.asarray(distances_m, dtype=np.float64)
    true = d + rng.normal(0.0, 1.0, d.size) * taping_sd_m(d) if method == "taped" else d
    mark = lens.turn_deg(lens.vergence(true))
    if method == "engraved":
        mark = mark + rng.normal(0.0, lens.engraving_deg, d.size)
    found = []
    for way in ways:
        ahead = lens.toward_near * AHEAD[way] * lens.play_deg / 2.0
        angle = mark + ahead + rng.normal(0.0, lens.noise_deg, d.size)
        position = np.round(angle * lens.units_per_deg / lens.step) * lens.step
        for number, (distance, at) in enumerate(zip(d.tolist(), position.tolist(), strict=True), start=1):
            found.append(
                Reading(
                    lens_id=lens_id,
                    mark_no=number,
                    written=written(distance, feet=feet),
                    value=distance,
                    position=round(at, 6),
                    approach=way,
                    method=method if np.isfinite(distance) else "engraved",
                )
            )
    return tuple(found)


def written(distance_m: float, *, feet: bool) -> str:
    """A distance as somebody writes it down: "1.2 m", "3'6\"", "inf"."""
    if not np.isfinite(distance_m):
        return "inf"
    if not feet:
        return f"{distance_m:g} m"
    inches = round(distance_m / FOOT_M * 12)
    return f"{inches // 12}'{inches % 12}\"" if inches % 12 else f"{inches // 12}'"


def chart_tests(
    rng: np.random.Generator,
    lens: TrueLens,
    lens_id: str,
    distances_m: Sequence[float],
    *,
    t_number: float | None = None,
    camera: str | None = None,
    body_flange_um: float = 0.0,
    judgement_used: float = 0.15,
    repeats: int = 1,
    ways: Sequence[Approach | None] = BOTH,
) -> tuple[ChartTest, ...]:
    """Best focus on charts taped once at ``distances_m``, ``repeats`` times each, the ways in turn.

    q set = q subject (1 + scale_slope) - flange/f^2 + judgement (sd ``judgement_used`` of w at the stop). The written
    distance lacks ``tape_datum_m`` and carries the error of the tape.
    """
    stop = t_number or lens.t_stop
    flange_m = (lens.flange_um + body_flange_um) * 1e-6
    found = []
    taped = [d + lens.tape_datum_m + rng.normal() * float(taping_sd_m(d)) for d in distances_m]
    for number, (distance, true) in enumerate(
        (d, t) for d, t in zip(distances_m, taped, strict=True) for _ in range(repeats)
    ):
        way = ways[number % len(ways)]
        q = float(lens.vergence(true)) * (1.0 + lens.scale_slope) - flange_m / lens.focal_m**2
        q += rng.normal() * judgement_used * lens.half_width_dpt(stop)
        ahead = lens.toward_near * AHEAD[way] * lens.play_deg / 2.0
        at = (float(lens.turn_deg(q)) + ahead) * lens.units_per_deg
        found.append(
            ChartTest(
                lens_id=lens_id,
                chart_distance_m=distance,
                position=round(np.round(at / lens.step) * lens.step, 6),
                approach=way,
                t_stop=stop,
                camera=camera,
            )
        )
    return tuple(found)


def a_job(
    lenses: Sequence[Lens],
    readings: Sequence[Reading],
    charts: Sequence[ChartTest] = (),
    cameras: Sequence[Camera] = (),
    **instead: Any,  # noqa: ANN401 - any field
) -> Job:
    """A job of these records, sharp to 0.025 mm."""
    return Job(
        lenses=tuple(lenses),
        readings=tuple(readings),
        charts=tuple(charts),
        cameras=tuple(cameras),
        criterion=Criterion(name="fixed", coc_mm=0.025),
        **instead,
    )
