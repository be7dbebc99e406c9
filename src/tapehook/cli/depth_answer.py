"""What ``tapehook depth`` answers: the typed texts read, the depth computed, every assumption said."""

import math
from collections.abc import Callable
from typing import Any, TypeVar

import click
import numpy as np

from tapehook.notation import (
    NotationError,
    Stop,
    format_distance,
    format_stop,
    parse_distance,
    parse_focal_length,
    parse_length,
    parse_number,
    parse_share,
    parse_signed_length,
    parse_stop,
)
from tapehook.optics import (
    ASSUMED_TRANSMISSION,
    Pupil,
    depth_of_field,
    depth_uncertainty,
    f_number_from_t,
    hyperfocal_m,
    nearest_possible_m,
    sharp_blur_m,
    thin_pupil,
)
from tapehook.optics.sharpness import CINE_35_COC_M

Parsed = TypeVar("Parsed")


def depth_answer(**typed: str | None) -> dict[str, Any]:
    """The JSON object of ``tapehook depth`` for the texts as typed.

    Raises click.UsageError that lists everything that could not be read.
    """
    read = _Reader(typed)
    focal_m = read("focal", _one_focal_length)
    distance_m = read("distance", parse_distance)
    stop = read("stop", parse_stop)
    override = read("f_number", _positive)
    transmission = read("transmission", parse_share)
    coc_m = read("coc", lambda text: parse_length(text, bare_unit="mm"))
    pupil_m = read("pupil_to_sensor", lambda text: parse_signed_length(text, bare_unit="mm"))
    pupil_p = read("pupil_magnification", _positive)
    floor_m = read("blur_floor", lambda text: parse_length(text, bare_unit="mm"))
    read.need((stop is None and override is None and "stop" not in read.failed), "give --stop or --f-number")
    read.need((pupil_m is None) != (pupil_p is None), "--pupil-to-sensor and --pupil-magnification go together")
    read.finish()
    assert focal_m is not None  # noqa: S101 - finish() has refused what is missing
    assert distance_m is not None  # noqa: S101
    assumptions: list[str] = []
    f_number, t_over_n = _f_number(stop, override, transmission, assumptions)
    pupil_known = pupil_m is not None
    pupil = Pupil(pupil_m, pupil_p) if pupil_m is not None and pupil_p is not None else thin_pupil(focal_m)
    assumptions += _said(pupil_known=pupil_known, coc_m=coc_m, floor_m=floor_m)
    blur_m = float(sharp_blur_m(coc_m or CINE_35_COC_M, floor_m or 0.0))
    nearest = float(nearest_possible_m(focal_m, pupil))
    if not distance_m >= nearest:
        raise click.UsageError(
            f"--distance: {typed['distance']!r} is nearer than this lens can focus at all; "
            f"expected at least {format_distance(max(nearest, 1e-3), 'metric', exact=True)} from the image plane"
        )
    depth = depth_of_field(distance_m, focal_m, f_number, blur_m, pupil)
    spread = depth_uncertainty(distance_m, focal_m, pupil_known=pupil_known, t_over_n=t_over_n)
    if not np.isfinite(spread):
        assumptions.append(
            "This near, a wide lens may have its entrance pupil beside the subject: do not trust the depth."
        )
    return {
        "focal_mm": focal_m * 1e3,
        "stop": stop.label if stop is not None and override is None else f"f/{f_number:.4g}",
        "distance_m": _finite(distance_m),
        "near_m": _finite(float(depth.near_m)),
        "far_m": _finite(float(depth.far_m)),
        "total_m": _finite(float(depth.far_m) - float(depth.near_m)),
        "hyperfocal_m": _finite(float(hyperfocal_m(focal_m, f_number, blur_m, pupil)[0])),
        "half_width_dpt": float(depth.half_width_dpt),
        "vergence_dpt": float(depth.vergence_dpt),
        "f_number": f_number,
        "working_f_number": float(depth.working_f_number),
        "magnification": float(depth.state.magnification),
        "coc_mm": (coc_m or CINE_35_COC_M) * 1e3,
        "blur_floor_mm": (floor_m or 0.0) * 1e3,
        "pupil_known": pupil_known,
        "uncertainty_percent": _finite(100.0 * float(spread)),
        "assumptions": assumptions,
    }


class _Reader:
    """Reads typed texts and gathers everything that is wrong with them."""

    def __init__(self, typed: dict[str, str | None]) -> None:
        self._typed = typed
        self._problems: list[str] = []
        self.failed: set[str] = set()

    def __call__(self, name: str, parse: Callable[[str], Parsed]) -> Parsed | None:
        """The parsed text of one option; None when it was not given or cannot be read."""
        text = self._typed.get(name)
        if text is None:
            return None
        try:
            return parse(text)
        except NotationError as error:
            self.failed.add(name)
            self._problems.append(f"--{name.replace('_', '-')}: {error}")
            return None

    def need(self, broken: bool, sentence: str) -> None:  # noqa: FBT001 - reads as a condition
        """Add ``sentence`` to what is wrong when ``broken``."""
        if broken:
            self._problems.append(sentence)

    def finish(self) -> None:
        """Raise one click.UsageError with all that is wrong."""
        from tapehook.cli.console import plain

        if self._problems:
            raise click.UsageError("\n  ".join(plain(problem) for problem in self._problems))


def _one_focal_length(text: str) -> float:
    focal = parse_focal_length(text)
    if focal.short_m != focal.long_m:
        raise NotationError(text, "one focal length, as depth holds for one setting of a zoom", ())
    return focal.long_m


def _positive(text: str) -> float:
    number = parse_number(text)
    if not 1e-3 <= number <= 1e4:
        raise NotationError(text, "a number from 0.001 to 10000", ())
    return number


def _f_number(
    stop: Stop | None, override: float | None, transmission: float | None, said: list[str]
) -> tuple[float, float]:
    """f-number that depth follows, and T/N where the transmission had to be assumed (else 1)."""
    if override is not None or stop is None:
        return override or math.nan, 1.0
    if stop.scale == "f":
        return stop.number, 1.0
    if stop.scale is None:
        said.append(f"{stop.label} is taken as a T-stop; write f/{stop.label} for an f-number.")
    if abs(stop.exact / stop.number - 1.0) > 5e-3:
        said.append(f"{format_stop(stop.number)} is taken as {stop.number:g}; the exact stop is {stop.exact:.4g}.")
    if transmission is not None:
        return float(f_number_from_t(stop.number, transmission)), 1.0
    said.append(
        f"Transmission not given: {ASSUMED_TRANSMISSION * 100:.0f} % assumed, "
        f"so N = {math.sqrt(ASSUMED_TRANSMISSION):.3f} T."
    )
    return float(f_number_from_t(stop.number, ASSUMED_TRANSMISSION)), 1.0 / math.sqrt(ASSUMED_TRANSMISSION)


def _said(*, pupil_known: bool, coc_m: float | None, floor_m: float | None) -> list[str]:
    said = []
    if pupil_known:
        said.append("The lens is taken to focus by moving as a whole.")
    else:
        said.append("No pupil data: the lens is taken to be thin; one chart of known width would settle it.")
    if coc_m is None:
        said.append("No circle of confusion given: 0.025 mm, usual for 35 mm cine, is taken.")
    if floor_m is None:
        said.append("No blur floor given: the lens is taken to be sharp at best focus.")
    return said


def _finite(value: float) -> float | None:
    return value if math.isfinite(value) else None
