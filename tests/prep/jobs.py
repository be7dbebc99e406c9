"""Small jobs for the tests of the main job, read off a lens whose ring is known.

The ring turns in vergence from 150 mm in front of the image plane, a little bent, and a reading runs ahead of the glass
by half the play; noise is seeded. Everything may be changed by name.
"""

import math
from collections.abc import Sequence
from typing import Any

import numpy as np
import numpy.typing as npt

from tapehook.job import Camera, Job, Lens, Reading
from tapehook.job.records import Approach, Axis, Method

Floats = npt.NDArray[np.float64]

NEAREST_M = 0.6
DISTANCES_M = (0.6, 0.7, 0.85, 1.0, 1.3, 1.8, 2.5, 4.0, 8.0, math.inf)
BOTH: tuple[Approach, Approach] = ("near_to_far", "far_to_near")
TURN_DEG = 250.0


def true_position(distance_m: npt.ArrayLike, turn_deg: float = TURN_DEG) -> Floats:
    """Where the ring stands at the centre of its play, degrees from infinity."""
    q = (NEAREST_M - 0.15) / (np.asarray(distance_m, dtype=float) - 0.15)
    position: Floats = turn_deg * (q + 0.2 * q * (1.0 - q))
    return position


def a_lens(lens_id: str = "L1", **instead: object) -> Lens:
    """A 50 mm T2 with everything known of it."""
    known: dict[str, Any] = {
        "focal_mm": 50.0,
        "t_stop": 2.0,
        "transmission": 0.81,
        "unit": "deg",
        "reading_step": 0.1,
        "units_per_turn": 360.0,
        "close_focus_m": NEAREST_M,
        "serial": "4711" if lens_id == "L1" else f"4711-{lens_id}",
        "pupil_to_sensor_mm": 41.0,
        "pupil_magnification": 1.15,
        "blur_floor_mm": 0.005,
        "rises_toward": "near",
    }
    return Lens.model_validate({"id": lens_id, **known, **instead})


def read_off(
    distances_m: Sequence[float] = DISTANCES_M,
    *,
    lens_id: str = "L1",
    turn_deg: float = TURN_DEG,
    play_deg: float = 0.2,
    noise_deg: float = 0.05,
    units_per_deg: float = 1.0,
    ways: Sequence[Approach | None] = BOTH,
    method: Method = "engraved",
    seed: int = 1,
) -> tuple[Reading, ...]:
    """Readings of each distance, once each way."""
    rng = np.random.default_rng(seed)
    ahead = {"near_to_far": -1.0, "far_to_near": 1.0, None: 0.0}
    shift = math.copysign(play_deg / 2.0, turn_deg)
    return tuple(
        Reading(
            lens_id=lens_id,
            value=distance,
            position=units_per_deg
            * (float(true_position(distance, turn_deg)) + ahead[way] * shift + rng.normal(0.0, noise_deg)),
            approach=way,
            method=method,
        )
        for way in ways
        for distance in distances_m
    )


def ring_read(
    axis: Axis, values: Sequence[float], positions: Sequence[float], lens_id: str = "L1"
) -> tuple[Reading, ...]:
    """Readings of an iris or zoom ring, one each."""
    return tuple(
        Reading(lens_id=lens_id, axis=axis, value=value, position=position)
        for value, position in zip(values, positions, strict=True)
    )


def with_slip(readings: Sequence[Reading], value: float, off: float) -> tuple[Reading, ...]:
    """The readings with every position of one distance off by so much."""
    return tuple(
        reading.model_copy(update={"position": reading.position + off}) if reading.value == value else reading
        for reading in readings
    )


def a_job(lenses: Sequence[Lens] | None = None, readings: Sequence[Reading] | None = None, **instead: object) -> Job:
    """One camera, one lens read both ways, shot at T4."""
    known: dict[str, Any] = {
        "title": "Test",
        "shooting_stop": "T4",
        "cameras": (Camera(letter="A", sensor_width_mm=24.89, sensor_height_mm=18.66, photosite_um=6.0),),
        "lenses": tuple(lenses) if lenses is not None else (a_lens(),),
        "readings": tuple(readings) if readings is not None else read_off(),
    }
    return Job.model_validate({**known, **instead})
