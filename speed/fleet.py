"""Simulated lenses whose true curves are known: what `make speed` maps, and holds the maps against.

Own and small on purpose: the reference lenses under ``tests/truth`` are for judging maps, these for timing them.
"""

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

Floats = npt.NDArray[np.float64]

SEED = 2810
FAR, NEAR = 0.05, 1.05
"""Ends of a focus scale in place u, as ``tapehook.lens.FocusScale`` has them."""
RELATIVE_VARIANCE = 0.5
"""Each mark is read both ways and averaged."""


@dataclass(frozen=True)
class Fleet:
    """B lenses read at n marks.

    ``u`` (B, n) places, ``y`` (B, n) positions in degrees; ``truth`` (B, G) true positions at the places ``grid`` (G,)
    between the outermost marks.
    """

    u: Floats
    y: Floats
    grid: Floats
    truth: Floats


def fleet(lenses: int, marks: int, points: int) -> Fleet:
    """The same lenses for the same numbers: cams of 90 to 330 degrees, each with its own curve, marks and noise."""
    rng = np.random.default_rng(SEED)
    turn = rng.uniform(90.0, 330.0, (lenses, 1))
    log_cam = rng.uniform(0.1, 6.0, (lenses, 1))
    sway = rng.uniform(-0.12, 0.12, (lenses, 1))
    bend, phase = rng.uniform(0.0, 2e-3, (lenses, 1)), rng.uniform(0.0, 2 * np.pi, (lenses, 1))
    ripple_deg, teeth = rng.uniform(0.0, 0.06, (lenses, 1)), rng.uniform(20.0, 60.0, (lenses, 1))

    def true_position(u: Floats) -> Floats:
        """An even to logarithmic cam, swayed into an S, with a bend of its own and the ripple of its gear."""
        x = np.log1p(log_cam * (u - FAR)) / np.log1p(log_cam)
        shape = x + sway * np.sin(2 * np.pi * x) / (2 * np.pi) + bend * np.sin(3 * np.pi * x + phase)
        position: Floats = turn * shape + ripple_deg * np.sin(2 * np.pi * teeth * x)
        return position

    even = np.linspace(FAR, NEAR, marks)
    apart = (NEAR - FAR) / (marks - 1)
    u = even + rng.uniform(-0.3, 0.3, (lenses, marks)) * apart
    u[:, 0], u[:, -1] = FAR, NEAR
    noise_deg = rng.uniform(0.05, 0.30, (lenses, 1)) * np.sqrt(RELATIVE_VARIANCE)
    engraved_deg = rng.uniform(0.02, 0.10, (lenses, 1))
    y = true_position(u) + np.hypot(noise_deg, engraved_deg) * rng.standard_normal((lenses, marks))
    grid = np.linspace(FAR, NEAR, points)
    return Fleet(u, y, grid, true_position(np.broadcast_to(grid, (lenses, points))))
