"""The moments of a stop pull that people follow by eye: so few that they fit a screen, or a page in large type."""

from typing import NamedTuple

from tapehook.notation import format_position
from tapehook.prep.stop_pull import StopPullPrep

MOMENTS = 13


class Moment(NamedTuple):
    """What stands where at one moment, as texts: time, stop, and where iris, extra motor and filter stand.

    ``error`` is how far the exposure may be off by then, in stops; ``density`` that of the filter.
    """

    time: str
    stop: str
    iris: str
    extra_percent: str
    filter_deg: str
    density: str
    error: str


def picked_moments(prep: StopPullPrep) -> list[Moment]:
    """At most ``MOMENTS`` of a pull's samples, evenly over them, the first and the last among them."""
    last = prep.pull.times_s.size - 1
    return [_moment(prep, at) for at in sorted({round(k * last / (MOMENTS - 1)) for k in range(MOMENTS)})]


def _moment(prep: StopPullPrep, at: int) -> Moment:
    pull = prep.pull
    return Moment(
        f"{pull.times_s[at]:.2f} s",
        f"T{pull.t_stops[at]:.3g}",
        format_position(float(pull.iris_positions[at]), prep.lens.unit, step=prep.lens.reading_step),
        f"{pull.extra_percent[at]:.1f} %",
        f"{pull.extra_deg[at]:.1f}°",
        f"{pull.densities[at]:.2f}",
        f"+- {pull.error_stops[at]:.2f}",
    )
