"""Slips planted in fresh lenses: some of them each time, thousands by ``make test-slow``."""

from functools import cache

import pytest

from tests.prep.slips_trial import Class, Trial, coverage, missed, try_out
from tests.telling import Tell

COUNT = 1000
CLASSES: tuple[Class, Class] = ("with care", "as it comes")


@cache
def _trial(count: int, read: Class) -> Trial:
    return try_out(count, read)


def _lines(read: Class, trial: Trial) -> list[str]:
    """What came of it, as docs/checks/slips.md keeps it."""
    head = (
        f"  {read}, {trial.clean} lenses of each: found {trial.found:.1%}, rightly named {trial.named:.1%}, "
        f"false alarms {len(trial.false_alarms) / trial.clean:.1%}, 2 deg on no list {trial.worse_found:.1%}; "
        f"right rows accused beside the wrong one on {sum(case.others > 0 for case in trial.cases)} lenses"
    )
    lines = [head]
    lines += [f"    {kind}: {n}, found {found}, named {named}" for kind, (n, found, named) in trial.by_kind().items()]
    for name, cases in (("listed slips", trial.cases), ("2 deg", trial.worse)):
        why = missed(cases)
        lines.append(
            f"    {name} missed: {why.total()}, of which under the depth {why['under the depth']}, within the +- of "
            f"what the other marks expect {why['within the +-']}"
        )
    return lines


def test_some_slips_read_with_care() -> None:
    """Of 48 listed slips at least 45 are found and 43 rightly named; of 48 clean lenses none is accused."""
    trial = _trial(48, "with care")
    assert sum(case.found for case in trial.cases) >= 45
    assert sum(case.named for case in trial.cases) >= 43
    assert trial.false_alarms == []


@pytest.mark.slow
@pytest.mark.parametrize("read", CLASSES)
def test_a_thousand_slips(read: Class, tell: Tell) -> None:
    """Read with care: found 97 %, named 93 %, false alarms under 0.5 %, slips of 2 degrees on no list 75 %.

    Lists as they come hold less: what they reach is held as it was measured, less a point or two.
    """
    trial = _trial(COUNT, read)
    tell("Slips on simulated lenses\n" + "\n".join(_lines(read, trial)))
    found, named, worse = (0.97, 0.93, 0.75) if read == "with care" else (0.94, 0.92, 0.50)
    assert trial.found >= found
    assert trial.named >= named
    assert len(trial.false_alarms) < 0.005 * trial.clean
    assert trial.worse_found >= worse


@pytest.mark.slow
@pytest.mark.parametrize("read", CLASSES)
def test_the_band_covers_whatever_the_noise(read: Class, tell: Tell) -> None:
    """The 95 % band of lenses read both ways covers 93 to 97 % in each third of the noise range, read with care.

    Lists as they come are taken a little wide: up to 98 %.
    """
    covered = coverage(COUNT, read)
    thirds = ", ".join(f"{part:.1%}" for part in covered)
    tell(f"95 % band, {read}, by third of the noise, low to high: {thirds}")
    most = 0.97 if read == "with care" else 0.98
    assert min(covered) >= 0.93
    assert max(covered) <= most
