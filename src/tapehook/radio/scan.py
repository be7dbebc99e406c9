"""What a scan heard: levels over frequency, and how much of them counts on a channel.

Each level is taken as the power in the step about its frequency, and as if it were heard at every radio: a scan has one
place. Points farther apart than ten times the usual step leave a hole, in which nothing is known.
"""

import math
from collections.abc import Sequence
from dataclasses import dataclass
from functools import cached_property
from itertools import pairwise

import numpy as np
import numpy.typing as npt

from tapehook.radio.channels import Channel
from tapehook.radio.masks import RadioKind, coupling_db

Floats = npt.NDArray[np.float64]
_GRID_MHZ = 0.5
_HOLE = 10.0
_NARROWEST_MHZ = 1e-6
"""A hertz: points closer than numbers can tell apart still have a width to spread their power over."""


@dataclass(frozen=True)
class Scan:
    """Points (frequency in MHz, level in dBm), frequencies rising, each once. Raises ValueError otherwise."""

    points: tuple[tuple[float, float], ...]

    def __post_init__(self) -> None:
        frequencies = [at for at, _ in self.points]
        if len(frequencies) < 2 or any(b <= a for a, b in pairwise(frequencies)):
            raise ValueError("two points or more, frequencies rising")

    @cached_property
    def _steps(self) -> tuple[Floats, Floats]:
        """Edges below and above each point."""
        at = np.array([one for one, _ in self.points])
        gaps = np.diff(at)
        most = _HOLE * float(np.median(gaps))
        half = np.where(gaps <= most, gaps, float(np.median(gaps))) / 2.0
        return at - np.concatenate([half[:1], half]), at + np.concatenate([half, half[-1:]])

    @cached_property
    def bins(self) -> tuple[tuple[float, float, float], ...]:
        """(centre, width, milliwatts) of slices at most 0.5 MHz wide or one step, in which anything was heard."""
        low, high = self._steps
        power = 10.0 ** (np.array([level for _, level in self.points]) / 10.0)
        slots: dict[int, tuple[float, float, float]] = {}
        for below, above, sent in zip(low.tolist(), high.tolist(), power.tolist(), strict=True):
            slot = int((below + above) / 2.0 // _GRID_MHZ)
            old = slots.get(slot, (below, above, 0.0))
            slots[slot] = (min(old[0], below), max(old[1], above), old[2] + sent)
        return tuple(((a + b) / 2.0, max(b - a, _NARROWEST_MHZ), sent) for a, b, sent in slots.values() if sent > 0.0)

    def covers(self, channel: Channel) -> bool:
        """True when every part of the channel was scanned."""
        low, high = self._steps
        reached = channel.low_mhz
        for below, above in zip(low.tolist(), high.tolist(), strict=True):
            if below <= reached + 1e-6:
                reached = max(reached, above)
        return reached >= channel.high_mhz - 1e-6

    def level_dbm(self, channel: Channel) -> float | None:
        """Power heard inside the channel, dBm; None where not all of it was scanned, or nothing was heard."""
        if not self.covers(channel):
            return None
        inside = sum(
            sent * max(0.0, min(at + wide / 2, channel.high_mhz) - max(at - wide / 2, channel.low_mhz)) / wide
            for at, wide, sent in self.bins
        )
        return float(10.0 * np.log10(inside)) if inside > 0.0 else None

    def counted_mw(self, kind: RadioKind, channel: Channel) -> float:
        """What counts beside the noise of a receiver on the channel, in it and beside it as it rejects, milliwatts."""
        return math.fsum(sent * 10.0 ** (-coupling_db(kind, channel, at, wide) / 10.0) for at, wide, sent in self.bins)


def scan_of(points: Sequence[tuple[float, float]]) -> Scan:
    """A scan of points in any order; of points at one frequency the strongest stands. Raises ValueError below two."""
    best: dict[float, float] = {}
    for at, level in points:
        best[at] = max(level, best.get(at, -np.inf))
    return Scan(tuple(sorted(best.items())))
