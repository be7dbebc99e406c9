"""What light does: vergence, depth, sharpness, the aperture behind a T-stop; exposure, flicker, filters, polarisers.

May live here: pure functions of arrays, SI units in and out (metres, dioptres), each with the source of its
formula. May not: files, records, text for people, or anything that knows which lens or job it is for.

The one idea (docs/optics.md): with distances measured from the entrance pupil as vergence, q = 1/u, the depth
of field is symmetric, and every error of focus is a share of its half-width.
"""

from tapehook.optics.aperture import ASSUMED_TRANSMISSION, f_number_from_t, t_from_f_number, working_f_number
from tapehook.optics.charts import (
    SURE_FILL,
    ChartPupil,
    Focusing,
    field_scale,
    magnification_sd,
    pupil_as_it_moves,
    pupil_from_charts,
    width_uncertainty,
)
from tapehook.optics.depth import (
    Depth,
    blur_diameter_m,
    breathing,
    depth_limits,
    depth_of_field,
    half_width_as_set_dpt,
    half_width_dpt,
    hyperfocal_m,
    sharp_blur_m,
)
from tapehook.optics.pupil import (
    FocusState,
    Pupil,
    focus_state,
    nearest_possible_m,
    pupil_from_chart,
    thin_pupil,
)
from tapehook.optics.sharpness import coc_diagonal_m, coc_photosites_m, coc_viewing_m
from tapehook.optics.trust import depth_uncertainty

__all__ = [
    "ASSUMED_TRANSMISSION",
    "SURE_FILL",
    "ChartPupil",
    "Depth",
    "FocusState",
    "Focusing",
    "Pupil",
    "blur_diameter_m",
    "breathing",
    "coc_diagonal_m",
    "coc_photosites_m",
    "coc_viewing_m",
    "depth_limits",
    "depth_of_field",
    "depth_uncertainty",
    "f_number_from_t",
    "field_scale",
    "focus_state",
    "half_width_as_set_dpt",
    "half_width_dpt",
    "hyperfocal_m",
    "magnification_sd",
    "nearest_possible_m",
    "pupil_as_it_moves",
    "pupil_from_chart",
    "pupil_from_charts",
    "sharp_blur_m",
    "t_from_f_number",
    "thin_pupil",
    "width_uncertainty",
    "working_f_number",
]
