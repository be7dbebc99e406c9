"""Blank strips: a ruler in degrees or per cent of turn, to be marked by hand."""

from typing import Literal

from tapehook.strip.layout import (
    GAP_MM,
    LEAST_TICKS_MM,
    MARGIN_MM,
    MM_PER_POINT,
    Row,
    Strip,
    Tick,
    Widths,
    label_size_pt,
)
from tapehook.strip.ring import Ring, StripRefusal

BlankKind = Literal["deg", "percent"]

_LABELS: dict[BlankKind, tuple[float, ...]] = {"deg": (5, 10, 15, 30, 45, 90), "percent": (5, 10, 20, 25, 50)}
_TICKS: dict[BlankKind, tuple[float, ...]] = {"deg": (1, 2.5, 5, 15), "percent": (1, 2.5, 5)}
WHOLE_TURN_DEG = 360.0


def blank_strip(ring: Ring, kind: BlankKind, *, tape_mm: float, text_width: Widths) -> Strip:
    """A strip with even divisions over the ring's rotation (the whole round where none is given).

    0 stands at the far end. Ticks' ``value`` and ``position`` are the division, degrees or per cent. Raises
    StripRefusal for a rotation over a whole turn.
    """
    turn = WHOLE_TURN_DEG if ring.rotation_deg is None else ring.rotation_deg
    if turn > WHOLE_TURN_DEG:
        raise StripRefusal("too_long", f"the scale turns {turn:.0f}°, and a strip goes once round a ring")
    length = ring.circumference_mm * turn / WHOLE_TURN_DEG
    full = turn if kind == "deg" else 100.0
    size = label_size_pt(tape_mm, 1)
    room = text_width(f"{full:g}", size) * MM_PER_POINT + GAP_MM
    labels = _finest(_LABELS[kind], length / full, room)
    lines = _finest(_TICKS[kind], length / full, LEAST_TICKS_MM)
    lines = next((step for step in _TICKS[kind] if step >= lines and (labels / step).is_integer()), labels)
    margin = min(MARGIN_MM, max(0.0, ring.circumference_mm - length) / 2.0)
    ticks = []
    for k in range(int(full / lines + 1e-6) + 1):
        value = k * lines
        arc = value * length / full if ring.left_handed else length - value * length / full
        again = turn == WHOLE_TURN_DEG and value == full  # the 0 once more
        text = f"{value:g}" if (value / labels).is_integer() and not again else ""
        half = text_width(text, size) * MM_PER_POINT / 2.0
        centre = min(max(arc, half - margin), length + margin - half) if text else arc
        ticks.append(Tick(value, value, arc, text, centre))
    return Strip(
        rows=(Row(kind, tuple(sorted(ticks, key=lambda tick: tick.arc_mm)), size),),
        length_mm=length,
        tape_mm=tape_mm,
        round_mm=ring.circumference_mm,
        turn_deg=turn,
        margin_mm=margin,
        far_end="left" if ring.left_handed else "right",
        zero_mm=0.0 if ring.left_handed else length,
    )


def _finest(steps: tuple[float, ...], mm_per_unit: float, least_mm: float) -> float:
    """The finest step that leaves so much room, else the coarsest."""
    return next((step for step in steps if step * mm_per_unit >= least_mm), steps[-1])
