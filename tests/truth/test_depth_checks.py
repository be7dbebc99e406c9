"""Published figures of depth, blur, hyperfocal distance, criteria and image sizes, through the public functions.

Each row of ``checks/depth.toml`` and ``checks/geometry.toml`` names one of the rules below. Published subject
distances run from the front principal plane of a thin lens; the functions take distances from the image plane, so the
rules add the image distance and take it off again.
"""

import math
from collections.abc import Callable

import pytest
from scipy.optimize import brentq

from tapehook.job import Criterion
from tapehook.notation import parse_length
from tapehook.optics import (
    Depth,
    Pupil,
    blur_diameter_m,
    coc_diagonal_m,
    coc_viewing_m,
    depth_of_field,
    f_number_from_t,
    focus_state,
    half_width_dpt,
    hyperfocal_m,
    t_from_f_number,
    thin_pupil,
    working_f_number,
)
from tapehook.optics.sharpness import CINE_35_COC_M, CINE_COC_M, CRITICAL_COC_M, FORGIVING_COC_M
from tapehook.prep.basis import camera_coc
from tests.truth.tables import Row, checks

MM = 1e-3
ROWS = [*checks("depth"), *checks("geometry")]
COMPUTED = [row for row in ROWS if "compute" in row]
LEFT_OUT = {"G5", "G6", "G7", "G8", "G9"}


def _from_image_plane(subject_m: float, focal_m: float) -> float:
    """Distance from the image plane of a subject so far in front of a thin lens that is focused on it."""
    return subject_m if math.isinf(subject_m) else subject_m + subject_m * focal_m / (subject_m - focal_m)


def _depth(row: Row, *, f_number: float | None = None) -> Depth:
    focal = row["focal_mm"] * MM
    distance = _from_image_plane(row["subject_mm"] * MM, focal)
    return depth_of_field(distance, focal, f_number or row["f_number"], row["coc_mm"] * MM, thin_pupil(focal))


def _from_lens_mm(distance_m: object, depth: Depth) -> float:
    """A limit from the image plane as the books have it: from the lens, in millimetres."""
    return float((distance_m - depth.state.pupil_to_sensor_m) / MM)  # type: ignore[operator]  # an array of one


def _near(row: Row) -> float:
    depth = _depth(row)
    return _from_lens_mm(depth.near_m, depth)


def _far(row: Row) -> float:
    depth = _depth(row)
    return _from_lens_mm(depth.far_m, depth)


def _near_smith(row: Row) -> float:
    """Smith's form is the thin-lens law with the pupil A + B in the place of A."""
    pupil_mm = row["focal_mm"] / row["f_number"] + row["coc_mm"]
    depth = _depth(row, f_number=row["focal_mm"] / pupil_mm)
    return _from_lens_mm(depth.near_m, depth)


def _hyperfocal(row: Row) -> float:
    focal = float(row["focal_mm"]) * MM
    return float(hyperfocal_m(focal, row["f_number"], row["coc_mm"] * MM, thin_pupil(focal))[1] / MM)


def _width_at_infinity(row: Row) -> float:
    """The simple form takes the half-width in vergence at infinity for all distances."""
    return float(half_width_dpt(row["f_number"], row["focal_mm"] * MM, row["coc_mm"] * MM))


def _at_part(row: Row) -> Row:
    """The row with the subject at a part of the hyperfocal distance f^2/(N c)."""
    return {**row, "subject_mm": row["part_of_hyperfocal"] / _width_at_infinity(row) / MM}


def _simple(row: Row, sign: int) -> float:
    """Limit of the simple form, 1/(1/s +- w), in millimetres."""
    return 1.0 / (1e3 / float(row["subject_mm"]) + sign * _width_at_infinity(row)) / MM


def _split(row: Row) -> float:
    """Focus, from the lens, at which two subjects make discs of one size."""
    focal = row["focal_mm"] * MM
    pupil = thin_pupil(focal)

    def difference(focus_m: float) -> float:
        extension = float(focus_state(focus_m, focal, pupil).pupil_to_sensor_m)
        discs = [
            blur_diameter_m(row[f"{end}_mm"] * MM + extension, focus_m, focal, row["f_number"], pupil)
            for end in ("near", "far")
        ]
        return float(discs[0] - discs[1])

    focus_m = float(brentq(difference, row["near_mm"] * MM + focal, row["far_mm"] * MM + focal, xtol=1e-12))
    return (focus_m - float(focus_state(focus_m, focal, pupil).pupil_to_sensor_m)) / MM


def _blur(row: Row) -> float:
    focal = row["focal_mm"] * MM
    pupil, focus = thin_pupil(focal), _from_image_plane(row["subject_mm"] * MM, focal)
    extension = float(focus_state(focus, focal, pupil).pupil_to_sensor_m)
    return float(blur_diameter_m(row["object_mm"] * MM + extension, focus, focal, row["f_number"], pupil) / MM)


def _depth_of_angle(row: Row, sign: int) -> float:
    """Depth on one side when what passes is an angle seen from the lens: a disc of f tan(angle) at infinity."""
    focal = row["focal_mm"] * MM
    disc = focal * math.tan(math.radians(row["angle_deg"]))
    width = float(half_width_dpt(row["f_number"], focal, disc))
    subject = float(row["subject_mm"])
    return abs(1.0 / (1e3 / subject + sign * width) / MM - subject)


def _working(row: Row) -> float:
    """Working f-number of a 50 mm lens set to the magnification asked for; its focal length drops out."""
    focal, m, p = 0.05, row["magnification"], row["pupil_magnification"]
    pupil = Pupil(to_sensor_m=0.06, magnification=p)
    state = focus_state(focal / m + focal / p + 0.06 + focal * m, focal, pupil)
    return float(working_f_number(row["f_number"], state.pupil_factor))


def _depth_of_focus(row: Row) -> float:
    """At infinity a shift of vergence dq moves the image by f^2 dq."""
    return float(row["focal_mm"] * MM * row["focal_mm"] * _width_at_infinity(row))


def _width_of_t_over_width_of_f(row: Row) -> float:
    f_number = float(f_number_from_t(row["stop"], row["transmission"]))
    return float(_depth(row, f_number=f_number).half_width_dpt / _depth(row, f_number=row["stop"]).half_width_dpt)


def _coc_fixed(row: Row) -> float:
    chosen = camera_coc(None, Criterion(name="fixed", coc_mm=row["coc_mm"]))
    assert chosen is not None
    return chosen[0] / MM


def _coc_print(row: Row) -> float:
    """The viewing criterion, seen from so many heights of the print, for the angle of the blur in the print."""
    print_height_mm = row["height_mm"] * row["enlargement"]
    arcminutes = math.degrees(math.atan(row["print_blur_mm"] / row["viewing_mm"])) * 60.0
    return float(coc_viewing_m(row["height_mm"] * MM, row["viewing_mm"] / print_height_mm, arcminutes) / MM)


RULES: dict[str, Callable[[Row], float]] = {
    "hyperfocal": _hyperfocal,
    "hyperfocal_from_focal_point": lambda row: _hyperfocal(row) - row["focal_mm"],
    "near": _near,
    "far": _far,
    "near_smith": _near_smith,
    "near_simple": lambda row: _simple(row, +1),
    "near_part_simple": lambda row: _simple(_at_part(row), +1) / _at_part(row)["subject_mm"],
    "far_part_simple": lambda row: _simple(_at_part(row), -1) / _at_part(row)["subject_mm"],
    "near_part": lambda row: _near(_at_part(row)) / _at_part(row)["subject_mm"],
    "far_part": lambda row: _far(_at_part(row)) / _at_part(row)["subject_mm"],
    "split": _split,
    "blur": _blur,
    "front_depth_of_angle": lambda row: _depth_of_angle(row, +1),
    "rear_depth_of_angle": lambda row: _depth_of_angle(row, -1),
    "working": _working,
    "depth_of_focus": _depth_of_focus,
    "width_of_t_over_width_of_f": _width_of_t_over_width_of_f,
    "coc_cine": lambda _: CINE_COC_M / MM,
    "coc_critical": lambda _: CRITICAL_COC_M / MM,
    "coc_forgiving": lambda _: FORGIVING_COC_M / MM,
    "coc_cine_35": lambda _: CINE_35_COC_M / MM,
    "coc_fixed": _coc_fixed,
    "coc_diagonal": lambda row: float(coc_diagonal_m(row["width_mm"] * MM, row["height_mm"] * MM, row["divisor"]) / MM),
    "coc_print": _coc_print,
    "t_number": lambda row: float(t_from_f_number(row["f_number"], row["transmission"])),
    "diagonal": lambda row: float(coc_diagonal_m(row["width_mm"] * MM, row["height_mm"] * MM, 1.0) / MM),
    "length": lambda row: parse_length(row["text"]) / MM,
}


@pytest.mark.parametrize("row", COMPUTED, ids=[row["id"] for row in COMPUTED])
def test_published_figure(row: Row) -> None:
    """The figure comes out within the tolerance of its source (named in the row)."""
    found = RULES[row["compute"]](row["inputs"])
    allowed = row["tolerance"] if "tolerance" in row else abs(row["expected"]) * row["tolerance_percent"] / 100.0
    assert found == pytest.approx(row["expected"], rel=0, abs=allowed), f"{row['quantity']}: {row['source']}"


def test_all_rows_are_worked_out_or_say_why_not() -> None:
    """No row is passed over in silence: those left out are known by name and give their reason."""
    left_out = {row["id"]: row["not_computed"] for row in ROWS if "compute" not in row}
    assert set(left_out) == LEFT_OUT
    assert all(left_out.values())
    assert set(RULES) == {row["compute"] for row in COMPUTED}, "no rule without a row"


def test_sources_are_named() -> None:
    """Each row has its own id, a source and a flag that says whether the figure was read there."""
    assert len({row["id"] for row in ROWS}) == len(ROWS)
    assert all(row["source"] and row["flag"] for row in ROWS)
