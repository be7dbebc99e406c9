"""Depth of field as a symmetric interval in vergence, and the blur of anything outside it.

A lens focused at u images an object at u' as a disc of diameter exactly c = m A u |1/u' - 1/u| (similar
triangles through the entrance pupil of diameter A = f/N). For unit focusing m u = f (1 + m/P). Hence the
half-width in vergence, w = c / (m A u) = c N / (f^2 (1 + m/P)), on either side of q = 1/u.
Source of the blur disc: OpenLensIO Lens Model 1.0.0, section 4.3, equation 19; D. Jacobson, Photographic Lenses
Tutorial, item 4. All distances named ``distance_m`` run from the image plane.
"""

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from tapehook.optics.pupil import FocusState, Pupil, focus_state

Floats = npt.NDArray[np.float64]

_BLOCK = 16_384
"""Elements worked on at a time: eight float64 rows of this length stay in a core's cache."""
_TINY = 1e-300


@dataclass(frozen=True, slots=True)
class Depth:
    """Depth of field of one setting or many; all arrays of the shape the inputs broadcast to.

    ``near_m`` and ``far_m`` from the image plane (far may be inf), ``half_width_dpt`` in 1/m from the entrance
    pupil, ``vergence_dpt`` of the focus itself, ``working_f_number`` as set, and the ``state`` of the lens.
    """

    near_m: Floats
    far_m: Floats
    half_width_dpt: Floats
    vergence_dpt: Floats
    working_f_number: Floats
    state: FocusState


def sharp_blur_m(coc_m: npt.ArrayLike, blur_floor_m: npt.ArrayLike = 0.0) -> Floats:
    """Blur left for defocus, sqrt(c^2 - b0^2), metres: 0 where the floor b0 at best focus already reaches c.

    Spherical aberration leaves a disc of ``blur_floor_m`` diameter at best focus; defocus adds to it in squares.
    """
    c = np.asarray(coc_m, dtype=np.float64)
    b0 = np.asarray(blur_floor_m, dtype=np.float64)
    left: Floats = np.sqrt(np.maximum((c - b0) * (c + b0), 0.0))
    return left


def half_width_dpt(
    f_number: npt.ArrayLike, focal_m: npt.ArrayLike, blur_m: npt.ArrayLike, pupil_factor: npt.ArrayLike = 1.0
) -> Floats:
    """Half-width of the depth of field in dioptres, w = N c / (f^2 (1 + m/P)).

    ``blur_m`` is the largest disc that passes (``sharp_blur_m``), ``pupil_factor`` 1 + m/P from ``focus_state``
    (1 at infinity). Any shapes that broadcast.
    """
    f = np.asarray(focal_m, dtype=np.float64)
    w: Floats = np.asarray(f_number) * np.asarray(blur_m) / (f * f * np.asarray(pupil_factor))
    return w


def half_width_as_set_dpt(
    blur_m: npt.ArrayLike, magnification_times_distance_m: npt.ArrayLike, pupil_diameter_m: npt.ArrayLike
) -> Floats:
    """Half-width in dioptres of any lens as it stands, w = c / (m u A): also for lenses that focus by inner groups.

    ``magnification_times_distance_m`` is m u (image width times u over object width) and ``pupil_diameter_m`` the
    entrance pupil as set. Any shapes that broadcast.
    """
    mu_a = np.asarray(magnification_times_distance_m, dtype=np.float64) * np.asarray(pupil_diameter_m, dtype=np.float64)
    w: Floats = np.asarray(blur_m, dtype=np.float64) / mu_a
    return w


def depth_of_field(
    distance_m: npt.ArrayLike,
    focal_m: npt.ArrayLike,
    f_number: npt.ArrayLike,
    blur_m: npt.ArrayLike,
    pupil: Pupil,
) -> Depth:
    """Depth of field of a unit-focusing lens set to ``distance_m`` from the image plane (inf allowed).

    ``focal_m``, ``f_number`` (geometric, never T), ``blur_m`` (``sharp_blur_m``) and ``pupil`` broadcast with it.
    Exact in first-order optics with pupil data; with ``thin_pupil`` it is the thin-lens form. NaN where the lens
    cannot focus that near.
    """
    state = focus_state(distance_m, focal_m, pupil)
    w = half_width_dpt(f_number, focal_m, blur_m, state.pupil_factor)
    q = 1.0 / state.pupil_distance_m
    with np.errstate(divide="ignore", invalid="ignore"):
        near = 1.0 / (q + w) + state.pupil_to_sensor_m
        far = np.where(q > w, 1.0 / (q - w) + state.pupil_to_sensor_m, np.inf)
    # A half-width of zero at infinity leaves 1/0: everything but infinity itself is then soft.
    far = np.where(np.isnan(q), np.nan, far)
    working = np.asarray(f_number, dtype=np.float64) * state.pupil_factor
    return Depth(near, far, w, q, working, state)


def depth_limits(
    distance_m: npt.ArrayLike,
    focal_m: npt.ArrayLike,
    f_number: npt.ArrayLike,
    blur_m: npt.ArrayLike,
    pupil: Pupil,
) -> tuple[Floats, Floats]:
    """Near and far limit alone, metres from the image plane, for millions of combinations at once.

    The same figures as ``depth_of_field``, worked in blocks that stay in the processor's cache, so that the
    cost is about that of moving the data. Inputs broadcast; returns two arrays of the common shape.
    """
    operands = [distance_m, focal_m, f_number, blur_m, pupil.to_sensor_m, pupil.magnification]
    arrays = [np.asarray(a, dtype=np.float64) for a in operands]
    shape = np.broadcast_shapes(*(a.shape for a in arrays))
    out_near, out_far = np.empty(shape), np.empty(shape)
    walk = np.nditer(
        [*arrays, out_near, out_far],
        flags=["external_loop", "buffered", "zerosize_ok"],
        op_flags=[["readonly"]] * 6 + [["writeonly"]] * 2,  # type: ignore[arg-type]  # stubs know one list only
        op_dtypes=[np.float64] * 8,
        buffersize=_BLOCK,
    )
    scratch = np.empty((4, _BLOCK))
    with walk, np.errstate(divide="ignore", invalid="ignore", over="ignore"):
        for d, f, n, c, e, p, near, far in walk:
            _block_limits(d, f, n, c, e, p, near, far, scratch[:, : d.size])
    return out_near, out_far


def _block_limits(
    d: Floats,
    f: Floats,
    n: Floats,
    c: Floats,
    e: Floats,
    p: Floats,
    near: Floats,
    far: Floats,
    scratch: Floats,
) -> None:
    """One block of ``depth_limits``, in place: each line is one pass over rows that are already in cache."""
    v, m, w, q = scratch
    two_f, f_over_p = near, far  # the output rows serve as scratch until the last two steps
    np.divide(f, p, out=f_over_p)
    np.subtract(d, e, out=v)
    v -= f_over_p
    np.add(f, f, out=two_f)
    np.subtract(v, two_f, out=m)
    np.add(v, two_f, out=w)
    # Held above zero: far inside life size both would be negative, and their product would pass for a real focus.
    np.maximum(w, _TINY, out=w)
    m *= w
    np.sqrt(m, out=m)  # NaN when nearer than life size, which is what should come out
    v += m
    v *= 0.5
    # v runs from the front focal point: m = f/v, 1 + m/P = u/v, so w = N c v / (f^2 u).
    np.divide(f, v, out=m)
    v += f_over_p
    np.reciprocal(v, out=q)  # vergence from the entrance pupil
    np.divide(m, p, out=w)
    w += 1.0
    w *= f
    w *= f
    np.divide(n, w, out=w)
    w *= c
    m *= f
    m += e  # pupil to image plane as set
    np.add(q, w, out=near)
    np.reciprocal(near, out=near)
    near += m
    np.subtract(q, w, out=q)
    np.reciprocal(q, out=far)
    far += m
    far[q <= 0.0] = np.inf


def hyperfocal_m(
    focal_m: npt.ArrayLike, f_number: npt.ArrayLike, blur_m: npt.ArrayLike, pupil: Pupil
) -> tuple[Floats, Floats]:
    """Nearest focus whose far limit is infinity: (from the image plane, from the entrance pupil), metres.

    q = w with w = kappa/(1 + m/P), kappa = N c/f^2, gives the object 1/kappa in front of the front focal point;
    for a thin lens that is H = f^2/(N c) + f from the lens (Wikipedia, Hyperfocal distance). inf when no blur
    is left to allow.
    """
    f = np.asarray(focal_m, dtype=np.float64)
    p = np.asarray(pupil.magnification, dtype=np.float64)
    kappa = np.asarray(f_number, dtype=np.float64) * np.asarray(blur_m, dtype=np.float64) / (f * f)
    with np.errstate(divide="ignore"):
        from_pupil: Floats = 1.0 / kappa + f / p
    return from_pupil + np.asarray(pupil.to_sensor_m) + f * f * kappa, from_pupil


def blur_diameter_m(
    object_m: npt.ArrayLike,
    focus_m: npt.ArrayLike,
    focal_m: npt.ArrayLike,
    f_number: npt.ArrayLike,
    pupil: Pupil,
    blur_floor_m: npt.ArrayLike = 0.0,
) -> Floats:
    """Diameter, metres on the sensor, of the blur of an object at ``object_m`` when the lens is set to ``focus_m``.

    Both from the image plane, inf allowed. c = m A u |1/u' - 1/u|, plus the floor in squares. NaN where the
    object sits at or behind the entrance pupil, or the lens cannot focus so near.
    """
    f = np.asarray(focal_m, dtype=np.float64)
    state = focus_state(focus_m, f, pupil)
    u_object = np.asarray(object_m, dtype=np.float64) - state.pupil_to_sensor_m
    with np.errstate(divide="ignore", invalid="ignore"):
        offset = np.abs(1.0 / np.where(u_object > 0, u_object, np.nan) - 1.0 / state.pupil_distance_m)
    defocus = f * f / np.asarray(f_number, dtype=np.float64) * state.pupil_factor * offset
    blur: Floats = np.hypot(defocus, np.asarray(blur_floor_m, dtype=np.float64))
    return blur


def breathing(distance_m: npt.ArrayLike, focal_m: npt.ArrayLike, pupil: Pupil) -> Floats:
    """Field of view relative to infinity focus (a ratio of tangents): 1/(1 + m/P); below 1 the picture is tighter."""
    scale: Floats = 1.0 / focus_state(distance_m, focal_m, pupil).pupil_factor
    return scale
