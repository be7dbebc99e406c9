"""A stop pull as plain JSON values: the shape of ``tapehook stop-pull --json``."""

from typing import Any

from tapehook.prep.stop_pull import StopPullPrep, advice
from tapehook.prep.stop_pull_findings import limit_finding, stop_pull_findings
from tapehook.shot.stop_pull import PullError, PullLimit

_LETTERS = {"focus": "F", "iris": "I", "zoom": "Z", "extra": "X"}


def stop_pull_as_json(prep: StopPullPrep) -> dict[str, Any]:
    """Everything worked out; the samples are left out where the pull cannot be done, so that nobody drives them."""
    pull = prep.pull
    return {
        "shot": prep.name,
        "lens": prep.lens.id,
        "iris_unit": prep.lens.unit,
        "filter": prep.filter.id,
        "feasible": prep.feasible,
        "max_exposure_error_stops": pull.max_error_stops,
        "loss_stops": pull.loss_stops,
        "samples": _samples(prep) if prep.feasible else [],
        "limits": [_limit(limit, prep) for limit in pull.limits],
        "findings": [finding.as_json() for finding in stop_pull_findings(prep)],
        "error_budget": [_error(error) for error in pull.errors],
        "largest_stop": prep.largest_stop,
        "slowed_to_s": prep.slowed_s,
        "advice": advice(prep),
        "motors": [
            {"letter": _LETTERS[motor.axis], "id": motor.id, "camera": motor.camera, "lag_ms": motor.lag_ms}
            for motor in prep.motors
        ],
        "conflicts": list(prep.conflicts),
        "cautions": list(prep.cautions),
        "assumptions": list(prep.assumptions),
    }


def _samples(prep: StopPullPrep) -> list[dict[str, float]]:
    pull = prep.pull
    columns = {
        "time_s": pull.times_s,
        "t_stop": pull.t_stops,
        "iris_position": pull.iris_positions,
        "density": pull.densities,
        "extra_motor_deg": pull.extra_deg,
        "extra_motor_percent": pull.extra_percent,
        "exposure_error_stops": pull.error_stops,
    }
    return [
        {name: float(value) for name, value in zip(columns, row, strict=True)}
        for row in zip(*columns.values(), strict=True)
    ]


def _limit(limit: PullLimit, prep: StopPullPrep) -> dict[str, Any]:
    """A limit with its figures, and what the finding on it says."""
    found = limit_finding(limit, prep)
    return {
        "kind": limit.kind,
        "asks": limit.asks,
        "allows": limit.allows,
        "unit": limit.unit,
        "holds": limit.holds,
        "forbids": limit.hard,
        "code": found.code,
        "severity": found.severity,
        "text": found.message,
        "next_step": found.next_step,
    }


def _error(error: PullError) -> dict[str, Any]:
    return {
        "name": error.name,
        "kind": error.kind,
        "largest_stops": float(error.stops.max()),
        "assumed": error.assumed,
    }
