"""The figures of `make speed` are what they say: medians, scaled shares, ratios, goals."""

from itertools import count

import pytest

from speed import report
from speed.harness import Case, Contender, measure, show_time


class Stopwatch:
    """A clock that runs only when a contender says how long it took."""

    def __init__(self) -> None:
        self.now = 0.0

    def __call__(self) -> float:
        return self.now

    def takes(self, *seconds: float) -> Contender:
        """A contender that takes these times, one after the other, the first of them untimed."""
        turns = count()

        def run() -> None:
            self.now += seconds[next(turns)]

        return Contender("ours", run)


def _peer(contender: Contender, **changes: object) -> Contender:
    return Contender(**{"name": "peer", "run": contender.run, **changes})  # type: ignore[arg-type]


def test_median_leaves_out_the_first_run() -> None:
    """Warming up (9 s) is not counted; of 1, 5 and 2 s the median is 2 s."""
    clock = Stopwatch()
    result = measure("x", Case(ours=clock.takes(9.0, 1.0, 5.0, 2.0), rounds=3), clock)
    assert (result.ours.median_s, result.ours.least_s, result.ours.most_s) == (2.0, 1.0, 5.0)


def test_a_share_of_the_work_is_scaled_up_and_said() -> None:
    """A peer that does a hundredth in 1 s counts as 100 s, and the table says that it was scaled."""
    clock = Stopwatch()
    peer = _peer(clock.takes(0.0, 1.0), share=0.01, rounds=1)
    result = measure("x", Case(ours=clock.takes(0.0, 2.0, 2.0), peers=(peer,), rounds=2), clock)
    assert result.ratio(result.timings[1]) == pytest.approx(50.0)
    assert result.timings[1].rounds == 1
    assert "did 1.00% of the work; scaled up" in report.table(result)


@pytest.mark.parametrize("ours_s, met", [(1.0, 2), (3.0, 1), (9.0, 0)])
def test_goals_are_counted(ours_s: float, met: int) -> None:
    """Against "at most 2 s" and "within 8 times a peer of 1 s": both, one, none."""
    clock = Stopwatch()
    case = Case(
        ours=clock.takes(0.0, ours_s),
        peers=(_peer(clock.takes(0.0, 1.0)),),
        rounds=1,
        at_most_s=2.0,
        at_most_times={"peer": 8.0},
    )
    assert report.goals([measure("x", case, clock)]) == (met, 2)


def test_a_goal_needs_its_peer() -> None:
    """A goal against a peer that does not run would never be looked at."""
    with pytest.raises(ValueError, match="no peer of this case"):
        Case(ours=Stopwatch().takes(), at_most_times={"nobody": 1.0})


@pytest.mark.parametrize(
    "seconds, shown", [(12.0, "12.0 s"), (0.312, "312 ms"), (0.00456, "4.56 ms"), (2e-7, "0.20 µs")]
)
def test_times_are_shown_with_three_figures(seconds: float, shown: str) -> None:
    """The unit follows the size."""
    assert show_time(seconds) == shown


def test_page_names_the_kind_of_machine_and_not_the_machine() -> None:
    """A figure without its machine says little; the name of the host says nothing to anyone."""
    clock = Stopwatch()
    text = report.page([measure("A case", Case(ours=clock.takes(0.0, 1.0), rounds=1), clock)])
    assert "cores" in text
    assert "Python" in text
    assert "## A case" in text
