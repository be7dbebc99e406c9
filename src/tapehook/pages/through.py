"""A lens with its extender or behind its port, as the bench shows it, and the figures of both as they are typed."""

import re
from collections.abc import Iterator
from dataclasses import dataclass

from pydantic import ValidationError

from tapehook.handover.pdf_words import depth_limits
from tapehook.job import Lens
from tapehook.notation import (
    FocalRange,
    NotationError,
    format_distance,
    format_focal_length,
    format_position,
    parse_length,
    parse_number,
)
from tapehook.optics.through import Through
from tapehook.pages.asked import LensThrough
from tapehook.pages.typed import Misread, Reader
from tapehook.prep import LensPrep
from tapehook.prep.extender import Extended, extended_lens, extender_of
from tapehook.prep.port import Ported, port_of, ported_lens
from tapehook.prep.results import DepthRow, StopView
from tapehook.prep.through_map import ThroughRow, through_rows
from tapehook.prep.wording import percent

MM = 1e3
MOST_ROWS = 8
_FACTOR = "a factor from 1 to 4 such as 1.4x"
_LENGTH = "a length up to 500 mm such as 30"
_PORT = "flat, or the radius of a dome from 1 cm to 2 m such as 100 mm"
_FRONT = "how far the outer face of the port is from the sensor, 1 mm to 5 m, such as 180 mm"
_GLASS = "a thickness up to 500 mm, less than the radius of the dome"


# --- shown -------------------------------------------------------------------------------------------------------


@dataclass(frozen=True, slots=True)
class ThroughView:
    """One way the lens is used: its name, figures by name, and for round distances ring and depth, as text.

    A row is the subject's distance, where the ring stands, and what is sharp; ``stop`` is the one on the iris ring.
    """

    name: str
    figures: tuple[tuple[str, str], ...]
    rows: tuple[tuple[str, str, str], ...]
    stop: str


def through_views(entry: LensPrep) -> tuple[ThroughView, ...]:
    """The lens bare, and with what it is also used with; empty for one that has neither, or no map."""
    views = [*_with_extender(entry), *_behind_port(entry)]
    return (_bare(entry), *views) if views else ()


def _bare(entry: LensPrep) -> ThroughView:
    stop, view = entry.shooting or entry.widest, entry.budget("shooting") or entry.budget("widest")
    figures = [("focal length", _focal(entry.depth_focal_m)), ("stop", stop.text if stop else "not known")]
    if view is not None:
        figures.append(("the lens alone uses", f"{percent(view.budget.worst_own)} at {view.stop.text}"))
    return _view("bare", figures, entry, Through(), stop)


def _with_extender(entry: LensPrep) -> Iterator[ThroughView]:
    found, extender = extended_lens(entry), extender_of(entry.lens)
    if extender is None:
        return
    name = f"with the {extender.factor:g}x"
    if found is None:
        focal = "not known" if entry.depth_focal_m is None else _focal(float(extender.focal_m(entry.depth_focal_m)))
        yield _view(name, [("focal length", focal)], entry, Through(extender), None)
        return
    yield _view(name, _extended_figures(found), entry, Through(extender), found.set_to)


def _extended_figures(found: Extended) -> list[tuple[str, str]]:
    figures = [
        ("focal length", _focal(found.focal_m)),
        ("stop", found.works_at.text),
        ("ring set to", found.set_to.text),
        ("the lens alone uses", f"{percent(found.own)} at {found.works_at.text}"),
    ]
    if found.extender.length_m:
        figures.append(("off each taped distance", f"{MM * found.extender.length_m:.0f} mm"))
    return figures


def _behind_port(entry: LensPrep) -> Iterator[ThroughView]:
    port, found = port_of(entry.lens), ported_lens(entry)
    if port is None or found is None:
        return
    shape = "flat port" if entry.lens.port == "flat" else f"dome of {MM * port.radius_m:.0f} mm"
    yield _view(f"behind the {shape}", _ported_figures(found, entry), entry, Through(port=port), None)


def _ported_figures(found: Ported, entry: LensPrep) -> list[tuple[str, str]]:
    figures = [("infinity is seen at", format_distance(found.infinity_m, entry.system))]
    if found.nearest_m is not None:
        figures.append(("reaches in the water", format_distance(found.nearest_m, entry.system)))
    if found.reaches is False:
        figures.append(("reaches in the water", "nothing: its ring ends before that"))
    if found.used is not None and found.stop is not None:
        name = "the lens alone uses" if found.reaches else "infinity is off by"
        figures.append((name, f"{percent(found.used)} at {found.stop.text}"))
    return figures


def _view(
    name: str, figures: list[tuple[str, str]], entry: LensPrep, through: Through, stop: StopView | None
) -> ThroughView:
    rows = _thinned(through_rows(entry, through, stop))
    unit, step = entry.lens.unit, entry.lens.reading_step
    texts = tuple((row.text, format_position(row.position, unit, step=step), _sharp(row, entry)) for row in rows)
    return ThroughView(name, tuple(figures), texts, next((row.stop for row in rows if row.stop), ""))


def _thinned(rows: tuple[ThroughRow, ...]) -> list[ThroughRow]:
    """The first, the last, and some evenly between."""
    if len(rows) <= MOST_ROWS:
        return list(rows)
    return [rows[round(k * (len(rows) - 1) / (MOST_ROWS - 1))] for k in range(MOST_ROWS)]


def _sharp(row: ThroughRow, entry: LensPrep) -> str:
    """From near to far, as the handover writes them."""
    if row.near_m is None or row.far_m is None:
        return "–"
    near, far = depth_limits(DepthRow(row.text, row.distance_m, entry.system, (row.near_m,), (row.far_m,)))[0]
    return f"{near} {far}".strip()


def _focal(focal_m: float | None) -> str:
    return "not known" if focal_m is None else format_focal_length(FocalRange(focal_m, focal_m))


# --- typed -------------------------------------------------------------------------------------------------------


def lens_through(lens: Lens, sent: LensThrough) -> Lens:
    """The lens with extender and port as typed; a blank field says that there is none. Raises Misread."""
    reader = Reader()
    given: dict[str, object] = {
        "extender": reader.take("extender", sent.extender, _factor, _FACTOR),
        "extender_length_mm": reader.take("length of the extender", sent.extender_length, _mm, _LENGTH),
        "port": reader.take("port", sent.port, _port, _PORT),
        "port_front_mm": reader.take("port from the sensor", sent.port_front, _mm, _FRONT),
        "port_glass_mm": reader.take("glass of the port", sent.port_glass, _mm, _GLASS),
        "water": sent.water,
    }
    _together(reader, sent, given)
    reader.done()
    kept = {name: getattr(lens, name) for name in lens.model_fields_set - given.keys()}
    try:
        return Lens.model_validate({**kept, **{name: value for name, value in given.items() if value is not None}})
    except ValidationError as trouble:
        reader.limits(trouble)
        raise Misread(reader.problems) from None


def _together(reader: Reader, sent: LensThrough, given: dict[str, object]) -> None:
    """A length needs its extender, and a port its place."""
    if given["extender_length_mm"] is not None and given["extender"] is None:
        reader.refuse("extender", sent.extender or "", _FACTOR)
    port, front, glass = (given[name] for name in ("port", "port_front_mm", "port_glass_mm"))
    if port is None and not (sent.port or "").strip() and (front is not None or glass is not None or sent.water):
        reader.refuse("port", "", _PORT)
    if port is not None and front is None and not (sent.port_front or "").strip():
        reader.refuse("port from the sensor", "", _FRONT)
    if isinstance(port, float) and isinstance(glass, float) and glass >= port:
        reader.refuse("glass of the port", sent.port_glass or "", _GLASS)


def _factor(text: str) -> float:
    try:
        value = parse_number(re.sub(r"\s*[xX\N{MULTIPLICATION SIGN}]\s*$", "", text))
    except NotationError:
        raise NotationError(text, _FACTOR) from None
    if not 1.0 <= value <= 4.0:
        raise NotationError(text, _FACTOR, (), "is out of range")
    return value


def _mm(text: str) -> float:
    """Millimetres, also from a length in another unit; nought is allowed. Raises NotationError."""
    if re.fullmatch(r"\s*0+(?:[.,]0+)?\s*(?:mm)?\s*", text):
        return 0.0
    return round(MM * parse_length(text, bare_unit="mm"), 9)


def _port(text: str) -> object:
    if text.strip().casefold() == "flat":
        return "flat"
    try:
        return _mm(text)
    except NotationError:
        raise NotationError(text, _PORT) from None
