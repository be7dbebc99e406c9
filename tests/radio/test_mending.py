"""Mending a choice: what it finds stands, it finds what is hidden, and dense lots are proven by it."""

import numpy as np
import pytest

from speed.radio import lot
from tapehook.radio.best import least_worst
from tapehook.radio.choosing import Pairs, Table
from tapehook.radio.mending import mended
from tapehook.radio.plan import make_table
from tapehook.radio.powers import Powers
from tapehook.radio.searching import Allowed, OutOfSteps
from tests.radio.test_plan import brute, random_table


def test_what_it_finds_stands_and_small_levels_are_all_found() -> None:
    """Random small tables, every level around the best by brute force: below it nothing, from it on a choice."""
    for seed in range(60):
        table = random_table(seed)
        least, _ = brute(table)
        for most in (least - 1, least, least + 3):
            found = mended(table, most, steps=300)
            assert (found is not None) == (most >= least), (seed, most)
            assert found is None or table.worst(found) <= most


def hidden(seed: int, count: int = 36, options: int = 6) -> Table:
    """A table with one choice hidden in it that falls short nowhere, among pairs of which many do."""
    chance = np.random.default_rng(seed)
    truth = chance.integers(0, options, size=count)
    pairs: Pairs = {}
    for i in range(count):
        for j in range(i + 1, count):
            pair = 9 * (chance.random((options, options)) < 0.22).astype(np.int64)
            pair[truth[i], truth[j]] = 0
            pairs[i, j] = pair
    return Table(tuple(np.zeros(options, dtype=np.int64) for _ in range(count)), pairs)


def test_a_hidden_choice_is_found() -> None:
    """One choice in 6^36 stands: found in at least nine of ten tables, and the same each time."""
    found = [mended(hidden(seed), 0) for seed in range(10)]
    assert sum(one is not None and hidden(seed).worst(one) == 0 for seed, one in enumerate(found)) >= 9
    assert mended(hidden(3), 0) == found[3]


def test_an_option_that_may_not_stand_is_never_taken() -> None:
    """A network without any option under the level: none is found; with one, that one."""
    pairs: Pairs = {(0, 1): np.array([[0, 9], [9, 9]])}
    assert mended(Table((np.array([3, 3]), np.array([0, 0])), pairs), 2) is None
    assert mended(Table((np.array([0, 3]), np.array([0, 0])), pairs), 2) == (0, 0)


@pytest.mark.parametrize("seed", [5, 22])
def test_forty_cameras_on_a_small_lot_are_proven(seed: int, monkeypatch: pytest.MonkeyPatch) -> None:
    """40 cameras among 100 senders on 60 by 60 m, without the solver: the worst shortfall is proven. On these two lots
    the search for all choices gives up at the level that is reached."""
    monkeypatch.setattr("speed.radio.LOT_M", (60.0, 60.0))
    table = make_table(Powers(lot(40, seed)))
    found = least_worst(table, solver=False)
    assert found.proven
    assert table.worst(found.choice) == found.worst
    with pytest.raises(OutOfSteps):
        Allowed(table, found.worst).choice()
