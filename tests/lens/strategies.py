"""Readings of rings that the tests of the lens package share."""

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt
from hypothesis import strategies as st

Floats = npt.NDArray[np.float64]


@dataclass(frozen=True)
class Ring:
    """Marks of one lens: places u, positions y in degrees, relative variances v."""

    u: Floats
    y: Floats
    v: Floats


def ring(seed: int, marks: int, noise: float = 0.15) -> Ring:
    """A lens with a smooth cam, irregular marks from the far to the near end, and reading noise, all from ``seed``."""
    rng = np.random.default_rng(seed)
    steps = rng.uniform(0.3, 1.0, marks - 1).cumsum()
    u = 0.05 + np.concatenate([[0.0], steps / steps[-1]])
    bend = rng.uniform(-0.6, 0.6, 2)
    turn = rng.uniform(90.0, 330.0) * rng.choice([-1.0, 1.0])
    cam = u + bend[0] * u * (1.0 - u) + 0.3 * bend[1] * np.sin(4.0 * u)
    y = rng.uniform(-100.0, 100.0) + turn * cam + rng.normal(0.0, noise, marks)
    return Ring(u, y, rng.choice([0.5, 1.0], marks))


rings = st.builds(ring, st.integers(0, 2**31), st.integers(4, 16), st.floats(0.01, 0.5))
