"""What is said about the backlash: how much of the depth it takes, and which way to arrive."""

from collections.abc import Iterator

import numpy as np

from tapehook.finding import Finding, Severity
from tapehook.job.records import Lens
from tapehook.lens import LensMap
from tapehook.lens.map import Z95
from tapehook.prep.focus import FocusRing
from tapehook.prep.results import BudgetView
from tapehook.prep.wording import Maker, depth_used, percent, width_text

WORTH_SAYING = 0.1
WATCH_FROM = 0.25
"""From a quarter of the depth on arriving the other way can be seen beside the other errors of a lens."""
LEAST_SPREAD = 0.01
"""A +- below a per cent is said to be one: none would be too good to be true."""
STEADIER = 4.0
FEWEST_MARKS = 8
"""One way is called steadier when its readings scatter with less than a quarter of the variance of the other, over so
many marks at least: by chance alone that happens in fewer than one list in a hundred (docs/checks/backlash.md)."""


def backlash_findings(make: Maker, lens: Lens, ring: FocusRing, budgets: tuple[BudgetView, ...]) -> Iterator[Finding]:
    """One finding when half the backlash takes a tenth of the depth or more at the widest stop known."""
    lens_map = ring.axis.lens_map
    play = lens_map.play() if lens_map else None
    if lens_map is None or play is None or not budgets:
        return
    view = budgets[0]
    shares = view.budget.shares[[term.name for term in view.budget.terms].index("backlash")]
    used, stop = float(shares.max()), view.stop.text
    if not WORTH_SAYING <= used < np.inf or play.value < play.sd:
        return
    spread = used * Z95 * play.sd / abs(play.value)
    severity: Severity = "fix" if used >= 1.0 else "watch" if used >= WATCH_FROM else "info"
    travel = " of travel" if lens.unit == "percent" else ""  # two kinds of per cent stand in this sentence
    yield make(
        "backlash.share",
        severity,
        f"Backlash {width_text(play.value, lens)} +- {width_text(Z95 * play.sd, lens)}{travel} from {play.pairs} marks "
        "read both ways: focus lands half of it to either side of the map, by the way the ring arrives, "
        f"{percent(used)} +- {percent(max(spread, LEAST_SPREAD))} of the depth at {stop}.",
        _which_way(lens_map) + _gears(severity, doubtful=spread >= used),
        depth_used(used, stop, spread),
    )


def _which_way(lens_map: LensMap) -> str:
    """Arrive one way always: the steadier one, if the marks can tell."""
    half = lens_map.marks.pair_differences / 2.0
    there = np.isfinite(half)
    if int(there.sum()) >= FEWEST_MARKS:
        error = lens_map.residuals()[there]
        half = half[there] - half[there].mean()
        down, up = float(np.var(error - half)), float(np.var(error + half))
        if up * STEADIER < down:
            return "Set marks and arrive turning from far to near, always: read that way this ring is steadier."
        if down * STEADIER < up:
            return "Set marks and arrive turning from near to far, always: read that way this ring is steadier."
    return "Set marks and arrive turning the same way, always."


def _gears(severity: Severity, *, doubtful: bool) -> str:
    """Who mends it, where it is large enough to be mended and no chance."""
    if doubtful:
        return " It may be nothing: read more marks both ways before anybody touches the gears."
    return (
        ""
        if severity == "info"
        else " Look for play at motor and bracket first; gears in the lens are a technician's work."
    )
