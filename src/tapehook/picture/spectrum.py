"""Who sends where in one band: our channels, the masks of others, what was taken, and what a scan heard."""

import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Literal

from tapehook.picture.axis import linear_ticks
from tapehook.picture.colours import PAPER, Theme
from tapehook.picture.lettering import Label, shortened, spaced, text_width
from tapehook.picture.svg import Element, drawing, element, hatch, line, path, rect, strokes, words

SignalKind = Literal["ours", "fallback", "other"]
_SIZE = 9.0
_LOW_DBM, _HIGH_DBM = -40.0, 40.0
_MASK = ((0.0, 0.0), (9.0, 0.0), (10.0, -10.0), (11.0, -20.0), (20.0, -28.0), (30.0, -40.0))
"""Offset in MHz and level in dB of a 20 MHz OFDM channel; the widest part drawn is where it says least."""


@dataclass(frozen=True, slots=True)
class Signal:
    """One signal: its label, where it is, MHz, how strong, dBm EIRP, and whether it has the skirts of OFDM."""

    label: str
    centre_mhz: float
    width_mhz: float
    level_dbm: float
    kind: SignalKind
    ofdm: bool = False


@dataclass(frozen=True)
class Spectrum:
    """One band: its edges in MHz, the signals, the stretches taken, points of a scan (MHz, dBm)."""

    low_mhz: float
    high_mhz: float
    signals: Sequence[Signal]
    taken: Sequence[tuple[float, float]] = ()
    scan: Sequence[tuple[float, float]] = ()


@dataclass(frozen=True, slots=True)
class _Frame:
    left: float
    right: float
    top: float
    bottom: float
    low: float
    high: float

    def x(self, mhz: float) -> float:
        part = (mhz - self.low) / (self.high - self.low)
        return self.left + min(max(part, 0.0), 1.0) * (self.right - self.left)

    def y(self, dbm: float) -> float:
        part = (dbm - _LOW_DBM) / (_HIGH_DBM - _LOW_DBM)
        return self.bottom - min(max(part, 0.0), 1.0) * (self.bottom - self.top)


def spectrum(band: Spectrum, *, width: float, height: float, title: str, theme: Theme = PAPER) -> str:
    """The picture as SVG text, ``width`` by ``height`` points. Raises ValueError for a band without width.

    Our channels carry ``data-letter``, and the frame ``data-low`` and ``data-high`` in MHz, for a page that moves them.
    """
    if not band.high_mhz > band.low_mhz:
        raise ValueError("a band has a width")
    frame = _Frame(30.0, width - 6.0, 2.2 * _SIZE, height - 3.4 * _SIZE, band.low_mhz, band.high_mhz)
    others = [one for one in band.signals if one.kind == "other" and _seen(band, one)]
    ours = [one for one in band.signals if one.kind != "other" and _seen(band, one)]
    parts = [*_axes(frame, theme), *_taken(frame, band.taken, theme)]
    parts += [shape for one in others for shape in _other(frame, one, theme)]
    parts += _heard(frame, band.scan, theme)
    parts += [_ours(frame, one, theme) for one in sorted(ours, key=lambda one: one.kind == "ours")]
    parts += _names(frame, others, theme)
    parts += _legend(band, others, height - 3.0, width, theme)
    return drawing(width, height, title, _description(ours, others, band), *parts)


def _seen(band: Spectrum, one: Signal) -> bool:
    reach = one.width_mhz * (1.5 if one.ofdm else 0.5)
    return one.centre_mhz + reach > band.low_mhz and one.centre_mhz - reach < band.high_mhz


def _axes(frame: _Frame, theme: Theme) -> list[Element]:
    levels = range(int(_LOW_DBM), int(_HIGH_DBM) + 1, 20)
    rules = [(frame.left, frame.y(dbm), frame.right, frame.y(dbm)) for dbm in levels]
    parts = [
        element("rect", x=frame.left, y=frame.top, width=frame.right - frame.left, height=frame.bottom - frame.top,
                fill="none", stroke=theme.line, stroke_width=0.6, data_low=f"{frame.low:g}",
                data_high=f"{frame.high:g}", data_left=f"{frame.left:g}", data_right=f"{frame.right:g}"),
        strokes(rules, stroke=theme.line, stroke_width=0.4),
        words(0, _SIZE, "dBm EIRP over MHz", size=_SIZE, fill=theme.quiet),
    ]  # fmt: skip
    parts += [
        words(
            frame.left - 4, frame.y(dbm) + 3, f"{dbm:g}".replace("-", "−"), size=_SIZE, fill=theme.quiet, anchor="end"
        )
        for dbm in levels
    ]
    ticks = linear_ticks(frame.low, frame.high, 7)
    wanted = [Label(frame.x(one), f"{one:g}") for one in ticks]
    labels = spaced(wanted, _SIZE, gap=6.0, left=0.0, right=frame.right + 6)
    parts += [
        line(one.x, frame.bottom, one.x, frame.bottom + 3, stroke=theme.quiet, stroke_width=0.8) for one in labels
    ]
    parts += [
        words(one.x, frame.bottom + 3 + _SIZE, one.text, size=_SIZE, fill=theme.ink, anchor="middle") for one in labels
    ]
    return parts


def _taken(frame: _Frame, taken: Sequence[tuple[float, float]], theme: Theme) -> list[Element]:
    parts = []
    for low, high in taken:
        if high < frame.low or low > frame.high:
            continue
        left, right = frame.x(low), max(frame.x(high), frame.x(low) + 2.0)
        parts.append(
            hatch(left, frame.top, right - left, frame.bottom - frame.top, gap=4.0, stroke=theme.fault, weight=0.7)
        )
        parts.append(line(left, frame.top, left, frame.bottom, stroke=theme.fault, stroke_width=1.0))
        parts.append(line(right, frame.top, right, frame.bottom, stroke=theme.fault, stroke_width=1.0))
    return parts


def _other(frame: _Frame, one: Signal, theme: Theme) -> list[Element]:
    """Somebody else: the mask of OFDM, or a box as wide as the channel."""
    if one.ofdm:
        scale = one.width_mhz / 20.0
        half = [(at * scale, level) for at, level in _MASK]
        outline = [(-at, level) for at, level in reversed(half)] + half
    else:
        side = one.width_mhz / 2.0
        outline = [(-side, 2 * _LOW_DBM), (-side, 0.0), (side, 0.0), (side, 2 * _LOW_DBM)]
    points = [(frame.x(one.centre_mhz + at), frame.y(one.level_dbm + level)) for at, level in outline]
    ground = [(points[-1][0], frame.bottom), (points[0][0], frame.bottom)]
    return [
        path([*points, *ground], closed=True, fill=theme.sharp, opacity=0.6),
        path(points, fill="none", stroke=theme.sharp_edge, stroke_width=1.0, stroke_dasharray="3 2"),
    ]


def _ours(frame: _Frame, one: Signal, theme: Theme) -> Element:
    """One of ours: filled with its letter above; a fallback as an empty box with the letter in brackets."""
    left, right = frame.x(one.centre_mhz - one.width_mhz / 2), frame.x(one.centre_mhz + one.width_mhz / 2)
    wide = max(right - left, 4.0)
    left, top = (left + right - wide) / 2, frame.y(one.level_dbm)
    chosen = one.kind == "ours"
    style = {"fill": theme.accent} if chosen else {"fill": "none", "stroke_dasharray": "2 2"}
    text = one.label if chosen else f"({one.label})"
    shift = 3.0 if chosen else 3.0 + 1.2 * _SIZE
    return element(
        "g",
        rect(left, top, wide, frame.bottom - top, stroke=theme.accent, stroke_width=1.0, **style),
        words(left + wide / 2, top - shift, text, size=_SIZE + 1, fill=theme.ink, anchor="middle", bold=chosen),
        **({"data_letter": one.label, "class_": "channel"} if chosen else {"class_": "fallback"}),
    )


def _heard(frame: _Frame, scan: Sequence[tuple[float, float]], theme: Theme) -> list[Element]:
    """What a scan heard, in its own scale: 100 dB below what is sent, to share the frame."""
    inside = [(at, level) for at, level in scan if frame.low <= at <= frame.high and math.isfinite(level)]
    if len(inside) < 2:
        return []
    points = [(frame.x(at), frame.y(level + 80.0)) for at, level in inside]
    return [path(points, fill="none", stroke=theme.fault, stroke_width=1.0)]


def _names(frame: _Frame, others: Sequence[Signal], theme: Theme) -> list[Element]:
    """Names of others inside the frame, those that fit beside each other; all are in the description."""
    wanted = [
        Label(min(max(frame.x(one.centre_mhz), frame.left + _half(one)), frame.right - _half(one)), _name(one))
        for one in sorted(others, key=lambda one: -one.level_dbm)
    ]
    return [
        words(one.x, frame.bottom - 4, one.text, size=_SIZE, fill=theme.ink, anchor="middle")
        for one in spaced(wanted, _SIZE, gap=6.0, left=frame.left, right=frame.right)
    ]


def _name(one: Signal) -> str:
    return shortened(one.label, _SIZE, 90.0)


def _half(one: Signal) -> float:
    return text_width(_name(one), _SIZE) / 2 + 1.0


def _legend(band: Spectrum, others: Sequence[Signal], y: float, width: float, theme: Theme) -> list[Element]:
    said = ["full: our channels", "(letter): to fall back on"]
    said += ["dashed: others"] if others else []
    said += ["hatched: taken"] if band.taken else []
    said += ["line: the scan, 80 dB up"] if band.scan else []
    return [words(0, y, shortened(", ".join(said), _SIZE, width), size=_SIZE, fill=theme.quiet)]


def _description(ours: Sequence[Signal], others: Sequence[Signal], band: Spectrum) -> str:
    told = [f"camera {one.label} on {one.centre_mhz:g} MHz" for one in ours if one.kind == "ours"]
    told += [f"camera {one.label} falls back on {one.centre_mhz:g} MHz" for one in ours if one.kind == "fallback"]
    told += [
        f"{one.label} at {one.centre_mhz:g} MHz, {one.width_mhz:g} MHz wide, {one.level_dbm:g} dBm" for one in others
    ]
    told += [f"taken from {low:g} to {high:g} MHz" for low, high in band.taken]
    return "; ".join(told) or "nothing is sent here"
