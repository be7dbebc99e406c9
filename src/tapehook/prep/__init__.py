"""The main job: ``prepare(job)`` maps every lens and says, with figures, whether each is good enough.

May live here: what joins the records of a job with the pure packages below, and turns their results into
findings. Pure and deterministic: no files, no clock, no database; progress goes to a callback. May not: anything
about how a finding is shown.
"""

from tapehook.prep.as_json import maps_as_json, prep_as_json
from tapehook.prep.prepare import prepare
from tapehook.prep.results import (
    AxisPrep,
    BudgetView,
    CameraPrep,
    DepthRow,
    LensPrep,
    MarkRow,
    Prep,
    PupilSource,
    RoundRow,
    StopView,
)

__all__ = [
    "AxisPrep",
    "BudgetView",
    "CameraPrep",
    "DepthRow",
    "LensPrep",
    "MarkRow",
    "Prep",
    "PupilSource",
    "RoundRow",
    "StopView",
    "maps_as_json",
    "prep_as_json",
    "prepare",
]
