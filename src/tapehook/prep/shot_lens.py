"""The lens of a shot: its focal length over time, what is added to it, and what is taken for granted of both."""

from collections.abc import Iterator

import numpy as np
import numpy.typing as npt

from tapehook.job.shots import Shot
from tapehook.lens import LensMap
from tapehook.notation import FocalRange, format_distance, format_focal_length
from tapehook.optics import thin_pupil
from tapehook.optics.extender import Extender
from tapehook.optics.fittings import Fittings
from tapehook.prep.basis import Optics
from tapehook.prep.extender import extender_of
from tapehook.prep.results import LensPrep
from tapehook.prep.shot_ring import Ring

Floats = npt.NDArray[np.float64]

FRONT_BEFORE_PUPIL_M = 0.05
"""A close-up lens nobody measured is taken to stand so far in front of the entrance pupil."""
LEAST_ROOM_M = 0.01
"""Nearer before the glass than this nobody stands."""
NOMINAL = 0.02
"""By how much of it the focal length of a prime may differ from what is engraved."""


class NoPlan(ValueError):
    """A shot that cannot be planned: the key of its file, what was read there, and what was expected."""

    def __init__(self, field_name: str, read: str | None, expected: str) -> None:
        super().__init__(expected)
        self.field, self.read, self.expected = field_name, read, expected


def extender_on(entry: LensPrep, shot: Shot) -> Extender | None:
    """The extender that the lens of the shot stands on. Raises NoPlan where it has none, or a tube besides."""
    if not shot.extender_on:
        return None
    extender = extender_of(entry.lens)
    if extender is None:
        raise NoPlan("extender_on", "true", "a lens for which lenses.csv names an extender")
    if shot.tube_mm is not None:
        raise NoPlan(
            "tube_mm", f"{shot.tube_mm:g}", "no tube beside the extender: which stands before which changes all"
        )
    return extender


def fitted(entry: LensPrep, lens_map: LensMap, optics: Optics, shot: Shot, time: Floats) -> Ring:
    """The ring of the shot's lens over the moments (K,). Raises NoPlan for focal lengths that the lens has not."""
    focal: Floats = np.asarray(optics.focal_m, dtype=np.float64)
    pupil = optics.pupil
    if shot.focal_path:
        _within_range(entry, shot)
        at, values = [one.at_s for one in shot.focal_path], [one.focal_mm / 1e3 for one in shot.focal_path]
        focal = np.interp(time, at, values)
        if entry.lens.kind == "zoom":
            pupil = thin_pupil(focal)
    extender = extender_on(entry, shot)
    behind_m = 0.0 if extender is None else extender.length_m
    front_m = 0.0
    if shot.close_up_dpt is not None:
        stands_m = float(np.max(np.asarray(pupil.to_sensor_m)))
        front_m = shot.front_mm / 1e3 - behind_m if shot.front_mm is not None else stands_m + FRONT_BEFORE_PUPIL_M
        if shot.front_mm is not None and front_m <= stands_m:
            least = f"more than {1e3 * (stands_m + behind_m):.0f}, the entrance pupil's place"
            raise NoPlan("front_mm", f"{shot.front_mm:g}", least)
    fittings = Fittings(focal, pupil, shot.close_up_dpt or 0.0, front_m, (shot.tube_mm or 0.0) / 1e3, behind_m)
    ring = Ring(lens_map, focal, pupil, optics.blur_m, fittings, 1.0 / shot.frames_per_second)
    _in_front(ring, shot)
    return ring


def _in_front(ring: Ring, shot: Shot) -> None:
    """Raises NoPlan where the lens as it is fitted is sharp at nothing that stands before it."""
    ends = np.concatenate([np.atleast_1d(end) for end in ring.reach])
    least_m = max(ring.fittings.front_m, float(np.max(np.asarray(ring.pupil.to_sensor_m))))
    if not np.all(ends > least_m + LEAST_ROOM_M):
        field = "tube_mm" if shot.tube_mm is not None else "front_mm" if shot.close_up_dpt is not None else "lens"
        read = {"tube_mm": shot.tube_mm, "front_mm": shot.front_mm}.get(field)
        expected = "so little that all the ring can set lies in front of the lens and what is on it"
        raise NoPlan(field, None if read is None else f"{read:g}", expected)


def _within_range(entry: LensPrep, shot: Shot) -> None:
    long_mm = entry.lens.focal_mm or 0.0
    wide_mm = entry.lens.focal_min_mm or long_mm
    slack = 1e-9 if entry.lens.kind == "zoom" else NOMINAL
    for at, point in enumerate(shot.focal_path, start=1):
        if not wide_mm * (1.0 - slack) <= point.focal_mm <= long_mm * (1.0 + slack):
            expected = f"from {wide_mm:g} to {long_mm:g}: the lens has no other focal length"
            raise NoPlan(f"focal_path[{at}].focal_mm", f"{point.focal_mm:g}", expected)


def said_of_lens(entry: LensPrep, shot: Shot, ring: Ring) -> Iterator[str]:
    """What is taken for granted of the lens and how it is used, a sentence each."""
    if shot.focal_path and entry.lens.kind == "zoom":
        yield (
            "The focus scale is taken to stay true while the zoom turns, and the lens to be thin at each focal length: "
            "check both on charts at both ends."
        )
    elif entry.lens.kind == "zoom":
        yield "Depth is that at the long end of the zoom, where it is least: give focal_path for another."
    if shot.close_up_dpt is not None:
        place = "as given" if shot.front_mm is not None else "assumed, as nobody measured it"
        far = format_distance(ring.reach_m[1], entry.system)
        stands_m = ring.fittings.front_m + ring.fittings.behind_m
        yield (
            f"The close-up lens of {shot.close_up_dpt:g} dioptres stands {1e3 * stands_m:.0f} mm from the "
            f"image plane, {place}; with it nothing beyond {far} can be in focus."
        )
    extender = extender_on(entry, shot)
    if extender is not None:
        yield _extender_words(entry, extender)
    if shot.tube_mm is not None:
        far = format_distance(ring.reach_m[1], entry.system)
        yield (
            f"The tube of {shot.tube_mm:g} mm is worked out as for a lens that focuses by moving as a whole; with it "
            f"nothing beyond {far} can be in focus, and light is lost: meter through the lens."
        )
    if shot.squeeze != 1.0:
        yield (
            f"Squeeze {shot.squeeze:g}: the focal length is that of the height, the width takes in {shot.squeeze:g} "
            "times as much, and depth is that of the height, where it is least in the picture as it is shown."
        )
    yield from _rates(shot)


def _extender_words(entry: LensPrep, extender: Extender) -> str:
    focal = ""
    if entry.lens.focal_mm:
        long_m = float(extender.focal_m(entry.lens.focal_mm / 1e3))
        focal = f"{format_focal_length(FocalRange(long_m, long_m))}, "
    length = f"{1e3 * extender.length_m:.0f} mm" if entry.lens.extender_length_mm else "its length, which nobody gave,"
    return (
        f"On its {extender.factor:g}x extender it is {focal}and stops are said as they work; its own scale counts from "
        f"{length} nearer the subject than the sensor, strips made for the extender from the sensor."
    )


def _rates(shot: Shot) -> Iterator[str]:
    rate = shot.frames_per_second
    if shot.shown_at_fps is not None and shot.shown_at_fps != rate:
        yield (
            f"Off speed: {rate:g} frames a second, shown at {shot.shown_at_fps:g}. The times here are those on set; on "
            f"the screen all lasts {rate / shot.shown_at_fps:.3g} times as long, what is soft too."
        )
    if shot.shutter_deg is not None:
        open_s = shot.shutter_deg / 360.0 / rate
        yield f"Shutter {shot.shutter_deg:g}°: each frame gathers {1e3 * open_s:.1f} ms, in which the pull goes on."
