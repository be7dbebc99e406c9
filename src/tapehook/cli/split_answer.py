"""What ``tapehook split`` answers: the typed texts read, the split computed, every assumption said."""

import math
from collections.abc import Mapping, Sequence
from typing import Any

from tapehook.cli.depth_answer import Asked, as_used, asked_of, assumed, used_f_number
from tapehook.cli.refusals import OptionProblem, Problem, Refusal
from tapehook.optics import ASSUMED_TRANSMISSION, depth_uncertainty, focus_state, half_width_dpt, sharp_blur_m
from tapehook.optics.sharpness import CINE_35_COC_M
from tapehook.shot import split_focus

FEWEST = 2


def split_answer(at: Sequence[str], typed: Mapping[str, str | None]) -> dict[str, Any]:
    """The JSON object of ``tapehook split`` for subjects at the distances typed, and the options of a lens.

    Raises Refusal with everything that could not be read or does not go together.
    """
    subjects = _subjects(at, typed)
    asked, said = subjects[0], list[str]()
    f_number, t_over_n = used_f_number(asked, said)
    if asked.transmission is None and (asked.f_number is not None or asked.stop is None or asked.stop.scale == "f"):
        said.append(f"Transmission not given: {ASSUMED_TRANSMISSION * 100:.0f} % assumed for the T-stop needed.")
        t_over_n = 1.0 / math.sqrt(ASSUMED_TRANSMISSION)
    blur_m = float(sharp_blur_m(asked.coc_m or CINE_35_COC_M, asked.floor_m or 0.0))
    said += assumed(asked, no_depth=blur_m == 0.0, straying=False)
    return {
        "subjects_m": [_finite(subject.distance_m) for subject in subjects],
        "stop": as_used(asked.stop) if asked.stop and asked.f_number is None else f"f/{f_number:.4g}",
        "f_number": f_number,
        **_split(subjects, asked, f_number, blur_m, t_over_n),
        "assumptions": said,
    }


def _split(subjects: Sequence[Asked], asked: Asked, f_number: float, blur_m: float, t_over_n: float) -> dict[str, Any]:
    pupil = asked.lens_pupil
    split = split_focus([subject.distance_m for subject in subjects], asked.focal_m, blur_m, pupil)
    state = focus_state(split.focus_m, asked.focal_m, pupil)
    width = float(half_width_dpt(f_number, asked.focal_m, blur_m, state.pupil_factor))
    transmission = asked.transmission or ASSUMED_TRANSMISSION
    spread = float(depth_uncertainty(split.focus_m, asked.focal_m, pupil_known=asked.pupil is not None))
    used = 0.0 if split.half_width_dpt == 0.0 else split.half_width_dpt / width if width > 0 else math.inf
    return {
        "focus_m": _finite(split.focus_m),
        "f_number_needed": _finite(split.f_number),
        "t_stop_needed": _finite(split.f_number / math.sqrt(transmission)),
        "depth_used": _finite(used),
        "holds": used <= 1.0,
        "uncertainty_percent": _finite(100.0 * (spread + t_over_n - 1.0)),
    }


def _subjects(at: Sequence[str], typed: Mapping[str, str | None]) -> list[Asked]:
    """Every subject with the lens, read. Raises Refusal with what is wrong with any of them, each problem once."""
    problems: dict[str, Problem] = {}
    found = []
    if len(at) < FEWEST:
        expected = "two or more distances, such as --at 2m --at 3m"
        problem = OptionProblem(
            "--at", at[0] if at else None, expected, f"given {('not at all', 'once')[len(at)]}, expected {expected}"
        )
        problems[problem.sentence()] = problem
    for text in at or ("1 km",):
        try:
            found.append(asked_of({**typed, "at": text}, "at"))
        except Refusal as refusal:
            problems |= {problem.sentence(): problem for problem in refusal.problems}
    if problems:
        raise Refusal(list(problems.values()))
    return found


def _finite(value: float) -> float | None:
    return value if math.isfinite(value) else None
