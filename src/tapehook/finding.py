"""What every check returns: one sentence about one thing, its figure, and what to do next.

Pages, paper and commands show findings; none of them invents its own. This module knows nothing of
lenses or files, so that every layer may use it.
"""

import math
from collections.abc import Iterable
from dataclasses import dataclass
from typing import Any, Literal

Severity = Literal["fix", "watch", "info"]

SIGN: dict[Severity, str] = {"fix": "×", "watch": "!", "info": "i"}
"""The sign shown beside the word, so that no severity is told by colour alone."""

DEPTH_USED_UNIT = "% of depth"
"""Unit of a share of the depth of field on one side of the focus; always shown with its stop."""

_ORDER: dict[str, int] = {"fix": 0, "watch": 1, "info": 2}


@dataclass(frozen=True, slots=True)
class Figure:
    """One figure with its unit, how sure it is (95 %), and the stop it holds for.

    Raises ValueError for a depth used without a stop: such a share means nothing.
    """

    value: float
    unit: str
    plus_minus: float | None = None
    stop: str | None = None

    def __post_init__(self) -> None:
        if self.unit == DEPTH_USED_UNIT and not self.stop:
            raise ValueError("a depth used must name the stop it holds for")

    def as_json(self) -> dict[str, Any]:
        """The figure as plain JSON values; an infinite or undefined value becomes null."""
        value = self.value if math.isfinite(self.value) else None
        known = self.plus_minus is not None and math.isfinite(self.plus_minus)
        return {
            "value": value,
            "unit": self.unit,
            "plus_minus": self.plus_minus if known else None,
            "stop": self.stop,
        }


@dataclass(frozen=True, slots=True)
class Finding:
    """One thing found: what it is about, how bad, the figure, and the next step.

    ``severity`` is "fix" (do not shoot with it), "watch" (know it, decide) or "info". ``code`` is stable
    and machine readable, ``message`` one sentence with its figure, ``next_step`` what to do.
    """

    code: str
    severity: Severity
    subject: str
    message: str
    next_step: str
    figure: Figure | None = None
    lens_id: str | None = None
    camera: str | None = None

    def as_json(self) -> dict[str, Any]:
        """The finding as plain JSON values, keys in a fixed order."""
        return {
            "code": self.code,
            "severity": self.severity,
            "subject": self.subject,
            "message": self.message,
            "next_step": self.next_step,
            "figure": self.figure.as_json() if self.figure else None,
            "lens_id": self.lens_id,
            "camera": self.camera,
        }


def sort_findings(findings: Iterable[Finding]) -> list[Finding]:
    """Worst first: fix, watch, info; then the larger figure, then subject and code."""

    def key(finding: Finding) -> tuple[int, float, str, str]:
        size = finding.figure.value if finding.figure and finding.figure.unit == DEPTH_USED_UNIT else 0.0
        return (
            _ORDER[finding.severity],
            -size if math.isfinite(size) else -math.inf,
            finding.subject,
            finding.code,
        )

    return sorted(findings, key=key)
