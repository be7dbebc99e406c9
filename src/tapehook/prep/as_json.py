"""A prepared job as plain JSON values. The shape is documented in docs/commands.md and held stable."""

import math
from typing import Any, Literal

from tapehook.job.records import Axis
from tapehook.lens import LensMap, Play
from tapehook.lens.map import Z95
from tapehook.lens.proof_marks import TIMES
from tapehook.lens.twins import BorrowedMap
from tapehook.notation import System
from tapehook.prep.basis import Optics
from tapehook.prep.extender import extended_as_json
from tapehook.prep.flange_findings import flange_used, parfocal
from tapehook.prep.forgiveness import chance_at_worst
from tapehook.prep.job_morning import job_morning, job_morning_as_json
from tapehook.prep.port import ported_as_json
from tapehook.prep.results import (
    AxisPrep,
    BorrowedPrep,
    BudgetView,
    CopyPrep,
    FlangePrep,
    LensFlange,
    LensPrep,
    Prep,
    ProofWanted,
    TwinsPrep,
)
from tapehook.prep.room import optics_of
from tapehook.prep.shooting_map import shooting_map
from tapehook.prep.suspects import SuspectRow
from tapehook.prep.twins import mark_text
from tapehook.prep.weather import job_weather, weather_as_json

GRID_POINTS = 241
"""Points of a map's grid, even in vergence from close focus to infinity."""


def finite(value: float | None) -> float | None:
    """The value, or null for infinity and for what is not defined."""
    return float(value) if value is not None and math.isfinite(value) else None


def prep_as_json(prep: Prep) -> dict[str, Any]:
    """Everything ``prepare`` found, without the grids of the maps."""
    morning, weather = job_morning(prep), job_weather(prep)
    return {
        "title": prep.job.title,
        "units": prep.job.units,
        "shooting_stop": prep.shooting_stop_text,
        "lenses": {entry.lens.id: _lens(entry) for entry in prep.lenses},
        "cameras": {
            entry.camera.letter: {
                "lenses": list(entry.lens_ids),
                "coc_mm": entry.coc_m * 1e3,
                "criterion": entry.coc_text,
            }
            for entry in prep.cameras
        },
        "weather": weather and weather_as_json(weather),
        "morning": morning and job_morning_as_json(morning),
        "findings": [finding.as_json() for finding in prep.findings],
        "assumptions": list(prep.assumptions),
    }


def _lens(entry: LensPrep) -> dict[str, Any]:
    return {
        "title": entry.title,
        "serial": entry.lens.serial,
        "widest_stop": entry.widest.text if entry.widest else None,
        "shooting_stop": entry.shooting.text if entry.shooting else None,
        "coc_mm": entry.coc_m * 1e3,
        "criterion": entry.coc_text,
        "pupil_known": entry.pupil_known,
        "pupil_source": entry.pupil_source,
        "transmission": entry.transmission,
        "transmission_known": entry.transmission_known,
        "depth_uncertainty_percent": _percent_range(entry.depth_uncertainty),
        "one_way": entry.one_way,
        "backlash": play_as_json(entry.play),
        "mapped": {axis: ring.lens_map is not None for axis, ring in entry.axes.items()},
        "marks": [
            {
                "written": row.text,
                "distance_m": finite(row.value),
                "position": row.position,
                "map_position": row.map_position,
                "depth_used_widest_percent": _percent(row.used_widest),
                "depth_used_shooting_percent": _percent(row.used_shooting),
                "suspect": row.suspect,
            }
            for row in entry.marks
        ],
        "budgets": [_budget(view, optics_of(entry)) for view in entry.budgets],
        "zoom": [
            {
                "focal_mm": row.focal_m * 1e3,
                "depth_used_percent": _percent(row.used),
                "plus_minus_percent": _percent(row.plus_minus),
                "worst_distance_m": finite(row.distance_m),
            }
            for row in entry.zoom
        ],
        "shifts": [
            {
                "name": one.name,
                "shift_um": one.shift_m * 1e6,
                "plus_minus_um": Z95 * one.sd_m * 1e6,
                "stop": _stop_of(entry, one.role),
                "not_on_paper": one.kept,
            }
            for one in entry.shifts
        ],
        "extender": extended_as_json(entry),
        "port": ported_as_json(entry),
        "assumptions": list(entry.assumptions),
    }


def _stop_of(entry: LensPrep, role: Literal["widest", "shooting"] | None) -> str | None:
    stop = {"widest": entry.widest, "shooting": entry.shooting, None: None}[role]
    return stop.text if stop else None


def play_as_json(play: Play | None) -> dict[str, Any] | None:
    """Backlash in the unit of the read-out, or null when no mark was read both ways."""
    return None if play is None else {"value": play.value, "sd": play.sd, "pairs": play.pairs}


def _percent(share: float | None) -> float | None:
    return finite(None if share is None else 100.0 * share)


def _percent_range(spread: tuple[float, float] | None) -> list[float | None] | None:
    return None if spread is None else [_percent(spread[0]), _percent(spread[1])]


def _budget(view: BudgetView, optics: Optics | None) -> dict[str, Any]:
    budget = view.budget
    return {
        "role": view.role,
        "stop": view.stop.text,
        "worst_distance_m": finite(float(budget.distance_m[budget.worst])),
        "near_m": finite(view.near_m),
        "far_m": finite(view.far_m),
        "chance_sharp_percent": None if optics is None else 100.0 * chance_at_worst(view, optics),
        "depth_used_percent": _percent(budget.worst_total),
        "lens_depth_used_percent": _percent(budget.worst_own),
        "terms": [
            {"name": term.name, "kind": term.kind, "depth_used_percent": _percent(share), "assumed": term.assumed}
            for term, share in budget.at_worst()
        ],
    }


def maps_as_json(prep: Prep) -> dict[str, Any]:
    """The maps of a job: ``{"lenses": {id: {...grid...}}}``, the shape of ``tapehook map --json``."""
    return {"lenses": {entry.lens.id: _lens_maps(entry) for entry in prep.lenses}}


def _lens_maps(entry: LensPrep) -> dict[str, Any]:
    """The focus map at the top level, other rings under ``axes``."""
    focus = entry.axes["focus"]
    shown = _axis(focus, entry)
    others: dict[Axis, Any] = {axis: _axis(ring, entry) for axis, ring in entry.axes.items() if axis != "focus"}
    return {
        **shown,
        "backlash": _backlash(entry),
        "suspects": [suspect_as_json(row) for row in entry.suspects],
        "at_shooting_stop": _moved(entry),
        "axes": others,
    }


def _moved(entry: LensPrep) -> dict[str, Any] | None:
    """The map moved by what the shoot does to focus, or null where nothing is known to move it."""
    found = shooting_map(entry)
    if found is None:
        return None
    rows = zip(found.distance_m.tolist(), found.position.tolist(), found.plus_minus.tolist(), strict=True)
    grid = [{"distance_m": finite(distance), "position": at, "band95": half} for distance, at, half in rows]
    kept = [{"name": name, "why": why} for name, why in found.kept]
    return {"stop": found.stop, "because": list(found.because), "not_on_paper": kept, "grid": grid[::-1]}


def _backlash(entry: LensPrep) -> dict[str, Any] | None:
    """Backlash with the most of the depth that half of it takes, as a fraction, at the lens's widest stop."""
    play = entry.play
    if play is None:
        return None
    stop = entry.widest or entry.shooting
    return {"value": play.value, "sd": play.sd, "depth_used": finite(entry.play_used), "stop": stop and stop.text}


def suspect_as_json(row: SuspectRow) -> dict[str, Any]:
    """A suspect row: which, which slip, how sure (0 to 1), and what it should have said (null distance: infinity)."""
    proposed: dict[str, Any] | None = None
    if row.distance_m is not None:
        proposed = {"distance_m": finite(row.distance_m)}
    elif row.position is not None:
        proposed = {"position": row.position}
    return {
        "mark_no": row.mark_no,
        "approach": row.approach,
        "kind": row.kind,
        "confidence": row.confidence,
        "proposed": proposed,
    }


def _axis(ring: AxisPrep, entry: LensPrep) -> dict[str, Any]:
    lens_map = ring.lens_map
    if lens_map is None:
        shape: dict[str, Any] = {"unit": entry.lens.unit, "monotone": None, "one_way": None, "rms_residual": None}
        return {**shape, "left_out": [], "grid": [], "refused": ring.refusal}
    residuals = lens_map.residuals()
    return {
        "unit": entry.lens.unit,
        "monotone": lens_map.monotone,
        "one_way": lens_map.marks.one_way,
        "rms_residual": float((residuals**2).mean() ** 0.5),
        "left_out": [row.text for row in entry.marks if row.suspect] if ring.axis == "focus" else [],
        "grid": _grid(lens_map, ring.axis),
        "refused": None,
    }


_VALUE_KEY: dict[Axis, str] = {"focus": "distance_m", "iris": "t_number", "zoom": "focal_mm"}


def _grid(lens_map: LensMap | BorrowedMap, axis: Axis) -> list[dict[str, float | None]]:
    """Focus from close focus to infinity, iris from its widest stop, zoom from its wide end."""
    values, positions, band = lens_map.grid(GRID_POINTS)
    rows = list(zip(values.tolist(), positions.tolist(), band.tolist(), strict=True))
    if axis == "focus":
        rows.reverse()
    return [{_VALUE_KEY[axis]: finite(v), "position": p, "band95": b} for v, p, b in rows]


def twins_as_json(prep: Prep, twins: TwinsPrep) -> dict[str, Any]:
    """The twins of a job, the shape of ``tapehook twins --json``: shares as fractions, positions in the lens's unit."""
    systems = {entry.lens.id: entry.system for entry in prep.lenses}
    spread, units = twins.spread, {lens.id: lens.unit for lens in prep.job.lenses}
    return {
        "pairs": [_pair(found, systems[found.lens_id]) for found in twins.borrowed],
        "comparisons": [_comparison(units[found.lens_id], found) for found in twins.copies],
        "copies_differ_by": {
            "scale": spread.scale,
            "cam": spread.cam,
            "shim_um": spread.shim_m * 1e6,
            "learnt_from": spread.copies,
        },
    }


def _pair(found: BorrowedPrep, system: System) -> dict[str, Any]:
    return {
        "lens": found.lens_id,
        "lender": found.lender_id,
        "proof_marks": found.proof_marks,
        "own_map": found.own_map,
        "stop": found.stop and found.stop.text,
        "depth_used_p95": finite(found.used_p95),
        "from_stop": found.safe_from and found.safe_from.t_number,
        "refused": found.refusal,
        "wanted": found.wanted and _wanted(found.wanted, system),
        "grid": [] if found.borrowed_map is None else _grid(found.borrowed_map, "focus"),
    }


def _wanted(wanted: ProofWanted, system: System) -> dict[str, Any]:
    return {
        "marks": [
            {"distance_m": finite(at), "distance_text": mark_text(at, system)} for at in (wanted.far_m, wanted.near_m)
        ],
        "times": TIMES,
        "depth_used_p95": finite(wanted.used),
    }


def _comparison(unit: str, found: CopyPrep) -> dict[str, Any]:
    return {
        "lens": found.lens_id,
        "lender": found.lender_id,
        "unit": unit,
        "offset": found.offset,
        "offset_plus_minus": found.offset_plus_minus,
        "stop": found.stop.text,
        "as_they_stand": _worst(found.as_it_stands),
        "offset_set": _worst(found.after_offset),
        "unlike": found.unlike,
    }


def _worst(worst: tuple[float, float, float]) -> dict[str, Any]:
    share, half_width, distance_m = worst
    return {"depth_used": finite(share), "plus_minus": finite(half_width), "distance_m": finite(distance_m)}


def flanges_as_json(prep: Prep) -> dict[str, Any]:
    """The flange of lenses and bodies, the shape of ``tapehook flange --json``: positive, sensor too far back."""
    entries = {entry.lens.id: entry for entry in prep.lenses}
    return {
        "lenses": {one.lens_id: _flange(entries[one.lens_id], one) for one in prep.flanges.lenses},
        "bodies": {
            one.letter: {
                "flange_um": one.flange_m * 1e6,
                "sd_um": one.sd_m * 1e6,
                "lenses": list(one.lens_ids),
                "probably_off": one.off,
            }
            for one in prep.flanges.bodies
        },
    }


def _flange(entry: LensPrep, one: LensFlange) -> dict[str, Any]:
    found = entry.flange if isinstance(entry.flange, FlangePrep) else None
    told = parfocal(entry)
    return {
        "flange_um": None if one.flange_m is None else one.flange_m * 1e6,
        "sd_um": None if one.sd_m is None else one.sd_m * 1e6,
        "cause": one.cause,
        "next_test": one.next_test,
        "with_body": one.together,
        "chart_tests": len(found.tests) if found else 0,
        "stop": found.stop.text if found else None,
        "depth_used": finite(flange_used(one.flange_m or 0.0, entry, found.stop)) if found else None,
        "parfocal": told
        and {
            "depth_used": finite(told.used),
            "plus_minus": finite(told.plus_minus),
            "focal_mm": told.focal_m * 1e3,
            "stop": told.stop.text,
            "back_focus": told.back_focus,
        },
    }
