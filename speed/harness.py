"""Cases, contenders and goals, and how they are timed.

Each round runs every contender once, so that a busy moment of the machine falls on all of them; the figure is
the median over the rounds. A peer too slow for the whole work may do a part of it (``share``); its time is
scaled up, and the table says so.
"""

import gc
import statistics
import time
from collections.abc import Callable, Mapping
from dataclasses import dataclass, field

Clock = Callable[[], float]
UNITS = (("s", 1.0), ("ms", 1e3), ("µs", 1e6))


@dataclass(frozen=True)
class Contender:
    """One way to do the work. ``run`` is timed as a whole; what it needs is made ready before.

    ``share`` is the part of the work that ``run`` does (0 < share <= 1); ``rounds``, if given, is how often
    it runs at most, for a peer that takes long.
    """

    name: str
    run: Callable[[], object]
    share: float = 1.0
    rounds: int | None = None


@dataclass(frozen=True)
class Case:
    """What is measured: ``ours`` and its ``peers``, first run untimed, then ``rounds`` rounds.

    Goals: ``at_most_s``, seconds for ours; ``at_most_times``, for a peer's name the largest allowed ratio of
    our time to its (8 = "within eight times", 0.01 = "a hundred times faster").
    """

    ours: Contender
    peers: tuple[Contender, ...] = ()
    rounds: int = 5
    at_most_s: float | None = None
    at_most_times: Mapping[str, float] = field(default_factory=dict)
    note: str = ""

    def __post_init__(self) -> None:
        unknown = set(self.at_most_times) - {peer.name for peer in self.peers}
        if unknown:
            raise ValueError(f"a goal names {sorted(unknown)}, which is no peer of this case")


@dataclass(frozen=True)
class Timing:
    """Median and range over the rounds, in seconds for the whole work."""

    name: str
    median_s: float
    least_s: float
    most_s: float
    rounds: int
    share: float


@dataclass(frozen=True)
class Result:
    """A case measured: our timing first, then the peers' in their order."""

    title: str
    case: Case
    timings: tuple[Timing, ...]

    @property
    def ours(self) -> Timing:
        """Our own timing."""
        return self.timings[0]

    def ratio(self, timing: Timing) -> float:
        """How many times our time this one took."""
        return timing.median_s / self.ours.median_s

    def goal(self, timing: Timing) -> tuple[str, bool] | None:
        """The goal that stands in this row and whether it is met; None without one."""
        if timing is self.ours:
            limit_s = self.case.at_most_s
            return None if limit_s is None else (f"≤ {show_time(limit_s)}", timing.median_s <= limit_s)
        times = self.case.at_most_times.get(timing.name)
        if times is None:
            return None
        text = f"ours ≤ {times:g} × this" if times >= 1 else f"this ≥ {1 / times:g} × ours"
        return text, self.ours.median_s <= times * timing.median_s


BUILDERS: dict[str, Callable[[], Case]] = {}
"""What has been registered: title of a case, and the function that makes it ready."""


def case(title: str) -> Callable[[Callable[[], Case]], Callable[[], Case]]:
    """Register the decorated function as the maker of the case called ``title``; it runs only if chosen."""

    def register(build: Callable[[], Case]) -> Callable[[], Case]:
        if title in BUILDERS:
            raise ValueError(f"there is a case called {title!r} already")
        BUILDERS[title] = build
        return build

    return register


def measure(title: str, measured: Case, clock: Clock = time.perf_counter) -> Result:
    """Run all contenders of a case round by round; the first run of each is not counted."""
    contenders = (measured.ours, *measured.peers)
    seconds: dict[str, list[float]] = {contender.name: [] for contender in contenders}
    for contender in contenders:
        contender.run()
    for _ in range(measured.rounds):
        for contender in contenders:
            if contender.rounds is None or len(seconds[contender.name]) < contender.rounds:
                seconds[contender.name].append(_once(contender, clock))
    return Result(title, measured, tuple(_timing(contender, seconds[contender.name]) for contender in contenders))


class Seconds(float):
    """What a run timed itself and returns, such as the 95th percentile of many answers; it stands as it is."""


def _once(contender: Contender, clock: Clock) -> float:
    """Seconds for one run, scaled to the whole work; the garbage of the others is collected before."""
    gc.collect()
    start = clock()
    result = contender.run()
    if isinstance(result, Seconds):
        return float(result)
    return (clock() - start) / contender.share


def _timing(contender: Contender, seconds: list[float]) -> Timing:
    return Timing(
        name=contender.name,
        median_s=statistics.median(seconds),
        least_s=min(seconds),
        most_s=max(seconds),
        rounds=len(seconds),
        share=contender.share,
    )


def show_time(seconds: float) -> str:
    """Three figures with the unit that suits: "312 ms", "1.50 s"."""
    unit, factor = next((pair for pair in UNITS if seconds * pair[1] >= 1), UNITS[-1])
    value = seconds * factor
    digits = 2 if value < 10 else 1 if value < 100 else 0
    return f"{value:.{digits}f} {unit}"
