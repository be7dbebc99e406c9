"""What the template of the PDF is given: texts and pictures, laid out as pages want them. No text is typst source."""

from collections.abc import Iterable, Sequence
from typing import Any

from tapehook import __version__
from tapehook.finding import Finding, sort_findings
from tapehook.handover.glyphs import MISSING, breakable, printable
from tapehook.handover.handed_on import page_lines, safe_said
from tapehook.handover.pdf_pictures import (
    budget_picture,
    map_picture,
    ring_picture,
    ring_ticks,
    rule_picture,
    rule_row,
)
from tapehook.handover.pdf_words import (
    UNIT_NAME,
    UNIT_SIGN,
    bare_position,
    cameras_in_column,
    chance_words,
    depth_limits,
    finding_words,
    half_widths,
    lens_facts,
    map_plus_minus,
    mark_text,
    name_of,
    readings_so_far,
    rests_on,
    serial_in_column,
    share_at,
    share_in_column,
    signed_position,
    state_of,
    usable_map,
)
from tapehook.handover.signed_words import signed_words
from tapehook.job.records import Reading
from tapehook.job.signed import SignedOff
from tapehook.notation import format_length_mm
from tapehook.picture import percent_text
from tapehook.picture.lettering import shortened
from tapehook.prep import AxisPrep, CameraPrep, LensPrep, Prep
from tapehook.prep.shooting_map import moved_word

LONG_JOB = 60
"""With more lenses than this the cover sums findings up by kind; each lens's page has them in full."""
CAMERA_FINDINGS = 9
"""Findings written out on a camera's page; the rest are counted."""
_FEW_NAMES = 24
_FOOT_ROOM = 150.0
"""Points of a page's foot for the title of the job: what the page is about stands beside it."""
_NO_LETTER = (
    f"{MISSING} stands for a sign that the print has no letter for, as of Hebrew or Chinese: the pocket page and the "
    "tables have it."
)


def pack_data(prep: Prep, paper: str, signed: Sequence[SignedOff] = ()) -> dict[str, Any]:
    """Everything the template prints, as JSON values; every text is printable in our font.

    ``signed`` stands on the cover.
    """
    places = {entry.lens.id: index for index, entry in enumerate(prep.lenses)}
    read: dict[str, list[Reading]] = {}
    for reading in prep.job.readings:
        if reading.axis == "focus":
            read.setdefault(reading.lens_id, []).append(reading)
    data = {
        "version": __version__,
        "paper": paper,
        "title": prep.job.title,
        "facts": _job_facts(prep),
        "acts": _acts(prep),
        "signed": signed_words(signed, prep),
        "lens_rows": [_lens_row(entry, index) for index, entry in enumerate(prep.lenses)],
        "assumptions": list(prep.assumptions),
        "lenses": [_lens(entry, read.get(entry.lens.id, [])) for entry in prep.lenses],
        "cameras": [_camera(camera, prep, places) for camera in prep.cameras],
    }
    cleaned = {key: _clean(value) for key, value in data.items()}
    short = shortened(cleaned["title"], 9.0, _FOOT_ROOM)
    return {**cleaned, "short": short, "missing": _NO_LETTER if MISSING in str(cleaned) else None}


def _clean(value: Any) -> Any:  # noqa: ANN401 - any JSON value
    """The same value with every text made printable, and the plus-minus of plain text as its sign."""
    if isinstance(value, str):
        return breakable(printable(value.replace("+-", "±")))
    if isinstance(value, dict):
        # A picture is text too, but its markup must stay in one piece.
        return {key: printable(inner) if key == "svg" else _clean(inner) for key, inner in value.items()}
    return [_clean(inner) for inner in value] if isinstance(value, list | tuple) else value


def _job_facts(prep: Prep) -> list[tuple[str, str]]:
    letters = ", ".join(camera.camera.letter for camera in prep.cameras) or "none named"
    return [
        ("shooting stop", prep.shooting_stop_text or "not set"),
        ("lenses", str(len(prep.lenses))),
        ("cameras", letters),
        ("sharp is", _criterion(prep)),
    ]


def _criterion(prep: Prep) -> str:
    """What counts as sharp, with every blur it comes to over the cameras or else the lenses."""
    holders: Sequence[CameraPrep | LensPrep] = prep.cameras or prep.lenses
    sizes = sorted({(holder.coc_m, holder.coc_text) for holder in holders})
    if not sizes:
        return prep.job.criterion.name
    small, large = format_length_mm(sizes[0][0]), format_length_mm(sizes[-1][0])
    size = small if small == large else f"{small} to {large}"
    return f"blur up to {size} ({'; '.join(sorted({text for _, text in sizes}))})"


def _acts(prep: Prep) -> dict[str, Any]:
    """What must be acted on: findings in full, or summed up by kind for a long job."""
    urgent = [finding for finding in prep.findings if finding.severity in ("fix", "watch")]
    places = {entry.lens.id: index for index, entry in enumerate(prep.lenses)}
    long = len(prep.lenses) > LONG_JOB
    counts = {kind: sum(finding.severity == kind for finding in urgent) for kind in ("fix", "watch")}
    return {
        "counts": counts,
        "findings": [] if long else [_located(finding, places) for finding in urgent],
        "kinds": _kinds(urgent, places) if long else [],
    }


def _located(finding: Finding, places: dict[str, int]) -> dict[str, Any]:
    return {**finding_words(finding), "lens": places.get(finding.lens_id) if finding.lens_id else None}


def _kinds(findings: Iterable[Finding], places: dict[str, int]) -> list[dict[str, Any]]:
    """Findings of one kind in one entry: how many, the worst in words, and the lenses they are about."""
    groups: dict[tuple[str, str], list[Finding]] = {}
    for finding in findings:
        groups.setdefault((finding.severity, finding.code), []).append(finding)
    return [_kind(members, places) for members in groups.values()]


def _kind(members: Sequence[Finding], places: dict[str, int]) -> dict[str, Any]:
    names = list(dict.fromkeys(member.lens_id or member.subject for member in members))
    what = "lens" if members[0].lens_id else "finding"
    plural = {"lens": "lenses", "finding": "findings"}[what]
    return {
        **_located(members[0], places),
        "lenses": f"1 {what}" if len(names) == 1 else f"{len(names)} {plural}",
        "names": _names(names) if len(names) > 1 else "",
    }


def _names(names: Sequence[str]) -> str:
    more = len(names) - _FEW_NAMES
    return ", ".join(names[:_FEW_NAMES]) + (f" and {more} more (see the table)" if more > 0 else "")


def _lens_row(entry: LensPrep, index: int) -> dict[str, Any]:
    """One row of a table of lenses."""
    widest, shooting = entry.budget("widest"), entry.budget("shooting")
    shown = shooting or widest
    return {
        "lens": index,
        "name": name_of(entry),
        "serial": serial_in_column(entry),
        "camera": cameras_in_column(entry),
        "widest": share_at(widest.budget.worst_own if widest else None, entry.widest),
        "shooting": share_at(shooting.budget.worst_own if shooting else None, entry.shooting),
        "bar": min(shown.budget.worst_own, 1.5) if shown else None,
        "plus_minus": map_plus_minus(entry),
        "state": state_of(entry.findings),
    }


# --- the page of a lens ---------------------------------------------------------------------------------------


def _lens(entry: LensPrep, readings: Sequence[Reading]) -> dict[str, Any]:
    row = rule_row(entry)
    return {
        "title": entry.title,
        "facts": lens_facts(entry),
        "lines": page_lines(entry),
        "moved": bool(moved_word(entry)),
        "safe": safe_said(entry),
        "note": entry.lens.note,
        "state": state_of(entry.findings),
        "findings": [finding_words(finding) for finding in entry.findings],
        "unit": UNIT_SIGN[entry.lens.unit],
        "unit_name": f"in {UNIT_NAME[entry.lens.unit]}",
        "map": _picture(map_picture(entry)),
        "map_alt": f"Focus map of {entry.title}: ring position against distance, and each mark off the map.",
        "no_map": _no_map(entry),
        "read": readings_so_far(readings, entry) if entry.focus_map is None else [],
        "marks": _marks(entry),
        "rounds": [_rounds(entry, system) for system in _systems(entry)],
        "budgets": [_budget(view, entry) for view in _distinct_budgets(entry)],
        "chance": chance_words(entry, _distinct_budgets(entry)),
        "rule": _rule(entry) if row else None,
        "depth": _depth(entry),
        "rings": [_ring(axis, entry) for key, axis in entry.axes.items() if key != "focus"],
        "rests_on": rests_on(entry),
        "assumptions": list(entry.assumptions),
    }


def _picture(svg: str | None) -> dict[str, Any] | None:
    return None if svg is None else _sized(svg)


def _sized(svg: str) -> dict[str, Any]:
    """A picture with its width and height in points, as it gives them itself."""
    width, height = svg.partition('viewBox="0 0 ')[2].partition('"')[0].split(" ")
    return {"svg": svg, "width": float(width), "height": float(height)}


def _systems(entry: LensPrep) -> list[str]:
    """The systems that ring positions are printed in, the lens's own first."""
    found = {row.system for row in entry.rounds}
    return sorted(found, key=lambda system: system != entry.system)


def _no_map(entry: LensPrep) -> str | None:
    """Why there are no ring positions; None when there are."""
    axis = entry.axes.get("focus")
    if axis is None or axis.lens_map is None:
        return f"No focus map: {axis.refusal if axis and axis.refusal else 'no readings'}."
    return None if usable_map(entry) else "The map turns back on itself, so no ring positions are given."


def _marks(entry: LensPrep) -> dict[str, Any]:
    """The table of marks, nearest first."""
    both = not entry.one_way
    stops = [(entry.widest, "used_widest"), (entry.shooting, "used_shooting")]
    if entry.widest and entry.shooting and entry.widest.text == entry.shooting.text:
        stops = stops[:1]
    rows = [
        {
            "cells": [
                mark_text(mark, both_ways=both),
                bare_position(mark.position, entry),
                signed_position(mark.error, entry),
                *(share_in_column(getattr(mark, name)) for stop, name in stops if stop),
            ],
            "suspect": mark.suspect,
        }
        for mark in entry.marks
    ]
    return {
        "stops": [stop.text for stop, _ in stops if stop],
        "rows": rows,
        "starred": both and any(not mark.both_ways for mark in entry.marks),
    }


def _rounds(entry: LensPrep, system: str) -> dict[str, Any]:
    """Ring positions in one system."""
    rows = [row for row in entry.rounds if row.system == system]
    widths = half_widths([row.plus_minus for row in rows])
    return {
        "system": {"metric": "metres", "imperial": "feet"}[system],
        "rows": [(row.text, bare_position(row.position, entry), w) for row, w in zip(rows, widths, strict=True)],
    }


def _distinct_budgets(entry: LensPrep) -> list[Any]:
    """Both budgets, or one where the shooting stop is the widest."""
    seen: dict[str, Any] = {}
    for view in entry.budgets:
        seen.setdefault(view.stop.text, view)
    return list(seen.values())


def _budget(view: Any, entry: LensPrep) -> dict[str, Any]:  # noqa: ANN401 - a BudgetView
    own, total = (percent_text(share) for share in (view.budget.worst_own, view.budget.worst_total))
    return {
        **_sized(budget_picture(view, entry)),
        "alt": f"Focus budget of {entry.title} at {view.stop.text}.",
        "words": f"{view.stop.text}: {own} at {view.worst_text}, with a taped distance {total}",
    }


def _rule(entry: LensPrep) -> dict[str, Any]:
    row = rule_row(entry)
    stop = entry.shooting or entry.widest
    return {
        "ladder": _picture(rule_picture(entry, all_stops=True)),
        "single": _picture(rule_picture(entry, all_stops=False)),
        "alt": f"Depth rule of {entry.title}.",
        "focus": row.text if row else "",
        "stop": stop.text if stop else entry.depth_stops[0].text,
    }


def _depth(entry: LensPrep) -> dict[str, Any] | None:
    """The depth table; None without a focal length."""
    if not entry.depth_rows:
        return None
    wanted = entry.shooting.text if entry.shooting else None
    return {
        "stops": [{"text": stop.text, "shooting": stop.text == wanted} for stop in entry.depth_stops],
        "rows": [{"text": row.text, "limits": depth_limits(row)} for row in entry.depth_rows],
    }


def _ring(axis: AxisPrep, entry: LensPrep) -> dict[str, Any]:
    """An iris or zoom ring: its picture and positions, or why there are none."""
    lens_map = axis.lens_map
    name = axis.axis
    if lens_map is None or not lens_map.monotone:
        reason = axis.refusal or "its readings turn back on themselves"
        return {"name": name, "picture": None, "refusal": f"No {name} map: {reason}.", "rows": []}
    ticks = ring_ticks(lens_map)
    positions, widths = lens_map.position_band([tick.value for tick in ticks])
    texts = half_widths(widths.tolist())
    rows = [
        (tick.text, bare_position(position, entry), width)
        for tick, position, width in zip(ticks, positions.tolist(), texts, strict=True)
    ]
    return {
        "name": name,
        "picture": _picture(ring_picture(axis, entry)),
        "alt": f"{name.capitalize()} map of {entry.title}.",
        "refusal": None,
        "rows": rows,
    }


# --- the page of a camera -------------------------------------------------------------------------------------


def _camera(camera: CameraPrep, prep: Prep, places: dict[str, int]) -> dict[str, Any]:
    lenses = [prep.lens(lens_id) for lens_id in camera.lens_ids]
    found = [finding for entry in lenses for finding in entry.findings] + list(camera.findings)
    urgent = sort_findings(finding for finding in found if finding.severity in ("fix", "watch"))
    record = camera.camera
    sensor = (
        f"{record.sensor_width_mm:g} × {record.sensor_height_mm:g} mm"
        if record.sensor_width_mm and record.sensor_height_mm
        else "not given"
    )
    facts = [
        ("recorded area", sensor),
        ("photosite", f"{record.photosite_um:g} µm" if record.photosite_um else "not given"),
        ("sharp is", f"blur up to {format_length_mm(camera.coc_m)} ({camera.coc_text})"),
        ("tape colour", record.colour or "none"),
    ]
    return {
        "letter": record.letter,
        "name": record.name,
        "facts": facts,
        "rows": [_lens_row(entry, places[entry.lens.id]) for entry in lenses],
        "findings": [_located(finding, places) for finding in urgent[:CAMERA_FINDINGS]],
        "more": max(0, len(urgent) - CAMERA_FINDINGS),
    }
