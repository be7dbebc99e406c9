"""Chart tests of simulated lenses whose flange is known, for the fast and the slow test of its figures.

Our own ranges: flange sd 12 um; a scale that is 1 % off in a third of the lenses, a tape that starts up to some
12 mm off (one sd) in a third; 10 to 19 engraved marks read both ways; 4 to 10 chart distances from close focus to
a sixteenth of its vergence, best focus found once each way.
"""

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from tapehook.lens.flange import Cause, design_matrix
from tapehook.prep import prepare
from tapehook.prep.results import FlangePrep
from tests.simulator.lenses import TrueLens, draw_lens
from tests.simulator.paper import a_job, chart_tests, engraved_distances, lens_record, read_marks

Floats = npt.NDArray[np.float64]

JUDGEMENT_USED = 0.15
"""What the simulator draws with."""


@dataclass(frozen=True)
class Trial:
    """Micrometres: the error of the flange, its stated sd, and the least any unbiased method can reach.

    ``bound`` with scale and tape unknown too (the model of the formula), ``bound_alone`` when both were known to be
    right; both count what the map does not know. ``truth`` are the true errors that use a quarter of the depth.
    """

    error: float
    sd: float
    bound: float
    bound_alone: float
    truth: frozenset[Cause]
    cause: Cause
    focal_mm: float


def known_pupil(lens: TrueLens) -> dict[str, float]:
    """Pupil data that put the front focal point where the simulated lens has it."""
    return {"pupil_to_sensor_mm": (lens.datum_m - lens.focal_m) * 1e3, "pupil_magnification": 1.0}


def run(rng: np.random.Generator, *, sound: bool = False) -> Trial:
    """One lens tested; ``sound``: scale and tape are right."""
    slope = 0.0 if sound else float(rng.choice([0.0, 0.0, 0.0, 0.0, -0.01, 0.01]))
    tape_m = 0.0 if sound else float(rng.choice([0.0, 0.0, rng.normal(0.0, 0.012)]))
    lens = draw_lens(rng, flange_um=float(rng.normal(0.0, 12.0)), scale_slope=slope, tape_datum_m=tape_m)
    readings = read_marks(rng, lens, "A", engraved_distances(rng, lens, int(rng.integers(10, 20))))
    vergence = np.linspace(1.0, 0.06, int(rng.integers(4, 11))) * lens.near_dpt
    charts = chart_tests(rng, lens, "A", [round(d, 2) for d in lens.distance_m(vergence).tolist()], repeats=2)
    job = a_job([lens_record(lens, "A", **known_pupil(lens))], readings, charts)
    found = prepare(job).lenses[0].flange
    assert isinstance(found, FlangePrep)
    flange_m, sd_m = found.fit.flange_m()
    bound, alone = _bounds(found)
    truth = _truth(lens, found)
    error = flange_m * 1e6 - lens.flange_um
    return Trial(error, sd_m * 1e6, bound * 1e6, alone * 1e6, truth, found.verdict.cause, lens.focal_mm)


def _bounds(found: FlangePrep) -> tuple[float, float]:
    """Cramer-Rao bound of the flange, metres: of all three parameters, and of the flange alone.

    The Fisher information of a linear model with normal errors is X' C^-1 X (S. Kay, Fundamentals of Statistical
    Signal Processing: Estimation Theory, 1993, equation 3.31 and section 4.3), with the true sd of the judgement.
    """
    charts = found.charts
    spread = charts.covariance_dpt2 + np.diag((JUDGEMENT_USED * charts.width_dpt) ** 2)
    design = design_matrix(charts)
    information = design.T @ np.linalg.solve(spread, design)
    return float(np.sqrt(np.linalg.inv(information)[0, 0])), float(1.0 / np.sqrt(information[0, 0]))


def _truth(lens: TrueLens, found: FlangePrep) -> frozenset[Cause]:
    charts = found.charts
    effects: dict[Cause, float] = {
        "flange": float(np.max(abs(lens.flange_um) * 1e-6 / charts.focal_m**2 / charts.room_dpt)),
        "scale": float(np.max(abs(lens.scale_slope) * charts.q_dpt / charts.room_dpt)),
        "tape_offset": float(np.max(abs(lens.tape_datum_m) * charts.q_dpt**2 / charts.room_dpt)),
    }
    return frozenset(one for one, used in effects.items() if used >= 0.25)


def rms(values: npt.ArrayLike) -> float:
    """Root mean square."""
    return float(np.sqrt(np.mean(np.square(np.asarray(values, dtype=np.float64)))))
