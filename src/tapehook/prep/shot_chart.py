"""What the picture of the sharp lane shows of a planned shot, the same on page and paper."""

from collections.abc import Sequence

import numpy as np

from tapehook.picture.lane_chart import LaneChart, PersonLine
from tapehook.prep.shot_sheet import ShotMark
from tapehook.prep.shots import ShotPlan


def chart_of(plan: ShotPlan, marks: Sequence[ShotMark]) -> LaneChart:
    """The lane in distances, the line, the people, and the moments of the marks."""
    ring, unit = plan.ring, plan.ring.lens_map.degrees_per_unit
    ends = [ring.fittings.subject_m(ring.setting(end * unit)) for end in (plan.low, plan.high)]
    near, far = np.minimum(*ends), np.maximum(*ends)
    people = [PersonLine(one.name, one.distance_m.tolist(), one.soft.tolist()) for one in plan.people]
    times, focus = plan.time_s.tolist(), plan.in_focus_m.tolist()
    moments = [mark.time_s for mark in marks]
    return LaneChart(times, near.tolist(), far.tolist(), focus, people, moments, plan.stop.text)
