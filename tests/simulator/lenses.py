"""Lenses whose truth is known: drawn at random, so that every method can be judged by how near it comes.

Our own ranges, all invented (no lens stands for a product): focal lengths of ``FOCALS_MM``, widest stops T1.3 to T2.8,
transmission 0.75 to 0.92, rotation of the ring 90 to 330 degrees, either direction, zero anywhere; cams straight,
log-like, S-shaped or free and smooth, each with a small bend; a gear ripple of up to 0.06 degrees; play 0 to 0.8
degrees, reading noise 0.05 to 0.30 degrees (one standard deviation), engraving 0.02 to 0.10 degrees; read-outs in
degrees, counts or per cent of travel.

Optics: q = 1/x with x the distance from the front focal point, D = datum + 1/q; infinity is q = 0. The half-width of
the depth of field is w = N c/f^2, c = 0.025 mm.
"""

from dataclasses import dataclass, replace
from typing import Any, Literal

import numpy as np
import numpy.typing as npt
from scipy.interpolate import CubicSpline

Floats = npt.NDArray[np.float64]
Cam = Literal["straight", "log", "s", "free"]

FOCALS_MM = (14, 16, 18, 21, 24, 27, 29, 32, 35, 40, 47, 50, 58, 65, 75, 85, 90, 100, 120, 135, 150, 180, 200)
WIDEST_T = (1.3, 1.5, 1.8, 2.0, 2.3, 2.8)
COC_M = 0.025e-3

_GRID = np.linspace(0.0, 1.3, 521)
"""Parts of the vergence range a free cam is tabulated at; a little past close focus, for what is set too near."""


@dataclass(frozen=True)
class TrueLens:
    """One lens as nature knows it. Signs: positive flange, the sensor lies too far behind the lens."""

    focal_m: float
    t_stop: float
    transmission: float
    datum_m: float
    near_m: float
    toward_near: int
    index_deg: float
    rotation_deg: float
    past_infinity_deg: float
    cam: Cam
    cam_shape: tuple[float, ...]
    bend: tuple[float, ...]
    ripple_deg: float
    ripple_period_deg: float
    ripple_phase: float
    play_deg: float
    noise_deg: float
    engraving_deg: float
    unit: Literal["deg", "count", "percent"]
    units_per_turn: float
    step: float
    flange_um: float = 0.0
    tape_datum_m: float = 0.0
    scale_slope: float = 0.0

    @property
    def focal_mm(self) -> float:
        """Focal length in millimetres."""
        return self.focal_m * 1e3

    @property
    def near_dpt(self) -> float:
        """Vergence of close focus at the front focal point."""
        return 1.0 / (self.near_m - self.datum_m)

    @property
    def units_per_deg(self) -> float:
        """Read-out units for one degree of ring."""
        return self.units_per_turn / 360.0

    def vergence(self, distance_m: npt.ArrayLike) -> Floats:
        """Dioptres at the front focal point for distances from the image plane; 0 at infinity."""
        q: Floats = 1.0 / (np.asarray(distance_m, dtype=np.float64) - self.datum_m)
        return q

    def distance_m(self, vergence_dpt: npt.ArrayLike) -> Floats:
        """Distance from the image plane for a vergence; inf at and past infinity."""
        q = np.asarray(vergence_dpt, dtype=np.float64)
        d: Floats = np.where(q > 0, self.datum_m + 1.0 / np.where(q > 0, q, 1.0), np.inf)
        return d

    def turn_deg(self, vergence_dpt: npt.ArrayLike) -> Floats:
        """True angle of the ring at a vergence, degrees, as the read-out counts it, at the centre of the play."""
        part = np.asarray(vergence_dpt, dtype=np.float64) / self.near_dpt
        shape = _cam(self.cam, self.cam_shape, part)
        for k, height in enumerate(self.bend, start=1):
            shape = shape + height * np.sin(k * np.pi * part)
        turned = self.rotation_deg * shape
        ripple = self.ripple_deg * np.sin(2 * np.pi * turned / self.ripple_period_deg + self.ripple_phase)
        angle: Floats = self.index_deg + self.toward_near * (turned + ripple)
        return angle

    def position(self, distance_m: npt.ArrayLike) -> Floats:
        """True position in the read-out's unit, at the centre of the play."""
        at: Floats = self.turn_deg(self.vergence(distance_m)) * self.units_per_deg
        return at

    def slope_deg_per_dpt(self, distance_m: npt.ArrayLike) -> Floats:
        """Change of the angle per dioptre, signed, degrees."""
        q, step = self.vergence(distance_m), 1e-5 * self.near_dpt
        slope: Floats = (self.turn_deg(q + step) - self.turn_deg(q - step)) / (2 * step)
        return slope

    def half_width_dpt(self, t_number: float) -> float:
        """Half-width of the depth of field at a T-stop, dioptres."""
        return t_number * float(np.sqrt(self.transmission)) * COC_M / self.focal_m**2


def _cam(kind: Cam, shape: tuple[float, ...], part: Floats) -> Floats:
    """Part of the rotation at a part of the vergence range: 0 at infinity, 1 at close focus, rising."""
    if kind == "log":
        (steep,) = shape
        return np.asarray(np.log1p(steep * np.maximum(part, -0.1)) / np.log1p(steep))
    if kind == "s":
        (amount,) = shape
        return np.asarray(part + 2.0 * amount * part * (1.0 - part) * (part - 0.5))
    if kind == "free":
        knots = CubicSpline(np.linspace(0.0, 1.0, len(shape)), shape)
        rate = np.exp(knots(np.minimum(_GRID, 1.0)))
        total = np.concatenate([[0.0], np.cumsum((rate[1:] + rate[:-1]) / 2.0)])
        total /= np.interp(1.0, _GRID, total)
        start = rate[0] * (total[1] - total[0]) / (rate[1] + rate[0]) * 2.0 / (_GRID[1] - _GRID[0])
        smooth = CubicSpline(_GRID, total)
        return np.asarray(np.where(part < 0, part * start, smooth(np.maximum(part, 0.0))))
    return np.asarray(part)


def _cam_shape(rng: np.random.Generator, kind: Cam) -> tuple[float, ...]:
    if kind == "log":
        return (float(rng.uniform(1.0, 5.0)),)
    if kind == "s":
        return (float(rng.uniform(-0.5, 0.5)),)
    if kind == "free":
        return (0.0, *rng.normal(0.0, 0.35, 3).tolist())
    return ()


def draw_lens(rng: np.random.Generator, *, low_mm: float = 14, high_mm: float = 200, **fixed: Any) -> TrueLens:  # noqa: ANN401 - any field
    """A lens at random, focal length within the limits; ``fixed`` sets fields by name. Its ring turns one way."""
    while True:
        lens = _draw(rng, low_mm, high_mm, fixed)
        turned = lens.turn_deg(np.linspace(0.0, 1.0, 400) * lens.near_dpt) * lens.toward_near
        if np.all(np.diff(turned) > 0):
            return lens


def _draw(rng: np.random.Generator, low_mm: float, high_mm: float, fixed: dict[str, Any]) -> TrueLens:
    focal_m = float(rng.choice([f for f in FOCALS_MM if low_mm <= f <= high_mm])) * 1e-3
    near_m = focal_m * rng.uniform(9, 14) if focal_m > 0.045 else rng.uniform(0.28, 0.6)
    unit: Literal["deg", "count", "percent"] = rng.choice(["deg", "count", "percent"], p=[0.5, 0.3, 0.2])
    per_turn = {
        "deg": 360.0,
        "count": float(rng.choice([32768.0, 65536.0, 72000.0])),
        "percent": float(rng.uniform(100.0, 130.0)),
    }[unit]
    kind: Cam = rng.choice(["straight", "log", "s", "free"])
    known: dict[str, Any] = {
        "focal_m": focal_m,
        "t_stop": float(rng.choice(WIDEST_T)),
        "transmission": float(rng.uniform(0.75, 0.92)),
        "datum_m": float(min(focal_m + rng.uniform(0.04, 0.14), 0.45 * near_m)),
        "near_m": float(near_m),
        "toward_near": int(rng.choice([-1, 1])),
        "index_deg": float(rng.uniform(-60.0, 360.0)),
        "rotation_deg": float(rng.uniform(90.0, 330.0)),
        "past_infinity_deg": float(rng.uniform(1.0, 5.0)),
        "cam": kind,
        "cam_shape": _cam_shape(rng, kind),
        "bend": tuple(rng.normal(0.0, 0.003, 3).tolist()),
        "ripple_deg": float(rng.uniform(0.0, 0.06)),
        "ripple_period_deg": float(rng.uniform(90.0, 360.0)),
        "ripple_phase": float(rng.uniform(0.0, 2 * np.pi)),
        "play_deg": float(rng.uniform(0.0, 0.8)),
        "noise_deg": float(rng.uniform(0.05, 0.30)),
        "engraving_deg": float(rng.uniform(0.02, 0.10)),
        "unit": unit,
        "units_per_turn": per_turn,
        "step": {"deg": float(rng.choice([0.1, 0.2])), "count": 1.0, "percent": 0.1}[unit],
    }
    return TrueLens(**(known | fixed))


def draw_twin(rng: np.random.Generator, lens: TrueLens) -> TrueLens:
    """Another copy of the model: index (sd 3 degrees), scale (0.4 %), a shim (8 um), cam (0.08 % of the rotation)."""
    shim_dpt = rng.normal(0.0, 8e-6) / lens.focal_m**2
    # A shim moves the focus at every ring position by the same vergence, so the scale shifts along the cam: to first
    # order that is the cam's slope times the shift, taken here at the middle of the range.
    middle = lens.distance_m(0.5 * lens.near_dpt)
    shifted = float(lens.slope_deg_per_dpt(middle)) * shim_dpt
    return replace(
        lens,
        index_deg=lens.index_deg + rng.normal(0.0, 3.0) + shifted,
        rotation_deg=lens.rotation_deg * (1.0 + rng.normal(0.0, 0.004)),
        bend=tuple((np.asarray(lens.bend) + rng.normal(0.0, 0.0008, len(lens.bend))).tolist()),
        ripple_phase=float(rng.uniform(0.0, 2 * np.pi)),
        play_deg=float(rng.uniform(0.0, 0.8)),
        noise_deg=float(rng.uniform(0.05, 0.30)),
    )
