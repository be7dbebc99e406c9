"""The pocket page: one HTML file that works on a phone with no network, and reads well even without scripts.

Static tables hold what ``prepare`` found, so that a phone's file preview shows it. The scripts in ``web/`` add the
search, the sliders and the depth rule; they work on figures that travel in the page as data. Nothing is fetched,
ever: fonts, style and scripts are inside, and the page's own policy forbids the rest.
"""

import base64
import hashlib
import json
import math
import re
from collections.abc import Iterable, Mapping, Sequence
from importlib.resources import files
from string import Template
from typing import Any, Literal

import numpy as np

from tapehook.finding import SIGN, Finding
from tapehook.handover.handed_on import lens_lines, safe_words
from tapehook.handover.markup import html_table as _table
from tapehook.handover.markup import html_text as _text
from tapehook.handover.pocket_lens import known_strips, marks_of, strip_of
from tapehook.handover.pocket_moves import moves_data, third_stops
from tapehook.lens import FocusScale, LensMap
from tapehook.notation import format_distance, format_length_mm, format_position
from tapehook.optics import Pupil, nearest_possible_m, thin_pupil
from tapehook.prep import BudgetView, DepthRow, LensPrep, Prep, PupilSource, RoundRow, StopView
from tapehook.prep.forgiveness import chance_at_worst, room_words
from tapehook.prep.room import optics_of
from tapehook.prep.shooting_map import move_words
from tapehook.prep.strips import LensStrip

GRID_POINTS = 241
"""Points of each map in the page, even in place; between them the page draws a cubic (web/depth.js)."""

_INCH_M = 0.0254
_SHALLOW_M = 2 * _INCH_M
_EIGHTHS = ("", "⅛", "¼", "⅜", "½", "⅝", "¾", "⅞")

_COMMENT_LINES = re.compile(r"^[ \t]*(?://[^\n]*|/\*.*?\*/[ \t]*)\n", re.MULTILINE | re.DOTALL)
_SCRIPTS = ("depth.js", "notation.js", "search.js", "rule.js", "dials.js", "pocket.js")
"""In the order of who uses whom; joined to one module, as a page opened from a file may load no other."""
_WEIGHTS = (("Regular", 400), ("SemiBold", 600))
_WAYS = {-1: "from near to far only", 1: "from far to near only", 0: "one way only, nobody wrote down which"}
_WEB = files("tapehook") / "handover" / "web"
_FONTS = files("tapehook") / "handover" / "fonts"


def render_pocket(prep: Prep, strips: Mapping[str, LensStrip] | None = None) -> str:
    """The pocket page of a prepared job, as the text of one HTML file. The same for the same ``prep``, always.

    ``strips`` by lens are shown as pictures; None takes those of the lenses whose ring is known.
    """
    shown = known_strips(prep) if strips is None else strips
    style = _style()
    script = _script()
    return Template(_asset("pocket.html")).substitute(
        policy=_policy(style, script),
        title=_text(prep.job.title),
        subtitle=_subtitle(prep),
        general=_general(prep),
        sheets="\n".join(_sheet(entry, index, shown) for index, entry in enumerate(prep.lenses)),
        style=style,
        data=_json(job_data(prep)),
        script=script,
    )


# --- what the page is made of -------------------------------------------------------------------------------


def _asset(name: str) -> str:
    return (_WEB / name).read_text(encoding="utf-8")


def _style() -> str:
    """The style sheet with both fonts inside."""
    return "\n".join([*(_font_face(name, weight) for name, weight in _WEIGHTS), _asset("pocket.css")])


def _font_face(name: str, weight: int) -> str:
    woff2 = base64.b64encode((_FONTS / f"IBMPlexSans-{name}.woff2").read_bytes()).decode("ascii")
    return (
        f'@font-face{{font-family:"IBM Plex Sans";font-weight:{weight};font-display:block;'
        f'src:url("data:font/woff2;base64,{woff2}") format("woff2")}}'
    )


def _script() -> str:
    """All scripts as one module: no imports left, no exports needed, and no comments sent from phone to phone."""
    joined = "\n".join(_asset(name) for name in _SCRIPTS)
    joined = _COMMENT_LINES.sub("", joined)
    without_imports = re.sub(r'^import \{[^}]*\} from "\./\w+\.js";\n', "", joined, flags=re.MULTILINE)
    return re.sub(r"^export (?=(?:class|const|function)\b)", "", without_imports, flags=re.MULTILINE)


def _policy(style: str, script: str) -> str:
    """Content Security Policy: this style, this script, fonts from inside, and nothing from anywhere else."""
    return (
        f"default-src 'none'; style-src '{_digest(style)}'; script-src '{_digest(script)}'; "
        "font-src data:; img-src data:; base-uri 'none'; form-action 'none'"
    )


def _digest(inline: str) -> str:
    return "sha256-" + base64.b64encode(hashlib.sha256(inline.encode("utf-8")).digest()).decode("ascii")


def _json(data: dict[str, Any]) -> str:
    """JSON that cannot end the script element it stands in: ASCII only, and no <, > or &."""
    text = json.dumps(data, allow_nan=False, separators=(",", ":"))
    return text.replace("<", "\\u003c").replace(">", "\\u003e").replace("&", "\\u0026")


# --- the figures the scripts work on ------------------------------------------------------------------------


def job_data(prep: Prep) -> dict[str, Any]:
    """What the page's scripts work on, as plain JSON values: every figure of every lens, in SI units."""
    return {
        "title": prep.job.title,
        "stops": _third_stops(),
        "lenses": [_lens_data(entry) for entry in prep.lenses],
    }


def _third_stops() -> list[dict[str, Any]]:
    """Whole and third stops to T22, with the numbers that depth is computed from."""
    return [{"text": text, "t": t} for text, t in third_stops()]


def _lens_data(entry: LensPrep) -> dict[str, Any]:
    lens = entry.lens
    lens_map = _usable_map(entry)
    shown, moves = _map_data(lens_map), moves_data(entry)
    if shown is not None and moves is not None:
        shown["moves"] = moves
    near_m, near_known = _near_end(entry)
    return {
        "id": lens.id,
        "title": entry.title,
        "serial": lens.serial,
        "model": lens.model,
        "camera": lens.camera,
        "twin": lens.twin_of,
        "focalMm": lens.focal_mm,
        "focalMinMm": lens.focal_min_mm if lens.kind == "zoom" else None,
        "system": entry.system,
        "worst": _worst(entry.findings),
        "alarms": [finding.message for finding in entry.findings if finding.severity == "fix"],
        "optics": _optics_data(entry),
        "nearM": near_m,
        "nearKnown": near_known,
        "widest": _stop_data(entry.widest),
        "shooting": _stop_data(entry.shooting),
        "unit": lens.unit,
        "step": lens.reading_step,
        "map": shown,
        "noMap": _no_map(entry),
        "oneWay": _one_way(entry),
    }


def _optics_data(entry: LensPrep) -> dict[str, Any] | None:
    """What the depth rests on; a null pupil is the thin lens, a null transmission is not known."""
    if not entry.lens.focal_mm:
        return None
    return {
        "focalM": entry.depth_focal_m or entry.lens.focal_mm * 1e-3,
        "pupil": _pupil_data(entry.pupil) if entry.pupil_known else None,
        "spread": _spread_data(entry),
        "transmission": entry.transmission if entry.transmission_known else None,
        "cocM": entry.coc_m,
        "blurFloorM": entry.blur_floor_m,
    }


def _spread_data(entry: LensPrep) -> float | None:
    """Uncertainty of the width where charts gave the pupil, at its largest over the range and without the light's part.

    None where the page works it out itself, as without pupil data, or where there is none, as with typed ones.
    """
    if entry.pupil_source != "charts" or entry.depth_uncertainty is None:
        return None
    light = 0.0 if entry.transmission_known else 1.0 / math.sqrt(entry.transmission) - 1.0
    spread = entry.depth_uncertainty[1] - light
    return spread if math.isfinite(spread) else 1.0


def _pupil_data(pupil: Pupil | None) -> dict[str, float] | None:
    if pupil is None:
        return None
    place, enlarged = (np.asarray(value, dtype=np.float64).item() for value in (pupil.to_sensor_m, pupil.magnification))
    return {"toSensorM": place, "magnification": enlarged}


def _stop_data(stop: StopView | None) -> dict[str, Any] | None:
    return {"text": stop.text, "t": stop.t_number} if stop else None


def _near_end(entry: LensPrep) -> tuple[float, bool]:
    """Where the distance slider ends, metres, and whether that is the lens's own near end.

    Never nearer than life size, where a lens that focuses as a whole has no focus. Without close focus or marks it
    ends at 20 focal lengths, or at a metre.
    """
    focal_m = entry.depth_focal_m or 0.0
    near_m = entry.close_focus_m or (20.0 * focal_m if focal_m else 1.0)
    if not focal_m:
        return near_m, entry.close_focus_m is not None
    possible = float(nearest_possible_m(focal_m, entry.pupil or thin_pupil(focal_m))) * 1.02
    return max(near_m, possible), entry.close_focus_m is not None and near_m >= possible


def _usable_map(entry: LensPrep) -> LensMap | None:
    """The focus map, unless it turns back on itself."""
    lens_map = entry.focus_map
    return lens_map if lens_map is not None and lens_map.monotone else None


def _map_data(lens_map: LensMap | None) -> dict[str, Any] | None:
    """A map's grid; infinite distances are null."""
    if lens_map is None or not isinstance(lens_map.scale, FocusScale):
        return None
    _, positions, plus_minus = lens_map.grid(GRID_POINTS)
    return {
        "datumM": lens_map.scale.datum_m,
        "farM": _finite(lens_map.far_value),
        "nearM": lens_map.near_value,
        "farMarkM": _finite(float(lens_map.marks.values.max())),
        "nearMarkM": float(lens_map.marks.values.min()),
        # Seven digits: a thousandth of what any ring can be set to, and half the size of the page.
        "positions": [float(f"{value:.7g}") for value in positions],
        "plusMinus": [float(f"{value:.3g}") for value in plus_minus],
    }


def _finite(value: float) -> float | None:
    return value if math.isfinite(value) else None


def _no_map(entry: LensPrep) -> str | None:
    """The sentence that stands in place of a ring position; None when there is a map to go by."""
    axis = entry.axes.get("focus")
    if axis is None or axis.lens_map is None:
        refusal = axis.refusal if axis else None
        return f"No focus map: {refusal or 'no readings'}."
    return None if axis.lens_map.monotone else "The map turns back on itself, so no ring position is given."


def _one_way(entry: LensPrep) -> str | None:
    lens_map = entry.focus_map
    return f"Read {_WAYS[lens_map.marks.way]}." if entry.one_way and lens_map is not None else None


# --- the tables that need no script -------------------------------------------------------------------------


def _subtitle(prep: Prep) -> str:
    count = len(prep.lenses)
    stop = f"shot at {prep.shooting_stop_text}" if prep.shooting_stop_text else "no shooting stop set"
    return _text(f"{count} {'lens' if count == 1 else 'lenses'} · {stop}")


def _general(prep: Prep) -> str:
    """Findings that belong to no one lens, under a heading of their own."""
    items = _findings([finding for finding in prep.findings if finding.lens_id is None])
    return f'<section id="general" aria-label="The job as a whole"><h2>The job</h2>{items}</section>' if items else ""


def _sheet(entry: LensPrep, index: int, strips: Mapping[str, LensStrip]) -> str:
    """One lens as a fold-out: everything found, in tables."""
    parts = [
        _findings(entry.findings),
        *(_budget(view, entry) for view in {view.stop.text: view for view in entry.budgets}.values()),
        _rounds(entry),
        strip_of(entry, strips),
        _depth_table(entry),
        marks_of(entry),
        _facts(entry),
        _assumptions(entry.assumptions),
    ]
    camera = f"camera {entry.lens.camera}" if entry.lens.camera else None
    names = " · ".join(name for name in (entry.lens.id, entry.lens.model, camera) if name)
    line = f'<span class="quiet"><bdi>{_text(names)}</bdi></span>'
    worst = _worst(entry.findings)
    badge = _severity(worst) if worst in ("fix", "watch") else ""
    return (
        f'<details class="sheet" id="sheet-{index}"><summary><h2><bdi>{_text(entry.title)}</bdi></h2>'
        f"{line}{badge}</summary>{''.join(parts)}</details>"
    )


def _worst(findings: Iterable[Finding]) -> str | None:
    kinds = {finding.severity for finding in findings}
    return next((kind for kind in SIGN if kind in kinds), None)


def _severity(kind: str) -> str:
    """Sign and word, so that colour is never needed."""
    sign = next(sign for name, sign in SIGN.items() if name == kind)
    return f'<span class="severity {kind}"><span aria-hidden="true">{sign}</span> {kind}</span>'


def _findings(findings: Sequence[Finding]) -> str:
    items = "".join(
        f"<li>{_severity(finding.severity)}<p><bdi>{_text(finding.message)}</bdi> "
        f'<span class="next"><bdi>{_text(finding.next_step)}</bdi></span></p></li>'
        for finding in findings
    )
    return f'<ul class="findings">{items}</ul>' if items else ""


def _budget(view: BudgetView, entry: LensPrep) -> str:
    """The focus budget at one stop, as prep worked it out, where the lens itself uses most of the depth."""
    budget = view.budget
    terms = sorted(budget.at_worst(), key=lambda pair: pair[0].source != "lens")
    rows = [(f"{term.name}{' (assumed)' if term.assumed else ''}", share) for term, share in terms]
    largest = max([1.0, *(share for _, share in rows if math.isfinite(share))])
    lines = "".join(_budget_row(name, share, largest) for name, share in rows)
    stop = _text(view.stop.text)
    beside = "".join(f", with {term.name} {_percent(budget.worst_total)}" for term, _ in terms if term.source == "set")
    return (
        f"<h3>Focus budget at {stop}</h3><p><strong>depth used {_percent(budget.worst_own)}</strong> "
        f"at {stop} by the lens itself{_text(beside)}; worst at {_text(view.worst_text)}, 100 % = soft</p>"
        f"{_forgives(view, entry)}"
        f'<table class="budget"><tbody>{lines}</tbody></table>'
    )


def _forgives(view: BudgetView, entry: LensPrep) -> str:
    """The depth there in centimetres or inches, and the chance to be sharp of somebody who strays as usual."""
    optics = optics_of(entry)
    if optics is None:
        return ""
    chance = chance_at_worst(view, optics)
    return (
        f"<p>Sharp there {_text(room_words(view, entry.system))}: {100 * chance:.0f} % chance to be sharp for somebody "
        "who misses the mark by 10, leans by 5 and sways by 1 cm (one standard deviation each; common practice, no "
        "source).</p>"
    )


def _budget_row(name: str, share: float, largest: float) -> str:
    """One term: its name, a bar against 100 %, its figure."""
    length = 100.0 * min(share, largest) / largest
    bar = (
        '<svg viewBox="0 0 100 8" preserveAspectRatio="none" aria-hidden="true" focusable="false">'
        f'<rect class="bar" width="{length:.1f}" height="8"/>'
        f'<rect class="limit" x="{100.0 / largest - 0.6:.1f}" width="0.6" height="8"/></svg>'
    )
    return f'<tr><th scope="row">{_text(name)}</th><td class="bar-cell">{bar}</td><td>{_percent(share)}</td></tr>'


def _percent(share: float) -> str:
    return f"{share * 100:.0f} %" if share < 10 else "over 1000 %" if math.isfinite(share) else "no depth"


def _rounds(entry: LensPrep) -> str:
    """Ring positions for round distances, the lens's own system first."""
    if not entry.rounds:
        sentence = _no_map(entry)
        return f'<h3>Ring positions</h3><p class="none">{_text(sentence)}</p>' if sentence else ""
    systems = sorted({row.system for row in entry.rounds}, key=lambda system: system != entry.system)
    one_way = f"<p>{_text(_one_way(entry) or '')}</p>" if entry.one_way else ""
    one_way += "".join(f"<p><bdi>{_text(line)}</bdi></p>" for line in move_words(entry))
    tables = "".join(
        _table(
            {"metric": "metres", "imperial": "feet"}[system],
            ("distance", "ring", "+-"),
            [_round_row(row, entry) for row in entry.rounds if row.system == system],
        )
        for system in systems
    )
    return f'<h3>Ring positions for round distances</h3>{one_way}<div class="pair">{tables}</div>'


def _round_row(row: RoundRow, entry: LensPrep) -> tuple[str, str, str]:
    position = format_position(row.position, entry.lens.unit, step=entry.lens.reading_step)
    return row.text, position, _plus_minus(row.plus_minus, entry)


def _plus_minus(half_width: float, entry: LensPrep) -> str:
    """The half-width of a 95 % band to one digit more than the read-out has."""
    digits = max(0, 1 - math.floor(math.log10(half_width))) if half_width > 0 else 1
    suffix = format_position(0.0, entry.lens.unit).lstrip("0.")
    return f"{half_width:.{min(digits, 3)}f}{suffix}"


def _depth_table(entry: LensPrep) -> str:
    if not entry.depth_rows:
        return '<h3>Depth of field</h3><p class="none">No focal length, so no depth of field.</p>'
    header = ("near and far", *(stop.text for stop in entry.depth_stops))
    table = _table("", header, [_depth_row(row) for row in entry.depth_rows])
    return (
        f'<h3>Depth of field{_spread(entry)}</h3><div class="wide" role="region" tabindex="0" '
        f'aria-label="Depth of field of {_text(entry.title)}">{table}</div>'
    )


def _spread(entry: LensPrep) -> str:
    """The uncertainty of the depth, when there is one."""
    if entry.depth_uncertainty is None or entry.depth_uncertainty[1] == 0:
        return ""
    low, high = entry.depth_uncertainty
    worst = f"{high * 100:.0f} %" if math.isfinite(high) else "not known close up"
    return f", +- {low * 100:.0f} to {worst} of its width" if low != high else f", +- {worst} of its width"


def _depth_row(row: DepthRow) -> tuple[str, ...]:
    pairs = zip(row.near_m, row.far_m, strict=True)
    return row.text, *("\n".join(limit_texts(near, far, row.system)) for near, far in pairs)


def limit_texts(near_m: float, far_m: float, system: Literal["metric", "imperial"]) -> tuple[str, str]:
    """Near and far as the page writes them, from metres; "no focus" for NaN.

    House style, or to the millimetre or the eighth of an inch where a depth under two inches would be rounded away.
    """
    if math.isnan(near_m):
        return "no focus", "no focus"
    fine = far_m - near_m < _SHALLOW_M and far_m < 10
    if not fine:
        return format_distance(near_m, system), format_distance(far_m, system)
    write = _to_millimetres if system == "metric" else _to_eighths
    return write(near_m), write(far_m)


def _to_millimetres(distance_m: float) -> str:
    return f"{distance_m:.3f} m"


def _to_eighths(distance_m: float) -> str:
    """5'6⅛": feet or inches that are zero are left out, but 5'0⅛" keeps its zero."""
    inches, eighths = divmod(math.floor(distance_m / _INCH_M * 8 + 0.5), 8)
    feet, inches = divmod(inches, 12)
    zero = "0" if feet and eighths else ""
    small = f"{inches or zero}{_EIGHTHS[eighths]}"
    return (f"{feet}'" if feet else "") + (f'{small}"' if small else "")


_PUPIL: dict[PupilSource, str] = {
    "given": "known",
    "charts": "from charts",
    "thin": "not known (thin lens assumed)",
}


def _facts(entry: LensPrep) -> str:
    """What the figures rest on, as measured or as assumed."""
    lens = entry.lens
    transmission = f"{entry.transmission * 100:.0f} %{'' if entry.transmission_known else ' (assumed)'}"
    close = format_distance(entry.close_focus_m, entry.system) if entry.close_focus_m else "not known"
    floor = format_length_mm(entry.blur_floor_m) if entry.blur_floor_m else "none measured"
    rows = [
        ("serial", lens.serial or "serial not read"),
        ("model", lens.model or ""),
        ("widest", entry.widest.text if entry.widest else "not known"),
        ("close focus", close),
        ("sharp is", f"{format_length_mm(entry.coc_m)}, {entry.coc_text}"),
        ("blur floor", floor),
        ("transmission", transmission),
        ("pupil data", _PUPIL[entry.pupil_source or "thin"]),
        ("backlash", _play(entry)),
        ("safe from", safe_words(entry)),
        *((label.lower(), text) for label, text in lens_lines(lens)),
        ("note", lens.note or ""),
    ]
    body = "".join(f"<dt>{name}</dt><dd><bdi>{_text(value)}</bdi></dd>" for name, value in rows if value)
    return f"<h3>This lens</h3><dl>{body}</dl>"


def _play(entry: LensPrep) -> str:
    if entry.play is None:
        return "not known" if entry.focus_map else ""
    value = format_position(entry.play.value, entry.lens.unit, step=entry.lens.reading_step)
    return f"{value} +- {_plus_minus(1.96 * entry.play.sd, entry)}, from {entry.play.pairs} marks read both ways"


def _assumptions(sentences: Sequence[str]) -> str:
    items = "".join(f"<li><bdi>{_text(sentence)}</bdi></li>" for sentence in sentences)
    return f'<h3>Assumed</h3><ul class="assumed">{items}</ul>' if items else ""
