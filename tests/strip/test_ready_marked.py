"""Ready-marked strips: the turn is found, a few bad marks do not carry it, and bad input is refused."""

import numpy as np
import pytest

from tapehook.strip import turn_strip

DISTANCES_M = np.array([0.5, 0.6, 0.7, 0.8, 1.0, 1.2, 1.5, 2.0, 3.0, 5.0, 10.0, np.inf])
SHAPES = (0.0, 0.05, 0.1, 0.2, 0.3, 0.5)
"""How far each made-up strip bends from a scale that is even in vergence."""


def _strip(shape: float) -> np.ndarray:
    place = 0.5 / DISTANCES_M
    return 270.0 * (place + shape * place * (1.0 - place))


def test_right_strip_and_turn_in_99_of_100() -> None:
    """Lenses made from a known strip, turn and noise of 0.2 deg: strip and turn (within 0.5 deg) come back."""
    random = np.random.default_rng(6)
    right = 0
    for _ in range(300):
        shape, turn = random.choice(SHAPES), random.uniform(-180, 180)
        ring = _strip(shape) + turn + random.normal(0, 0.2, len(DISTANCES_M))
        fits = {s: turn_strip(_strip(s), ring, np.full(len(ring), 1.5)) for s in SHAPES}
        best = min(fits, key=lambda s: fits[s].loss)
        right += best == shape and abs(fits[best].turn_deg - turn) <= 0.5
    assert right >= 297


def test_two_bad_marks_do_not_carry_the_turn() -> None:
    """Two of twelve marks 20 deg off leave the turn where the ten put it, and are left out of the trusted run."""
    strip = _strip(0.1)
    ring = strip + 12.0 + 0.05 * np.resize([1, -1], len(strip))
    ring[:2] -= 20.0
    found = turn_strip(strip, ring, np.ones(len(strip)))
    assert found.turn_deg == pytest.approx(12.0, abs=0.1)
    assert found.trusted() == (2, 11)
    assert found.error_deg[0] == pytest.approx(20.0, abs=0.2)
    assert found.depth_used[0] == pytest.approx(20.0, abs=0.2)


def test_exact_strip_uses_no_depth() -> None:
    """A strip that fits exactly has no error, all marks trusted; one off at every mark has none."""
    strip = _strip(0.2)
    exact = turn_strip(strip, strip - 33.0, np.ones(len(strip)))
    assert exact.turn_deg == pytest.approx(-33.0, abs=1e-9)
    assert exact.loss == pytest.approx(0.0, abs=1e-12)
    assert exact.trusted() == (0, 11)
    uneven = turn_strip([0, 100, 200], [0, 40, 300], [0.1] * 3)
    assert uneven.trusted() is None


@pytest.mark.parametrize(
    "strip, ring, width, says",
    [
        ([0, 1], [0, 1], [1, 1], "2 marks"),
        ([0, 1, 2], [0, 1], [1, 1, 1], "as many"),
        ([0, 1, 2], [0, 1, np.nan], [1, 1, 1], "finite"),
        ([0, 1, 2], [0, 1, 2], [1, 0, 1], "above 0"),
    ],
)
def test_bad_input_is_refused(strip: list[float], ring: list[float], width: list[float], says: str) -> None:
    """Too few marks, unequal lengths, figures that are not finite and no depth are named in the refusal."""
    with pytest.raises(ValueError, match=says):
        turn_strip(strip, ring, width)
