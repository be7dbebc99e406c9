"""What the bench shows of one lens: readings mark by mark, what each uses of the depth, the map, what to do next."""

import math
import re
from collections.abc import Iterator, Sequence
from dataclasses import dataclass

from tapehook.book.measuring import Measurement
from tapehook.finding import Finding
from tapehook.handover.handed_on import lens_lines
from tapehook.handover.pdf_pictures import map_chart_of
from tapehook.job import ChartTest, Lens, Reading
from tapehook.job.rear_filters import NOTHING
from tapehook.notation import format_distance, format_position
from tapehook.pages.desk import JobNow
from tapehook.pages.through import ThroughView, through_views
from tapehook.pages.words import percent
from tapehook.prep import LensPrep, MarkRow
from tapehook.prep.next_mark import Advice, next_advice

CHART_WIDTH, CHART_HEIGHT = 620.0, 340.0
NARROW_WIDTH, NARROW_HEIGHT = 330.0, 300.0
SAME_MARK = 1e-9
WAY_WORDS = {"near_to_far": "near→far", "far_to_near": "far→near"}
_BARE = re.compile(r"[\d.,/½¼¾⅛⅜⅝⅞ ]+(?:ft|m)$")
"""A bare number as it is kept, with the unit it was taken for: shown in house style."""


@dataclass(frozen=True, slots=True)
class Cell:
    """One reading in the table: the key that a correction names, the position as read, who read it and when."""

    key: str
    position: str
    title: str


@dataclass(frozen=True, slots=True)
class BenchRow:
    """One mark: distance as written, readings by way, and what it uses of the depth at the stop of the table."""

    text: str
    near_to_far: tuple[Cell, ...]
    far_to_near: tuple[Cell, ...]
    used: str
    severity: str
    taped: bool


@dataclass(frozen=True, slots=True)
class ChartRow:
    """One chart test: its distance, best focus and stop, and in ``said`` what else was written down of it."""

    key: str
    at: str
    position: str
    stop: str
    said: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class Bench:
    """All the bench shows of a lens. ``stop`` is the one the shares hold for, None where none is known."""

    lens: Lens
    entry: LensPrep
    stop: str | None
    rows: tuple[BenchRow, ...]
    charts: tuple[ChartRow, ...]
    findings: tuple[Finding, ...]
    advice: Advice
    picture: str | None
    picture_narrow: str | None
    through: tuple[ThroughView, ...]
    """The lens bare, with its extender, behind its port; empty where it has neither."""
    told: tuple[tuple[str, str], ...]
    """Quirks and condition as somebody wrote them down, each with its label; empty where nobody did."""
    last: str
    """What undo would take back, in words; empty for nothing."""


def bench_of(now: JobNow, entry: LensPrep, row_id: str, pictures: Sequence[str] = ()) -> Bench:
    """The bench of one lens of a job, with the ``pictures`` wanted: "wide", "narrow" or both."""
    lens = now.lens(row_id)
    stop = entry.shooting or entry.widest
    measured = [one for one in now.rows["reading"] if one.row_id == row_id]
    rows = _rows(measured, entry)
    return Bench(
        lens=lens,
        entry=entry,
        stop=stop.text if stop else None,
        rows=rows,
        charts=_charts(now, entry, row_id),
        findings=entry.findings,
        advice=next_advice(entry, now.job, most=3),
        picture=map_chart_of(entry, CHART_WIDTH, CHART_HEIGHT) if "wide" in pictures else None,
        picture_narrow=map_chart_of(entry, NARROW_WIDTH, NARROW_HEIGHT) if "narrow" in pictures else None,
        through=through_views(entry),
        told=tuple(lens_lines(lens)),
        last=_last(measured, lens),
    )


def _rows(measured: Sequence[Measurement], entry: LensPrep) -> tuple[BenchRow, ...]:
    """One row a mark, the nearest first, as they stand on the ring."""
    grouped: dict[float, list[tuple[Measurement, Reading]]] = {}
    for one in measured:
        record = one.record()
        if isinstance(record, Reading) and record.axis == "focus":
            grouped.setdefault(_same_mark(record.value), []).append((one, record))
    rows = []
    for value, pairs in sorted(grouped.items()):
        text = pairs[0][1].written or format_distance(value, entry.system)
        mark = _mark_at(entry.marks, value)
        used, severity = _used(mark, entry)
        shown = format_distance(value, "imperial" if text.endswith("ft") else "metric") if _BARE.match(text) else text
        rows.append(
            BenchRow(
                shown,
                tuple(_cell(one, reading, entry) for one, reading in pairs if reading.approach != "far_to_near"),
                tuple(_cell(one, reading, entry) for one, reading in pairs if reading.approach == "far_to_near"),
                used,
                severity,
                any(reading.method == "taped" for _, reading in pairs),
            )
        )
    return tuple(rows)


def _same_mark(value: float) -> float:
    """A distance as marks are told apart: 3', 3 ft and 0.9144 m are one mark, however each was written down."""
    return value if math.isinf(value) else float(f"{value:.9g}")


def _mark_at(marks: Sequence[MarkRow], value: float) -> MarkRow | None:
    for mark in marks:
        if mark.value == value or math.isclose(mark.value, value, rel_tol=SAME_MARK):
            return mark
    return None


def _used(mark: MarkRow | None, entry: LensPrep) -> tuple[str, str]:
    """What a mark uses of the depth at the shooting stop, else the widest, in words, and how bad it is."""
    if mark is None:
        return "", ""
    share = mark.used_shooting if entry.shooting else mark.used_widest
    if mark.suspect:
        return (percent(share) if share is not None else "check it"), "fix"
    if share is None:
        return "", ""
    return percent(share), "fix" if share > 1.0 else ""


def _cell(one: Measurement, reading: Reading, entry: LensPrep) -> Cell:
    position = _figure(reading.position, entry)
    way = {"near_to_far": "", "far_to_near": ""}.get(reading.approach or "", ", which way was not written down")
    return Cell(one.id.hex(), position, f"by {one.who}, {one.when[:16].replace('T', ' ')} UTC{way}")


def _figure(position: float, entry: LensPrep) -> str:
    """A position as the read-out shows it, without the unit: that stands over the column."""
    text = format_position(position, entry.lens.unit, step=entry.lens.reading_step)
    return text.removesuffix("°").removesuffix("%").removesuffix("mm").strip()


def _charts(now: JobNow, entry: LensPrep, row_id: str) -> tuple[ChartRow, ...]:
    """The chart tests in the order they were made."""
    found = []
    for one in now.rows["chart"]:
        test = one.record()
        if one.row_id == row_id and isinstance(test, ChartTest):
            distance = test.written or format_distance(test.chart_distance_m, entry.system)
            position = "" if test.position is None else _figure(test.position, entry)
            stop = f"T{test.t_stop:g}" if test.t_stop else "wide open"
            found.append(ChartRow(one.id.hex(), distance, position, stop, tuple(_said_of(test, entry.lens))))
    return tuple(found)


def _said_of(test: ChartTest, lens: Lens) -> Iterator[str]:
    """What sets a chart test apart from others at its distance; of an anamorphic lens also that lines are not known."""
    if test.lines or (lens.squeeze or 1.0) > 1.0:
        yield f"{test.lines} lines" if test.lines else "lines not noted"
    if test.approach:
        yield WAY_WORDS[test.approach]
    if test.focal_mm and lens.kind == "zoom":
        yield f"{test.focal_mm:g} mm"
    if test.camera:
        yield f"on {test.camera}"
    if test.chart_width_m and test.frame_fill:
        yield f"{test.chart_width_m * 1e3:g} mm fills {test.frame_fill * 100:.4g} %"
    if test.rear_filter:
        yield "no glass behind" if test.rear_filter.casefold() == NOTHING else f"behind it {test.rear_filter}"


def _last(measured: Sequence[Measurement], lens: Lens) -> str:
    """The reading made last, in words."""
    if not measured:
        return ""
    newest = max(measured, key=lambda one: one.id)
    reading = newest.record()
    if not isinstance(reading, Reading):
        return ""
    position = format_position(reading.position, lens.unit, step=lens.reading_step)
    return f"{reading.written or reading.value} at {position}, by {newest.who}"
