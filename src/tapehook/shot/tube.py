"""The sharp lane of a shot in ring angle: between which positions the ring must be at each moment.

Sampled evenly in time. Sharpness gives the lane in vergence, a monotone lens map turns it into positions; what arrives
late makes it narrower.
"""

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

Floats = npt.NDArray[np.float64]


@dataclass(frozen=True, slots=True)
class Tube:
    """Lowest and highest position (K,) that are sharp at K even moments, ``step_s`` apart; positions in degrees.

    Either may be infinite where nothing binds. Raises ValueError when shapes differ, when fewer than two moments are
    there, when a step is not positive, or when a moment has its lowest above its highest position.
    """

    step_s: float
    low: Floats
    high: Floats

    def __post_init__(self) -> None:
        if self.low.shape != self.high.shape or self.low.ndim != 1 or self.low.size < 2:
            raise ValueError("a tube needs low and high of one length, two or more")
        if not self.step_s > 0:
            raise ValueError("the step of time must be above nil")
        if not np.all(self.low <= self.high):
            raise ValueError("a moment where the lowest position is above the highest")

    @property
    def time_s(self) -> Floats:
        """The moments, from 0."""
        moments: Floats = np.arange(self.low.size, dtype=np.float64) * self.step_s
        return moments

    def late(self, lag_s: float) -> "Tube | None":
        """What is left for a ring that arrives ``lag_s`` late: sharp now and at every moment until then.

        The bounds over [t, t + lag]: the line drawn through what is left stays sharp whether the lag is there or not.
        None where nothing is left at some moment. The last moments look at what there is.
        """
        ahead = int(np.ceil(lag_s / self.step_s - 1e-9))
        low, high = self.low.copy(), self.high.copy()
        for k in range(1, min(ahead, low.size - 1) + 1):
            low[:-k] = np.maximum(low[:-k], self.low[k:])
            high[:-k] = np.minimum(high[:-k], self.high[k:])
        return None if np.any(low > high) else Tube(self.step_s, low, high)
