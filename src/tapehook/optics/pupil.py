"""Where a lens stands when it is focused: magnification, extension and the place of its entrance pupil.

Everything here is first-order (paraxial) optics of a lens that focuses by moving as a whole ("unit focusing").
Symbols in the formulas: f focal length, e entrance pupil to image plane at infinity focus (positive: in front
of the image plane), P pupil magnification (exit over entrance pupil diameter), D object to image plane,
u object to entrance pupil, m magnification (positive), v object to front focal point.
"""

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

Floats = npt.NDArray[np.float64]


@dataclass(frozen=True, slots=True)
class Pupil:
    """Pupil data of a lens at infinity focus.

    ``to_sensor_m`` is the entrance pupil to the image plane, positive towards the object; ``magnification`` is
    exit pupil diameter over entrance pupil diameter. Scalars or arrays that broadcast with the distances.
    """

    to_sensor_m: npt.ArrayLike
    magnification: npt.ArrayLike


@dataclass(frozen=True, slots=True)
class FocusState:
    """A lens as set: all arrays of the shape the inputs broadcast to.

    ``magnification`` m (0 at infinity), ``extension_m`` f m, ``pupil_distance_m`` u, ``pupil_to_sensor_m`` as
    set now, ``pupil_factor`` 1 + m/P: the one factor behind depth, breathing and the working f-number.
    """

    magnification: Floats
    extension_m: Floats
    pupil_distance_m: Floats
    pupil_to_sensor_m: Floats
    pupil_factor: Floats


def thin_pupil(focal_m: npt.ArrayLike) -> Pupil:
    """The pupil of a thin lens of ``focal_m`` metres: in the lens itself, neither enlarged nor reduced.

    With it every formula of this package becomes the thin-lens one, for example
    u = (D + sqrt(D^2 - 4 f D))/2 (D. Jacobson, Photographic Lenses Tutorial, item 4).
    """
    return Pupil(to_sensor_m=focal_m, magnification=1.0)


def focus_state(distance_m: npt.ArrayLike, focal_m: npt.ArrayLike, pupil: Pupil) -> FocusState:
    """Solve a unit-focusing lens for an object at ``distance_m`` from the image plane (inf allowed).

    D = f/m + f/P + e + f m, so with v = f/m:  v + f^2/v = D - e - f/P, of which the larger root is taken.
    NaN where the distance is nearer than the lens can focus at all (D - e - f/P < 2 f).
    Source: conjugate equation with pupils, D. Jacobson, Photographic Lenses Tutorial, item 4.
    """
    f = np.asarray(focal_m, dtype=np.float64)
    p = np.asarray(pupil.magnification, dtype=np.float64)
    e = np.asarray(pupil.to_sensor_m, dtype=np.float64)
    with np.errstate(invalid="ignore", over="ignore"):
        s = np.asarray(distance_m, dtype=np.float64) - e - f / p
        # (s-2f)(s+2f) instead of s^2-4f^2 keeps the digits when s is near 2f, that is near 1:1.
        v = 0.5 * (s + np.sqrt((s - 2.0 * f) * (s + 2.0 * f)))
        v = np.where(s >= 2.0 * f, v, np.nan)
        m = f / v
    return FocusState(
        magnification=m,
        extension_m=f * m,
        pupil_distance_m=v + f / p,
        pupil_to_sensor_m=e + f * m,
        pupil_factor=1.0 + m / p,
    )


def nearest_possible_m(focal_m: npt.ArrayLike, pupil: Pupil) -> Floats:
    """Nearest object distance from the image plane, metres, at which any focus exists: life size, m = 1."""
    f = np.asarray(focal_m, dtype=np.float64)
    nearest: Floats = np.asarray(pupil.to_sensor_m) + f / np.asarray(pupil.magnification) + 2.0 * f
    return nearest


def pupil_from_chart(
    focal_m: npt.ArrayLike,
    distance_m: npt.ArrayLike,
    chart_width_m: npt.ArrayLike,
    image_width_m: npt.ArrayLike,
    pupil_magnification: npt.ArrayLike = 1.0,
) -> tuple[Floats, Pupil]:
    """Magnification and pupil place from one chart of known width, in focus, at one taped distance.

    ``chart_width_m`` is imaged ``image_width_m`` wide (part of the frame it fills times the image width);
    ``distance_m`` from the image plane. m = image width / chart width, and D = f/m + f/P + e + f m gives e.
    Returns (m, pupil). ``pupil_magnification`` cannot be seen on one chart: 1 is an assumption, which moves
    the split between u and e by f (1/P - 1) and makes the depth (1 + m)/(1 + m/P) times its width: nothing far out,
    but 8 % too wide at m = 0.1 when P is 7. Keep the chart near the middle of the picture: distortion changes m.
    Raises ValueError for widths, distances or focal lengths that are not positive.
    """
    f = np.asarray(focal_m, dtype=np.float64)
    d = np.asarray(distance_m, dtype=np.float64)
    chart = np.asarray(chart_width_m, dtype=np.float64)
    image = np.asarray(image_width_m, dtype=np.float64)
    for name, value in (
        ("focal_m", f),
        ("distance_m", d),
        ("chart_width_m", chart),
        ("image_width_m", image),
    ):
        if not np.all(value > 0) or not np.all(np.isfinite(value)):
            raise ValueError(f"{name} must be positive and finite, got {value}")
    m: Floats = image / chart
    p = np.asarray(pupil_magnification, dtype=np.float64)
    return m, Pupil(to_sensor_m=d - f / m - f / p - f * m, magnification=p)
