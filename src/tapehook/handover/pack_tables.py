"""Every table of the full handover, once more for a spreadsheet: lenses, depth, other rings, motors, strips."""

import math
from collections.abc import Iterable, Sequence

from tapehook.handover.handed_on import take_table
from tapehook.handover.pdf_pictures import ring_ticks
from tapehook.handover.tables import Cell, Table, main_tables
from tapehook.job.takes import ShotTold
from tapehook.prep import LensPrep, Prep
from tapehook.prep.audit import audit_rows
from tapehook.prep.safe_stop import safe_stop
from tapehook.prep.strips import LensStrip

_LENSES = (
    "lens_id",
    "lens",
    "serial",
    "model",
    "cameras",
    "state",
    "widest_stop",
    "depth_used_percent_widest",
    "shooting_stop",
    "depth_used_percent_shooting",
    "close_focus_m",
    "rises_toward",
    "backlash",
    "unit",
    "map",
    "safe_stop",
    "quirks",
    "condition_on_receipt",
    "photos_on_receipt",
    "condition_on_return",
    "photos_on_return",
    "note",
)
_DEPTH = ("lens_id", "lens", "system", "focus", "focus_m", "stop", "near_m", "far_m")
_BUDGETS = ("lens_id", "lens", "stop", "worst_at_m", "term", "depth_used_percent", "assumed")
_RINGS = ("lens_id", "lens", "ring", "value", "label", "position", "plus_minus_95", "unit")
_MOTORS = ("camera", "motor", "drives", "lag_ms")
_STRIPS = (
    "lens_id",
    "lens",
    "ring_mm",
    "row",
    "label",
    "distance_m",
    "position",
    "arc_mm",
    "plus_minus_mm",
    "doubt",
)
_TECHNICIAN = ("lens_id", "lens", "serial", "model", "finding", "message", "next_step")


def pack_tables(prep: Prep, strips: Sequence[LensStrip], shots: Sequence[ShotTold] = ()) -> dict[str, Table]:
    """All tables by name, in the order of the pages they stand on; takes only where ``shots`` have any."""
    rows = audit_rows(prep)
    return {
        "all_lenses": (_LENSES, [_lens(entry) for entry in prep.lenses]),
        **main_tables(prep),
        "depth": (_DEPTH, [row for entry in prep.lenses for row in _depth(entry)]),
        "budgets": (_BUDGETS, [row for entry in prep.lenses for row in _budgets(entry)]),
        "iris_and_zoom": (_RINGS, [row for entry in prep.lenses for row in _rings(entry)]),
        "motors": (_MOTORS, [(m.camera, m.id, m.axis, m.lag_ms) for m in prep.job.motors]),
        "strips": (_STRIPS, [row for one in strips for row in _strip(prep.lens(one.lens_id), one)]),
        **({"takes": take_table(shots)} if any(shot.takes for shot in shots) else {}),
        "technician": (
            _TECHNICIAN,
            [
                (
                    row.entry.lens.id,
                    row.entry.title,
                    row.entry.lens.serial,
                    row.entry.lens.model,
                    finding.code,
                    finding.message,
                    finding.next_step,
                )
                for row in rows
                for finding in row.technician
            ],
        ),
    }


def _lens(entry: LensPrep) -> Sequence[Cell]:
    lens, lens_map, safe = entry.lens, entry.focus_map, safe_stop(entry)
    widest, shooting = entry.budget("widest"), entry.budget("shooting")
    rises = None if lens_map is None else "near" if lens_map.toward_near > 0 else "far"
    return (
        lens.id,
        entry.title,
        lens.serial or "serial not read",
        lens.model,
        lens.camera,
        entry.worst_severity or "clear",
        entry.widest.text if entry.widest else None,
        100.0 * widest.budget.worst_own if widest else None,
        entry.shooting.text if entry.shooting else None,
        100.0 * shooting.budget.worst_own if shooting else None,
        entry.close_focus_m,
        rises,
        entry.play.value if entry.play else None,
        lens.unit,
        "none" if lens_map is None else "one way" if entry.one_way else "both ways",
        safe.text if safe else None,
        lens.quirks,
        lens.condition_on_receipt,
        lens.photos_on_receipt,
        lens.condition_on_return,
        lens.photos_on_return,
        lens.note,
    )


def _depth(entry: LensPrep) -> Iterable[Sequence[Cell]]:
    for row in entry.depth_rows:
        for near, far, stop in zip(row.near_m, row.far_m, entry.depth_stops, strict=True):
            known = not math.isnan(near) and not math.isnan(far)
            yield (
                entry.lens.id,
                entry.title,
                row.system,
                row.text,
                row.distance_m,
                stop.text,
                near if known else None,
                far if known else None,
            )


def _budgets(entry: LensPrep) -> Iterable[Sequence[Cell]]:
    for view in entry.budgets:
        worst = float(view.budget.distance_m[view.budget.worst])
        for term, share in view.budget.at_worst():
            yield entry.lens.id, entry.title, view.stop.text, worst, term.name, 100.0 * share, term.assumed


def _rings(entry: LensPrep) -> Iterable[Sequence[Cell]]:
    for name, axis in entry.axes.items():
        lens_map = axis.lens_map
        if name == "focus" or lens_map is None or not lens_map.monotone:
            continue
        ticks = ring_ticks(lens_map)
        positions, widths = lens_map.position_band([tick.value for tick in ticks])
        for tick, position, width in zip(ticks, positions.tolist(), widths.tolist(), strict=True):
            yield entry.lens.id, entry.title, name, tick.value, tick.text, position, width, entry.lens.unit


def _strip(entry: LensPrep, made: LensStrip) -> Iterable[Sequence[Cell]]:
    across = made.strip.round_mm / math.pi
    for row in made.strip.rows:
        for tick in row.ticks:
            yield (
                entry.lens.id,
                entry.title,
                across,
                row.kind,
                tick.label,
                tick.value,
                tick.position,
                tick.arc_mm,
                tick.plus_minus_mm,
                tick.doubt,
            )
