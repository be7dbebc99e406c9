"""How findings are put into words: one lens's findings, shares of the depth, positions and widths."""

import math

from tapehook.finding import DEPTH_USED_UNIT, Figure, Finding, Severity
from tapehook.job.records import Lens
from tapehook.notation import format_position


class Maker:
    """Writes findings that all name the same lens."""

    def __init__(self, lens: Lens, title: str) -> None:
        self.lens = lens
        self._subject = f"lens {lens.id}" if title.startswith(lens.id) else f"lens {lens.id}, {title}"

    def __call__(
        self, code: str, severity: Severity, message: str, next_step: str, figure: Figure | None = None
    ) -> Finding:
        """One finding on the lens."""
        return Finding(code, severity, self._subject, message, next_step, figure, lens_id=self.lens.id)


def depth_used(share: float, stop: str, plus_minus: float | None = None) -> Figure:
    """A share of the depth as a figure in per cent, with its stop."""
    return Figure(100.0 * share, DEPTH_USED_UNIT, None if plus_minus is None else 100.0 * plus_minus, stop)


def percent(share: float) -> str:
    """A share for a sentence: "47 %"; beyond ten times the depth only that."""
    return f"{100.0 * share:.0f} %" if share < 10.0 else "over 1000 %"


def at_most(share: float) -> str:
    """The most a share may be, for a sentence: "up to 47 %", "over 1000 %"."""
    return f"up to {percent(share)}" if share < 10.0 else percent(share)


def position_text(value: float, lens: Lens) -> str:
    """A position with its unit, as fine as the read-out shows it."""
    return format_position(value, lens.unit, step=lens.reading_step)


def width_text(value: float, lens: Lens) -> str:
    """A width of position with its unit, to two significant figures."""
    step = 10.0 ** (math.floor(math.log10(value)) - 1) if value > 0 and math.isfinite(value) else 0.01
    step = max(step, 1.0) if lens.unit == "count" else step
    return format_position(value, lens.unit, step=step) + (" counts" if lens.unit == "count" else "")
