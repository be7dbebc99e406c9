"""What ``tapehook depth`` answers: the typed texts read, the depth computed, every assumption said."""

import math
from collections.abc import Callable, Mapping
from dataclasses import dataclass, field
from typing import Any, TypeVar

import numpy as np

from tapehook.cli import depth_through
from tapehook.cli.refusals import OptionProblem, Refusal
from tapehook.lens.taping import taping_sd_m
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
    ChartPupil,
    Pupil,
    depth_of_field,
    depth_uncertainty,
    f_number_from_t,
    hyperfocal_m,
    magnification_sd,
    nearest_possible_m,
    pupil_from_charts,
    sharp_blur_m,
    thin_pupil,
    width_uncertainty,
)
from tapehook.optics.sharpness import CINE_35_COC_M
from tapehook.optics.through import Through
from tapehook.shot.forgiveness import LEAN_M, MISSED_MARK_M, SWAY_M, Spreads, chance_of_body

Parsed = TypeVar("Parsed")


@dataclass(frozen=True, slots=True)
class Asked:
    """What was asked, in SI units; None where nothing was said. One of ``stop`` and ``f_number`` is there."""

    focal_m: float
    distance_m: float
    stop: Stop | None
    f_number: float | None
    transmission: float | None
    coc_m: float | None
    pupil: Pupil | None
    chart: ChartPupil | None
    floor_m: float | None
    missed_mark_m: float | None = None
    lean_m: float | None = None
    sway_m: float | None = None
    through: Through = field(default_factory=Through)

    @property
    def scale_m(self) -> float:
        """What the scale must say: the distance itself, but for an extender or a port."""
        return float(self.through.scale_m(self.distance_m))

    @property
    def lens_pupil(self) -> Pupil:
        """The pupil typed, else that of the chart, else a thin lens's."""
        return self.pupil or (self.chart.pupil if self.chart else thin_pupil(self.focal_m))


def depth_answer(**typed: str | None) -> dict[str, Any]:
    """The JSON object of ``tapehook depth`` for the texts as typed, by option.

    Raises Refusal with everything that could not be read or does not go together.
    """
    asked = asked_of(typed)
    said: list[str] = []
    f_number, t_over_n = used_f_number(asked, said)
    coc_m = asked.coc_m or CINE_35_COC_M
    pupil, through, scale_m = asked.lens_pupil, asked.through, asked.scale_m
    blur_m = float(sharp_blur_m(through.blur_m(coc_m), asked.floor_m or 0.0))
    said += [*assumed(asked, no_depth=blur_m == 0.0), *depth_through.assumed(through, typed)]
    depth = depth_of_field(scale_m, asked.focal_m, f_number, blur_m, pupil)
    near_m, far_m = (float(through.subject_m(limit)) for limit in (depth.near_m, depth.far_m))
    spread = float(depth_uncertainty(scale_m, asked.focal_m, pupil_known=asked.pupil is not None))
    if asked.chart:
        spread = min(spread, float(width_uncertainty(asked.chart, scale_m)))
    spread += t_over_n - 1.0
    if not np.isfinite(spread):
        said.append("This near, a wide lens may have its entrance pupil beside the subject: do not trust the depth.")
    spreads = _spreads(asked)
    answer = {
        "focal_mm": asked.focal_m * 1e3,
        "stop": as_used(asked.stop) if asked.stop and asked.f_number is None else f"f/{f_number:.4g}",
        "distance_m": _finite(asked.distance_m),
        "near_m": _finite(near_m),
        "far_m": _finite(far_m),
        "total_m": _finite(far_m - near_m if blur_m else 0.0),
        "hyperfocal_m": _finite(_hyperfocal_m(asked, f_number, blur_m)),
        "nearer_m": _finite(max(asked.distance_m - near_m, 0.0)) if blur_m else 0.0,
        "farther_m": _finite(max(far_m - asked.distance_m, 0.0)) if blur_m else 0.0,
        "chance_sharp": chance_of_body(
            float(depth.state.pupil_distance_m),
            float(depth.half_width_dpt) if blur_m else 0.0,
            spreads.times(float(through.stray(asked.distance_m))),
        ),
        "strays_m": spreads.together_m,
        "half_width_dpt": float(depth.half_width_dpt),
        "vergence_dpt": float(depth.vergence_dpt),
        "f_number": f_number,
        "working_f_number": float(depth.working_f_number) * through.factor,
        "magnification": float(depth.state.magnification) * through.factor * _size(asked),
        "coc_mm": coc_m * 1e3,
        "blur_floor_mm": (asked.floor_m or 0.0) * 1e3,
        "pupil_known": pupil is asked.pupil or asked.chart is not None,
        "uncertainty_percent": _finite(100.0 * spread),
    }
    stop = asked.stop if asked.f_number is None else None
    set_to = ("T", stop.number) if stop and stop.scale != "f" else ("f", f_number)
    shown = depth_through.as_json(through, asked.focal_m, set_to, asked.distance_m)
    return {**answer, **shown, "assumptions": said}


def _size(asked: Asked) -> float:
    """How many times larger than the subject the port shows it."""
    port = asked.through.port
    return 1.0 if port is None else float(port.size(asked.distance_m))


def _hyperfocal_m(asked: Asked, f_number: float, blur_m: float) -> float:
    """The nearest distance at which infinity is still sharp; before a dome, at which that is which it shows there."""
    pupil, farthest_m = asked.lens_pupil, asked.through.farthest_m
    if math.isinf(farthest_m):
        return float(asked.through.subject_m(float(hyperfocal_m(asked.focal_m, f_number, blur_m, pupil)[0])))
    near, far = float(nearest_possible_m(asked.focal_m, pupil)), farthest_m
    for _ in range(60):
        middle = (near + far) / 2.0
        reaches = float(depth_of_field(middle, asked.focal_m, f_number, blur_m, pupil).far_m) >= farthest_m
        near, far = (near, middle) if reaches else (middle, far)
    return float(asked.through.subject_m(far))


def asked_of(typed: Mapping[str, str | None], at: str = "distance") -> Asked:
    """Read all options; ``at`` is the one that gives the distance. Raises Refusal."""
    read = _Reader(typed)
    focal_m = read.needed("focal", _one_focal_length, "a focal length such as 50mm")
    distance_m = read.needed(at, parse_distance, "a distance such as 7', 1.68 m or inf")
    stop = read("stop", parse_stop)
    f_number = read("f_number", _positive)
    if not typed.get("stop") and not typed.get("f_number"):
        expected = "a stop such as T2, or --f-number"
        read.refuse("--stop", None, expected, f"not given, expected {expected}")
    transmission = read("transmission", parse_share)
    read("units", _system)
    coc_m, floor_m = read("coc", _blur), read("blur_floor", _blur)
    missed_m, lean_m, sway_m = (read(name, _stray) for name in ("missed_mark", "lean", "sway"))
    pupil = _pupil(read, typed)
    chart = _chart(read, typed, focal_m, pupil)
    through = depth_through.through_of(read, typed)
    scale_m = None if distance_m is None else float(through.scale_m(distance_m))
    known = pupil or (chart.pupil if chart else None)
    if known is not None and through.behind_pupil(known):
        place_m = float(np.asarray(known.to_sensor_m)) + through.length_m
        read.refuse(
            "--port-front", typed["port_front"], f"more than {1e3 * place_m:.0f} mm, the entrance pupil's place"
        )
    elif scale_m is not None and math.isnan(scale_m):
        read.refuse(f"--{at}", typed[at], "a subject in front of the port, from the image plane")
    elif focal_m is not None and scale_m is not None and not read.failed & {"pupil_to_sensor", "pupil_magnification"}:
        nearest_m = float(nearest_possible_m(focal_m, pupil or (chart.pupil if chart else thin_pupil(focal_m))))
        if scale_m < nearest_m:
            least = format_distance(
                math.ceil((nearest_m + through.length_m) * 1e3) / 1e3, "metric", exact=True
            )  # never less
            expected = f"at least {least} from the image plane, the nearest this lens can focus at all"
            if through.port is not None:
                expected = f"farther off: the lens sees it at {scale_m:.3g} m, and can focus no nearer than {least}"
            read.refuse(f"--{at}", typed[at], expected)
    read.finish()
    assert focal_m is not None  # noqa: S101 - finish() has refused what is missing
    assert distance_m is not None  # noqa: S101
    return Asked(
        focal_m,
        distance_m,
        stop,
        f_number,
        transmission,
        coc_m,
        pupil,
        chart,
        floor_m,
        missed_m,
        lean_m,
        sway_m,
        through,
    )


def through_typed(typed: Mapping[str, str | None]) -> Through:
    """The extender and the port of another command, as typed. Raises Refusal."""
    read = _Reader(typed)
    found = depth_through.through_of(read, typed)
    read.finish()
    return found


_CHART = ("chart_width", "frame_fill", "sensor_width", "chart_distance")
"""Options that say together what one chart of known width showed."""


def _chart(
    read: "_Reader", typed: Mapping[str, str | None], focal_m: float | None, pupil: Pupil | None
) -> ChartPupil | None:
    """The pupil from one chart of known width, of which only all four figures together are of use."""
    chart_m, fill, sensor_m = read("chart_width", _width), read("frame_fill", parse_share), read("sensor_width", _width)
    distance_m = read("chart_distance", _chart_place)
    given = [name for name in _CHART if typed.get(name)]
    if not given:
        return None
    for name in _CHART:
        if name not in given:
            option, first = f"--{name.replace('_', '-')}", f"--{given[0].replace('_', '-')}"
            read.refuse(option, None, "a value, as the chart needs all four", f"not given, but {first} is")
    if pupil:
        read.refuse("--chart-width", typed.get("chart_width"), "a chart or pupil data, not both")
    if chart_m is None or fill is None or sensor_m is None or distance_m is None or focal_m is None:
        return None
    m = fill * sensor_m / chart_m
    found = pupil_from_charts(focal_m, distance_m, m, taping_sd_m(distance_m), magnification_sd(fill))
    if not found.plausible or m >= 1.0:
        expected = "a chart such a lens can have shown: check its width, frame fill, sensor width and distance"
        read.refuse("--chart-width", typed["chart_width"], expected)
    return found


def _pupil(read: "_Reader", typed: Mapping[str, str | None]) -> Pupil | None:
    """Pupil data, of which only both together are of use."""
    to_sensor_m, magnification = read("pupil_to_sensor", _pupil_place), read("pupil_magnification", _positive)
    given = [f"--{name.replace('_', '-')}" for name in ("pupil_to_sensor", "pupil_magnification") if typed.get(name)]
    if len(given) == 1:
        other = "--pupil-magnification" if given[0] == "--pupil-to-sensor" else "--pupil-to-sensor"
        read.refuse(other, None, f"a value, as {given[0]} is given", f"not given, but {given[0]} is: they go together")
    return None if to_sensor_m is None or magnification is None else Pupil(to_sensor_m, magnification)


class _Reader:
    """Reads typed texts and gathers everything that is wrong with them."""

    def __init__(self, typed: Mapping[str, str | None]) -> None:
        self._typed = typed
        self._problems: list[OptionProblem] = []
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
            self.refuse(f"--{name.replace('_', '-')}", text, error.expected, str(error))
            return None

    def needed(self, name: str, parse: Callable[[str], Parsed], expected: str) -> Parsed | None:
        """The same for an option that must be given."""
        if self._typed.get(name) is None:
            self.refuse(f"--{name}", None, expected, f"not given, expected {expected}")
        return self(name, parse)

    def refuse(self, option: str, read: str | None, expected: str, said: str = "") -> None:
        """Note what is wrong with an option."""
        self._problems.append(OptionProblem(option, read, expected, said))

    def finish(self) -> None:
        """Raise Refusal with all that is wrong, if anything is."""
        if self._problems:
            raise Refusal(self._problems)


def as_used(stop: Stop) -> str:
    """The stop as printed: one without a letter was taken as a T-stop, so it gets its T."""
    return stop.label if stop.scale else f"T{stop.label}"


def _one_focal_length(text: str) -> float:
    focal = parse_focal_length(text)
    if focal.short_m != focal.long_m:
        raise NotationError(text, "one focal length, as depth holds for one setting of a zoom", ())
    return focal.long_m


def _system(text: str) -> str:
    if text not in {"metric", "imperial"}:
        raise NotationError(text, "metric or imperial")
    return text


def _positive(text: str) -> float:
    return _within(text, parse_number(text), 1e-3, 1e4, "a number from 0.001 to 10000")


def _blur(text: str) -> float:
    expected = "a blur from 0.001 µm to 1 m, such as 0.025mm"
    return _within(text, parse_length(text, bare_unit="mm"), 1e-9, 1.0, expected)


def _stray(text: str) -> float:
    if text.strip() == "0":
        return 0.0
    expected = "how far somebody strays, from 0 to 10 m, such as 10cm"
    return _within(text, parse_length(text, bare_unit="cm"), 0.0, 10.0, expected)


def _spreads(asked: Asked) -> Spreads:
    """How far the subject strays: as typed, else what is usual."""
    given = {name: getattr(asked, name) for name in ("missed_mark_m", "lean_m", "sway_m")}
    return Spreads(**{name: value for name, value in given.items() if value is not None})


def _width(text: str) -> float:
    expected = "a width from 0.1 mm to 100 m, such as 400mm"
    return _within(text, parse_length(text, bare_unit="mm"), 1e-4, 100.0, expected)


def _chart_place(text: str) -> float:
    expected = "a distance from 1 cm to 1 km, such as 1.2 m"
    return _within(text, parse_distance(text), 1e-2, 1e3, expected)


def _pupil_place(text: str) -> float:
    expected = "a length of at most 1000 m to either side of the image plane, such as 41mm"
    return _within(text, parse_signed_length(text, bare_unit="mm"), -1e3, 1e3, expected)


def _within(text: str, value: float, least: float, most: float, expected: str) -> float:
    """The value; beyond its limits, which lie far outside anything real, arithmetic would overflow."""
    if not least <= value <= most:
        raise NotationError(text, expected, (), "is out of range")
    return value


def used_f_number(asked: Asked, said: list[str]) -> tuple[float, float]:
    """f-number that depth follows, and T/N where the transmission had to be assumed (else 1)."""
    stop = asked.stop
    if asked.f_number is not None or stop is None:
        return asked.f_number or math.nan, 1.0
    if stop.scale == "f":
        return stop.number, 1.0
    if stop.scale is None:
        said.append(f"{stop.label} is taken as a T-stop; write f/{stop.label} for an f-number.")
    if abs(stop.exact / stop.number - 1.0) > 5e-3:
        said.append(f"{format_stop(stop.number)} is taken as {stop.number:g}; the exact stop is {stop.exact:.4g}.")
    if asked.transmission is not None:
        return float(f_number_from_t(stop.number, asked.transmission)), 1.0
    said.append(
        f"Transmission not given: {ASSUMED_TRANSMISSION * 100:.0f} % assumed, "
        f"so N = {math.sqrt(ASSUMED_TRANSMISSION):.3f} T."
    )
    return float(f_number_from_t(stop.number, ASSUMED_TRANSMISSION)), 1.0 / math.sqrt(ASSUMED_TRANSMISSION)


def assumed(asked: Asked, *, no_depth: bool, straying: bool = True) -> list[str]:
    """One sentence for each thing that was assumed, or that the figures rest on; of straying only where it counts."""
    said = []
    if asked.pupil:
        said.append("The lens is taken to focus by moving as a whole.")
    elif asked.chart:
        p = 1.0 / asked.chart.inverse_magnification
        said.append(f"From one chart: pupil magnification taken as usual, {p:.2g}; the lens as moving as a whole.")
    else:
        said.append("No pupil data: the lens is taken to be thin; one chart of known width would place its pupil.")
    if asked.coc_m is None:
        said.append("No circle of confusion given: 0.025 mm, usual for 35 mm cine, is taken.")
    if asked.floor_m is None:
        said.append("No blur floor given: the lens is taken to be sharp at best focus.")
    if straying and None in (asked.missed_mark_m, asked.lean_m, asked.sway_m):
        usual = f"mark missed by {100 * MISSED_MARK_M:g} cm, lean {100 * LEAN_M:g} cm, sway {100 * SWAY_M:g} cm"
        said.append(f"What is not said of straying is taken as usual, one standard deviation: {usual}.")
    if no_depth:
        said.append("The blur floor already reaches the circle of confusion: there is no depth of field.")
    return said


def _finite(value: float) -> float | None:
    return value if math.isfinite(value) else None
