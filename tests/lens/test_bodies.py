"""Sums of lens and body split into parts: the right one is blamed, and nobody where the layout cannot tell."""

import itertools

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from tapehook.lens.bodies import OFF_ODDS, OFF_SD_M, SOUND_SD_M, Known, Split, Sums, next_test, split_parts

SD_M = 3e-6


def _split(layout: dict[int, list[int]], lenses: list[float], bodies: list[float], seed: int = 0) -> Split:
    """Lenses and bodies off by so many micrometres, each lens tested on the bodies of the layout."""
    rng = np.random.default_rng(seed)
    sums = []
    for lens, tested in layout.items():
        at = np.array(tested, dtype=np.intp)
        true = (lenses[lens] + np.array(bodies)[at]) * 1e-6
        sums.append(Sums(lens, at, true + rng.normal(0.0, SD_M, at.size), np.eye(at.size) * SD_M**2))
    return split_parts(sums, len(lenses), len(bodies))


@pytest.mark.parametrize("tested", [[0], [0, 1], [0, 1, 2]])
def test_the_body_is_blamed(tested: list[int]) -> None:
    """20 um of body 0 among six sound lenses, on one, two or three bodies."""
    split = _split(dict.fromkeys(range(6), tested), [0.0] * 6, [20.0, 0.0, 0.0][: len(tested)])
    off = np.array([split.beyond(part, 8e-6) for part in range(6 + len(tested))])
    assert off[6] > 0.95
    assert np.all(off[:6] < 0.5)
    assert split.mean[6] == pytest.approx(20e-6, abs=2.5 * split.sd[6])


@pytest.mark.parametrize("tested", [[0], [0, 1], [0, 1, 2]])
def test_the_lens_is_blamed(tested: list[int]) -> None:
    """20 um of lens 3 among six."""
    lenses = [0.0] * 6
    lenses[3] = 20.0
    split = _split(dict.fromkeys(range(6), tested), lenses, [0.0] * len(tested))
    off = np.array([split.beyond(part, 8e-6) for part in range(6 + len(tested))])
    assert off[3] > 0.9
    assert np.all(np.delete(off, 3) < 0.5)
    assert split.mean[3] == pytest.approx(20e-6, abs=2.5 * split.sd[3])


def test_one_lens_on_one_body_is_left_open() -> None:
    """The sum is sure, either part is not: as likely the one as the other, and the parts are as wide as that."""
    split = _split({0: [0]}, [25.0], [0.0])
    assert split.sum_beyond(0, 0, 8e-6) > 0.99
    assert split.mean[0] == pytest.approx(split.mean[1])
    assert split.sd[0] > 8e-6
    assert all(split.beyond(part, 8e-6) < 0.9 for part in range(2))


@pytest.mark.parametrize("layout, wanted", [({0: [0], 1: [1]}, {(0, 1), (1, 0)}), ({0: [0], 1: [0]}, None)])
def test_the_next_test_swaps(layout: dict[int, list[int]], wanted: set[tuple[int, int]] | None) -> None:
    """Each lens on its own body: swap either way. Two lenses on one body: nothing left to swap with."""
    bodies = 1 + max(itertools.chain(*layout.values()))
    split = _split(layout, [25.0, 0.0], [0.0] * bodies)
    done = frozenset((lens, body) for lens, tested in layout.items() for body in tested)
    found = next_test(split, 0, 0, done)
    assert found is None if wanted is None else found in wanted


def test_the_evidence_is_that_of_the_whole_sum() -> None:
    """Every hypothesis weighed by hand: normal densities of the sums, and the odds, for one lens on one body."""
    shown = 20e-6
    split = split_parts([Sums(0, np.array([0]), np.array([shown]), np.array([[SD_M**2]]))], 1, 1)
    density, odds = {}, OFF_ODDS / (1 - OFF_ODDS)
    for off in ((), (0,), (1,), (0, 1)):
        variance = SD_M**2 + 2 * SOUND_SD_M**2 + len(off) * OFF_SD_M**2
        density[off] = odds ** len(off) * np.exp(-0.5 * shown**2 / variance) / np.sqrt(variance)
    total = sum(density.values())
    expected = 0.0
    for off, weight in density.items():
        own = SOUND_SD_M**2 + (OFF_SD_M**2 if 0 in off else 0.0)
        variance = SD_M**2 + 2 * SOUND_SD_M**2 + len(off) * OFF_SD_M**2
        expected += weight / total * shown * own / variance
    assert split.mean[0] == pytest.approx(expected, rel=1e-6)


def test_errors_are_as_large_as_said() -> None:
    """Lenses and bodies drawn as the prior has them: z-scores with rms 0.9 to 1.1."""
    rng = np.random.default_rng(7)
    scores = []
    for trial in range(250):
        parts = rng.normal(0.0, SOUND_SD_M, 9) + (rng.random(9) < OFF_ODDS) * rng.normal(0.0, OFF_SD_M, 9)
        layout = {lens: sorted(rng.choice(3, rng.integers(1, 4), replace=False).tolist()) for lens in range(6)}
        split = _split(layout, (parts[:6] * 1e6).tolist(), (parts[6:] * 1e6).tolist(), trial)
        scores += ((split.mean - parts) / split.sd).tolist()
    assert 0.9 <= float(np.sqrt(np.mean(np.square(scores)))) <= 1.1


def test_nothing_tested_is_refused() -> None:
    """No sum, no split."""
    with pytest.raises(ValueError, match="no lens was tested"):
        split_parts([], 0, 0)


@given(
    st.lists(st.floats(-80e-6, 80e-6), min_size=1, max_size=6),
    st.integers(1, 3),
)
@settings(max_examples=40)
def test_any_sums_give_sound_figures(sums: list[float], bodies: int) -> None:
    """Parts are finite, sds above nil, and lens and body add up to about what was shown."""
    given_sums = [
        Sums(lens, np.array([lens % bodies]), np.array([shown]), np.array([[SD_M**2]]))
        for lens, shown in enumerate(sums)
    ]
    split = split_parts(given_sums, len(sums), bodies)
    assert np.isfinite(split.mean).all()
    assert np.all(split.sd > 0)
    assert split.weights.sum() == pytest.approx(1.0)
    for lens, shown in enumerate(sums):
        total = split.mean[lens] + split.mean[len(sums) + lens % bodies]
        assert abs(total - shown) <= abs(shown) * 0.5 + 4 * SD_M


def test_a_lens_is_held_against_bodies_that_are_known() -> None:
    """With a body surely 20 um off, a lens that shows 20 um is sound, and one that shows 45 is not."""
    known = Known(np.array([20e-6]), np.array([[(1e-6) ** 2]]))
    parts = [
        split_parts([Sums(0, np.array([0]), np.array([shown]), np.array([[SD_M**2]]))], 1, 1, known)
        for shown in (20e-6, 45e-6)
    ]
    assert parts[0].mean[0] == pytest.approx(0.0, abs=1e-6)
    assert parts[1].mean[0] == pytest.approx(25e-6, abs=3e-6)
    assert [split.beyond(0, 8e-6) > 0.9 for split in parts] == [False, True]
    assert all(split.mean[1] == pytest.approx(20e-6, abs=1e-6) for split in parts)
