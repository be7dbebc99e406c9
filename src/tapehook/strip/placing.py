"""Where the labels of a row go: at their ticks where there is room, pushed aside and led to them where it is tight."""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

Floats = npt.NDArray[np.float64]


@dataclass(frozen=True, slots=True)
class Room:
    """How close labels may stand, in millimetres: ``gap`` between them, between ``left`` and ``right``.

    ``apart`` is the least distance from tick to tick of two labels; ``push`` how far a label may be moved aside.
    """

    left: float
    right: float
    gap: float
    apart: float
    push: float


def place_labels(at: Sequence[float], width: Sequence[float], room: Room) -> Floats:
    """Centres of labels in a row, as near to their ticks ``at`` (n,), rising, as their widths allow: (n,).

    The least sum of squared shifts with no two labels nearer than the gap: isotonic regression by pooling neighbours
    (R. Barlow and others, Statistical Inference under Order Restrictions, 1972). Held within the room's two ends as
    far as all fit; labels that do not fit at all run over the right end, which the caller sees.
    """
    x, w = np.asarray(at, dtype=np.float64), np.asarray(width, dtype=np.float64)
    lead = np.concatenate([[0.0], np.cumsum((w[:-1] + w[1:]) / 2.0 + room.gap)])
    pooled = _pooled(x - lead)
    # Clipping a monotone solution to bounds that are constant after the leads are taken off keeps it the best one.
    low = room.left + w[0] / 2.0
    high = room.right - w[-1] / 2.0 - lead[-1]
    placed: Floats = np.maximum(np.minimum(pooled, high), low) + lead
    return placed


def _pooled(values: Floats) -> Floats:
    """The nearest values, in squares, that never fall."""
    means: list[float] = []
    counts: list[int] = []
    for value in values.tolist():
        means.append(value)
        counts.append(1)
        while len(means) > 1 and means[-2] > means[-1]:
            total = counts[-2] + counts[-1]
            means[-2] = (means[-2] * counts[-2] + means[-1] * counts[-1]) / total
            counts[-2] = total
            means.pop()
            counts.pop()
    return np.repeat(means, counts)


def overlaps(centre: Sequence[float], width: Sequence[float]) -> int:
    """How many pairs of labels stand over each other; labels of one row, in any order."""
    spans = sorted((c - w / 2.0, c + w / 2.0) for c, w in zip(centre, width, strict=True))
    return sum(later < end - 1e-9 for i, (_, end) in enumerate(spans) for later, _ in spans[i + 1 :])
