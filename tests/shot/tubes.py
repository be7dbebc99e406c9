"""Random tubes: a wandering line with some room on either side."""

import numpy as np

from tapehook.shot.tube import Tube


def random_tube(rng: np.random.Generator, moments: int | None = None) -> Tube:
    """A tube of 2 to 60 moments, or as many as asked, of any width and pace."""
    n = moments or int(rng.integers(2, 60))
    centre = rng.normal(0.0, rng.choice([0.1, 1.0, 10.0]), n).cumsum()
    width = rng.uniform(0.0, 3.0, n) * rng.choice([0.01, 1.0])
    return Tube(float(rng.uniform(0.01, 1.0)), centre - width, centre + width)


def long_tube(moments: int = 2880, width_deg: float = 1.0, seed: int = 0) -> Tube:
    """Two minutes of a walk to and fro at 24 frames a second, rounded at its ends."""
    rng = np.random.default_rng(seed)
    time = np.linspace(0.0, moments / 24.0, moments)
    marks = np.linspace(0.0, time[-1], 8)
    line = np.interp(time, marks, rng.normal(0.0, 40.0, 8).cumsum())
    reach = max(moments // 30, 1)
    line = np.convolve(np.pad(line, reach, mode="edge"), np.ones(2 * reach + 1) / (2 * reach + 1), "valid")
    room = width_deg * (1.0 + 0.5 * np.sin(time / 7.0))
    return Tube(1.0 / 24.0, line - room, line + room)
