"""Figures of a prepared lens as the texts that stand on paper: positions, shares with their stop, near and far."""

import math
from collections.abc import Iterable, Sequence
from typing import Any

from tapehook.finding import SIGN, Finding, Severity
from tapehook.handover.glyphs import printable
from tapehook.job.records import PositionUnit, Reading
from tapehook.lens import LensMap
from tapehook.notation import format_distance, format_f_number, format_length_mm, format_position
from tapehook.picture import percent_text
from tapehook.picture.lettering import shortened
from tapehook.prep import BudgetView, DepthRow, LensPrep, MarkRow, PupilSource, StopView
from tapehook.prep.forgiveness import chance_at_worst
from tapehook.prep.room import optics_of
from tapehook.shot.forgiveness import LEAN_M, MISSED_MARK_M, SWAY_M

UNIT_NAME: dict[PositionUnit, str] = {
    "deg": "degrees",
    "count": "counts",
    "percent": "per cent of travel",
    "mm": "millimetres of arc",
}
UNIT_SIGN: dict[PositionUnit, str] = {"deg": "°", "count": "counts", "percent": "%", "mm": "mm"}
_WAYS = {-1: "from near to far only", 1: "from far to near only", 0: "one way only, which was not written down"}
_MOST_DECIMALS = 3
_COLUMN_SIGNS = 8
"""Signs of a position that fit a column; read-outs of such a kind have fewer digits, so that none is lost."""
_NO_DEPTH = 1e-9
"""From near to far, as a part of the distance: less than this is rounding."""
_SIZE = 9.5
_MARK_ROOM, _SERIAL_ROOM, _CAMERA_ROOM, _FACT_ROOM = 50.0, 68.0, 34.0, 220.0
"""Size of the letters in tables, and the room for the names of marks, serials, cameras and lenses: points."""


def bare_position(value: float, entry: LensPrep) -> str:
    """A position without its unit, for a column that names it."""
    suffix = format_position(0.0, entry.lens.unit).lstrip("0.")
    steps = (entry.lens.reading_step, None)
    texts = [format_position(value, entry.lens.unit, step=step).removesuffix(suffix).strip() for step in steps]
    fitting = next((text for text in texts if len(text) <= _COLUMN_SIGNS), None)
    return fitting or f"{value:.3g}"


def signed_position(value: float, entry: LensPrep) -> str:
    """A difference of positions with its sign, one decimal finer than the read-out: a share hangs on it.

    Nothing before a zero; no decimals for counts.
    """
    step = entry.lens.reading_step
    decimals = 2 if step is None else min(max(1, 1 - math.floor(math.log10(step) + 1e-9)), _MOST_DECIMALS)
    text = f"{abs(value):.{0 if entry.lens.unit == 'count' else decimals}f}"
    text = text if len(text) < _COLUMN_SIGNS else f"{abs(value):.2g}"
    if float(text) == 0:
        return text
    return ("+" if value > 0 else "−") + text


def half_widths(values: Sequence[float]) -> list[str]:
    """A column of 95 % half-widths with equally many decimals, so many that the smallest does not read as zero."""
    smallest = min((value for value in values if value > 0 and math.isfinite(value)), default=1.0)
    decimals = min(max(0, -math.floor(math.log10(smallest))), _MOST_DECIMALS)
    return [f"{value:.{decimals}f}" if math.isfinite(value) else "not known" for value in values]


def share_at(share: float | None, stop: StopView | None) -> str:
    """A share with its stop, "47 % at T2.8"; a dash when it could not be worked out."""
    return "–" if share is None or stop is None else f"{percent_text(share)} at {stop.text}"


def depth_limits(row: DepthRow) -> list[tuple[str, str]]:
    """Near and far of one distance at each stop, the dash that joins them with the near one.

    Where the depth is so thin that house style would write near or far like the focus itself, how far they are from
    it stands instead: "−3.1", "+3.2 mm". "no focus" where the lens cannot focus that near.
    """
    pairs = [_limits(near, far, row) for near, far in zip(row.near_m, row.far_m, strict=True)]
    # A row has the height of one line: a number must not part from its unit.
    return [(near.replace(" ", "\u00a0"), far.replace(" ", "\u00a0")) for near, far in pairs]


def _limits(near_m: float, far_m: float, row: DepthRow) -> tuple[str, str]:
    if math.isnan(near_m) or math.isnan(far_m):
        return "no focus", ""
    if near_m == far_m or (math.isfinite(row.distance_m) and far_m - near_m <= _NO_DEPTH * row.distance_m):
        return "no depth", ""
    near, far = format_distance(near_m, row.system), format_distance(far_m, row.system)
    if row.text in (near, far) and math.isfinite(row.distance_m):
        nearer, farther = (
            _thin(length_m, row.system) for length_m in (row.distance_m - near_m, far_m - row.distance_m)
        )
        return f"−{nearer.removesuffix(' mm')}", f"+{farther}"
    return f"{near} –", far


def _thin(length_m: float, system: str) -> str:
    """A length too short for house style: tenths of a millimetre below 10 mm, hundredths of an inch."""
    if math.isinf(length_m):
        return "∞"
    if system == "imperial":
        return f'{length_m / 0.0254:.2f}"'
    return f"{length_m * 1e3:.1f} mm" if length_m < 0.01 else f"{length_m * 1e3:.0f} mm"


def finding_words(finding: Finding) -> dict[str, str]:
    """A finding for the template: sign, word, and its sentences."""
    return {
        "severity": finding.severity,
        "sign": SIGN[finding.severity],
        "subject": finding.subject,
        "message": finding.message,
        "next": finding.next_step,
    }


def state_of(findings: Iterable[Finding]) -> dict[str, str]:
    """The worst there is to act on, as sign and word; "clear" when there is nothing to fix or to watch."""
    kinds = {finding.severity for finding in findings}
    urgent: tuple[Severity, ...] = ("fix", "watch")
    for kind in urgent:
        if kind in kinds:
            return {"severity": kind, "sign": SIGN[kind], "word": kind}
    return {"severity": "clear", "sign": "✓", "word": "clear"}


def name_of(entry: LensPrep) -> str:
    """What a lens is called, without its serial number."""
    return entry.title.rsplit(" · ", 1)[0]


def serial_of(entry: LensPrep) -> str:
    """Its serial number, or that nobody read it."""
    return entry.lens.serial or "serial not read"


def cameras_text(entry: LensPrep) -> str:
    """Letters of the cameras that carry it."""
    letters = (entry.lens.camera or "").split()
    return ", ".join(shortened(printable(letter), _SIZE, _SERIAL_ROOM) for letter in letters) or "all"


def serial_in_column(entry: LensPrep) -> str:
    """The serial number, shortened to its column: the page of the lens has it in full."""
    return shortened(printable(serial_of(entry)), _SIZE, _SERIAL_ROOM)


def cameras_in_column(entry: LensPrep) -> str:
    """Letters of the cameras, each shortened to its column."""
    letters = (entry.lens.camera or "").split()
    return " ".join(shortened(printable(letter), _SIZE, _CAMERA_ROOM) for letter in letters) or "all"


def usable_map(entry: LensPrep) -> LensMap | None:
    """The focus map, unless it turns back on itself."""
    lens_map = entry.focus_map
    return lens_map if lens_map is not None and lens_map.monotone else None


def map_plus_minus(entry: LensPrep) -> str:
    """The widest 95 % half-width among the ring positions printed for the lens, with its unit."""
    widths = [row.plus_minus for row in entry.rounds]
    if not widths:
        return "no map"
    rounded = float(f"{max(widths):.2g}")
    number = f"{rounded:.0f}" if rounded >= 100 else f"{rounded:g}"
    sign = UNIT_SIGN[entry.lens.unit]
    return f"± {number}" + ("" if sign == "counts" else sign if sign == "°" else f" {sign}")


def mark_text(mark: MarkRow, *, both_ways: bool) -> str:
    """A mark's name, shortened to its column; with a star when it was read one way only and others both ways."""
    star = "*" if both_ways and not mark.both_ways else ""
    return shortened(printable(mark.text), _SIZE, _MARK_ROOM, bold=mark.suspect) + star


def share_in_column(share: float | None) -> str:
    """A share where the head of the column names the stop."""
    if share is None:
        return "–"
    return percent_text(share) if share < 10.0 or math.isinf(share) else "> 999 %"


def lens_facts(entry: LensPrep) -> list[tuple[str, str]]:
    """Label and value of what is known of a lens, for the head of its page."""
    lens = entry.lens
    return [
        ("lens", shortened(printable(" · ".join(filter(None, (lens.id, lens.model)))), _SIZE, _FACT_ROOM)),
        ("camera", cameras_text(entry)),
        ("widest", _stop_words(entry.widest)),
        ("shooting", _stop_words(entry.shooting) if entry.shooting else "not set"),
        ("close focus", format_distance(entry.close_focus_m, entry.system) if entry.close_focus_m else "not known"),
        ("positions in", UNIT_NAME[lens.unit]),
        ("read", _ways(entry)),
        ("positions rise", _rise(entry)),
        ("backlash", _play(entry)),
    ]


def _stop_words(stop: StopView | None) -> str:
    return f"{stop.text} ({format_f_number(stop.f_number)})" if stop else "not known"


def _ways(entry: LensPrep) -> str:
    if entry.focus_map is None:
        return "no map yet"
    return _WAYS[entry.focus_map.marks.way] if entry.one_way else "both ways"


def _rise(entry: LensPrep) -> str:
    """Which end of the ring has the larger positions: as the map says, else as the list does."""
    lens_map = entry.focus_map
    if lens_map is not None:
        return "toward near" if lens_map.toward_near > 0 else "toward infinity"
    return {"near": "toward near", "far": "toward infinity", None: "not known"}[entry.lens.rises_toward]


def _play(entry: LensPrep) -> str:
    if entry.play is None:
        return "not known"
    unit = UNIT_SIGN[entry.lens.unit]
    value, spread = half_widths([abs(entry.play.value), 1.96 * entry.play.sd])
    return f"{value} ± {spread}{'' if unit == '°' else ' '}{unit}"


_PUPIL: dict[PupilSource, tuple[str, str]] = {
    "given": ("given", "measured"),
    "charts": ("from charts", "measured"),
    "thin": ("thin lens", "assumed"),
}


def rests_on(entry: LensPrep) -> list[tuple[str, str, str]]:
    """What the depth of a lens rests on: name, value, and how sure it is."""
    known = {True: "measured", False: "assumed"}
    floor = format_length_mm(entry.blur_floor_m) if entry.blur_floor_m else "none"
    rows = [
        ("sharp is", f"blur up to {format_length_mm(entry.coc_m)}", entry.coc_text),
        ("transmission", f"{entry.transmission * 100:.0f} %", known[entry.transmission_known]),
        ("blur floor", floor, known[bool(entry.blur_floor_m)]),
        ("pupil data", *_PUPIL[entry.pupil_source or "thin"]),
    ]
    if entry.depth_uncertainty is not None:
        rows.append(("depth", *_depth_trust(*entry.depth_uncertainty)))
    return rows


def _depth_trust(low: float, high: float) -> tuple[str, str]:
    """The uncertainty of the width of the depth: (value, what it is of)."""
    if high == 0:
        return "exact for a lens that focuses as a whole", "from pupil data"
    top = f"{high * 100:.0f} %" if math.isfinite(high) else "not known close up"
    both = top if low == high else f"{low * 100:.0f} to {top}"
    return f"± {both} of its width", "widest close up" if low != high else "at any distance"


def chance_words(entry: LensPrep, budgets: Sequence[BudgetView]) -> dict[str, Any]:
    """How likely somebody who strays is sharp where the lens uses most, at the stop of each budget, and what strays is.

    "there" is empty without a focal length, and where the lens uses most at infinity, from which nobody strays.
    """
    optics = optics_of(entry)
    finite = [view for view in budgets if math.isfinite(float(view.budget.distance_m[view.budget.worst]))]
    chances = [] if optics is None else [(chance_at_worst(view, optics), view.stop.text) for view in finite]
    told = ", ".join(f"{100 * chance:.0f} % at {stop}" for chance, stop in chances)
    centimetres = " by {:.0f}, lean by {:.0f}, sway by {:.0f} cm".format(
        *(100 * spread_m for spread_m in (MISSED_MARK_M, LEAN_M, SWAY_M))
    )
    return {
        "there": f"chance to be sharp there: {told}" if told else "",
        "strays": (
            "chance",
            f"people miss their mark{centimetres}",
            "one standard deviation each; common practice, no source",
        ),
    }


def readings_so_far(readings: Iterable[Reading], entry: LensPrep) -> list[tuple[str, str, str]]:
    """Readings that make no map yet, nearest first: distance, position arriving from near, and from far.

    One whose way nobody wrote down stands under both, with a question mark.
    """
    rows: dict[float, tuple[str, list[str], list[str]]] = {}
    for reading in sorted(readings, key=lambda reading: reading.value):
        text = reading.written or format_distance(reading.value, entry.system)
        _, from_near, from_far = rows.setdefault(reading.value, (text, [], []))
        position = bare_position(reading.position, entry)
        if reading.approach is None:
            position += "?"
        if reading.approach != "far_to_near":
            from_near.append(position)
        if reading.approach != "near_to_far":
            from_far.append(position)
    return [(text, ", ".join(near), ", ".join(far)) for text, near, far in rows.values()]
