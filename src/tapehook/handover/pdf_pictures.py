"""The pictures of the PDF: what ``prepare`` found, handed to ``tapehook.picture``."""

import math

import numpy as np

from tapehook.lens import FocalScale, LensMap, StopScale
from tapehook.notation import format_position
from tapehook.picture import (
    BarTerm,
    BudgetBar,
    ChartMark,
    RuleScale,
    SharpZone,
    budget_bar,
    depth_rule,
    map_chart,
)
from tapehook.picture.axis import Tick, focal_ticks, stop_ticks
from tapehook.prep import AxisPrep, BudgetView, DepthRow, LensPrep, MarkRow, StopView

_POINTS_PER_MM = 72 / 25.4
MAP_WIDTH, BAR_WIDTH, RULE_WIDTH = (width_mm * _POINTS_PER_MM for width_mm in (103.0, 84.0, 184.0))
"""Points: the widths the template gives the pictures, so that their letters keep their size."""
MAP_HEIGHT, RING_HEIGHT = 198.0, 110.0
_RULE_LEFT = 30.0
_RULE_RIGHT = 10.0


def map_picture(entry: LensPrep) -> str | None:
    """The focus map with its marks, errors at the shooting stop or else the widest; None without a map."""
    return map_chart_of(entry, MAP_WIDTH, MAP_HEIGHT)


def map_chart_of(entry: LensPrep, width: float, height: float) -> str | None:
    """The same ``width`` by ``height`` points, for whoever has another place for it."""
    lens_map = entry.focus_map
    if lens_map is None:
        return None
    stop, used = _errors(entry)
    marks = [
        ChartMark(mark.value, mark.position, mark.text, share, suspect=mark.suspect)
        for mark, share in zip(entry.marks, used, strict=True)
    ]
    return map_chart(
        lens_map,
        marks,
        unit=entry.lens.unit,
        system=entry.system,
        stop_text=stop.text if stop else None,
        width=width,
        height=height,
        title=f"Focus map of {entry.title}",
        map_used=_map_used(entry, stop),
    )


def _errors(entry: LensPrep) -> tuple[StopView | None, list[float | None]]:
    """The stop of the lower panel, and each mark's error there with the sign of its position error."""
    stop = entry.shooting or entry.widest
    shooting = entry.shooting is not None
    return stop, [_signed(mark, mark.used_shooting if shooting else mark.used_widest) for mark in entry.marks]


def _signed(mark: MarkRow, share: float | None) -> float | None:
    """None also for a share that is not finite: there is no bar for it."""
    return math.copysign(share, mark.error) if share is not None and math.isfinite(share) else None


def _map_used(entry: LensPrep, stop: StopView | None) -> list[tuple[float, float]]:
    """Distance and the share that the map's own uncertainty takes, from the budget at that stop."""
    view = next((view for view in entry.budgets if stop is not None and view.stop.text == stop.text), None)
    if view is None:
        return []
    names = [term.name for term in view.budget.terms]
    if "map" not in names:
        return []
    shares = view.budget.shares[names.index("map")]
    pairs = zip(view.budget.distance_m.tolist(), shares.tolist(), strict=True)
    return [(distance, share) for distance, share in pairs if math.isfinite(share)]


def budget_picture(view: BudgetView, entry: LensPrep) -> str:
    """The focus budget at one stop, where the lens itself uses most."""
    budget = view.budget
    terms = [BarTerm(term.name, term.kind, term.source, share) for term, share in budget.at_worst()]
    bar = BudgetBar(view.stop.text, view.worst_text, tuple(terms), budget.worst_own, budget.worst_total)
    return budget_bar(bar, width=BAR_WIDTH, title=f"Focus budget of {entry.title} at {view.stop.text}")


def rule_scale(entry: LensPrep) -> RuleScale | None:
    """The scale of the depth rule: from the near end to infinity, in vergence from the entrance pupil."""
    if entry.pupil is None or not entry.depth_rows:
        return None
    datum_m = float(np.asarray(entry.pupil.to_sensor_m, dtype=np.float64))
    close_m = entry.close_focus_m or min(row.distance_m for row in entry.depth_rows)
    if not close_m > datum_m * 1.05:
        return None
    return RuleScale(close_m, datum_m, _RULE_LEFT, RULE_WIDTH - _RULE_RIGHT)


def rule_row(entry: LensPrep) -> DepthRow | None:
    """The distance shown on the depth rule: the one nearest its middle that has a near and a far limit."""
    scale = rule_scale(entry)
    if scale is None:
        return None
    middle = (scale.left + scale.right) / 2
    rows = [row for row in entry.depth_rows if math.isfinite(row.distance_m) and not math.isnan(sum(row.near_m))]
    return min(rows, key=lambda row: abs(scale.x(row.distance_m) - middle), default=None)


def rule_picture(entry: LensPrep, *, all_stops: bool) -> str | None:
    """The depth rule with the sharp zone of every stop of the depth table, or of the shooting stop alone."""
    scale, row = rule_scale(entry), rule_row(entry)
    if scale is None or row is None:
        return None
    zones = [
        SharpZone(near, far, stop.text)
        for near, far, stop in zip(row.near_m, row.far_m, entry.depth_stops, strict=True)
    ]
    wanted = entry.shooting or entry.widest
    chosen = next((zone for zone in zones if wanted is not None and zone.text == wanted.text), zones[0])
    return depth_rule(
        scale,
        zones if all_stops else [chosen],
        focus_m=row.distance_m,
        system=entry.system,
        width=RULE_WIDTH,
        title=f"Depth rule of {entry.title}, focus at {row.text}",
    )


def ring_picture(axis: AxisPrep, entry: LensPrep) -> str | None:
    """The map of an iris or zoom ring; None without a map."""
    if axis.lens_map is None:
        return None
    marks = axis.lens_map.marks
    dots = [
        ChartMark(value, position, format_position(position, entry.lens.unit))
        for value, position in zip(marks.values.tolist(), marks.positions.tolist(), strict=True)
    ]
    return map_chart(
        axis.lens_map,
        dots,
        unit=entry.lens.unit,
        system=entry.system,
        stop_text=None,
        width=MAP_WIDTH,
        height=RING_HEIGHT,
        title=f"{axis.axis.capitalize()} map of {entry.title}",
    )


def ring_ticks(lens_map: LensMap) -> list[Tick]:
    """The values an iris or zoom table is printed for, smallest first."""
    ends = sorted((lens_map.far_value, lens_map.near_value))
    if isinstance(lens_map.scale, StopScale):
        return sorted(stop_ticks(*ends))
    return sorted(focal_ticks(*ends)) if isinstance(lens_map.scale, FocalScale) else []
