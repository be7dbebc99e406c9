"""What the picture of a stop pull shows: its course, all four motors, and the exposure error."""

from tapehook.job.stop_pulls import StopPullPlan
from tapehook.picture.pull_chart import MotorLane, PullChart
from tapehook.prep.shots import ShotPlan
from tapehook.prep.stop_pull import StopPullPrep
from tapehook.prep.stop_pull_motors import motor_courses

_SPARE = 1.05


def pull_chart_of(
    pull: StopPullPrep, plan: StopPullPlan, around: ShotPlan | None, end: float | None = None
) -> PullChart:
    """What the picture shows of a stop pull, with the focus and the zoom of its shot."""
    told = pull.pull
    last = max(float(told.times_s[-1]) * _SPARE, float(around.time_s[-1]) if around else 0.0, end or 0.0)
    widest, smallest = pull.iris_range
    lanes = [
        MotorLane(one.letter, one.said, one.time_s.tolist(), None if one.values is None else one.values.tolist())
        for one in motor_courses(pull, around)
    ]
    at = [float(point.at_s) for point in plan.course]
    marks = [(moment, _stop_at(pull, moment)) for moment in at]
    errors = told.error_stops.tolist() if pull.feasible else None
    return PullChart(
        told.times_s.tolist(),
        told.t_stops.tolist(),
        min(widest, float(told.t_stops.min())),
        max(smallest, float(told.t_stops.max())),
        lanes,
        errors,
        plan.tolerance_stops,
        marks,
        last,
    )


def _stop_at(pull: StopPullPrep, moment: float) -> float:
    times = pull.pull.times_s
    return float(pull.pull.t_stops[int(abs(times - moment).argmin())])
