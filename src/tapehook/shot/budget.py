"""The focus budget: every error of focus as a share of the depth, added up in one figure.

A shift of focus by dq dioptres uses |dq|/w of the room on its side. A lasting error (bias) adds linearly, as it
points the same way each time; scatter adds in squares. So total = sum of biases + sqrt(sum of scatter^2), with
scatter as the half-width of a 95 % interval. Biases are taken to point the same way: nothing says they do not.
Root-sum-of-squares of independent errors: JCGM 100:2008, Guide to the expression of uncertainty in measurement,
section 5.1; biases kept apart and linear is the cautious choice of this project.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Literal

import numpy as np
import numpy.typing as npt

Floats = npt.NDArray[np.float64]


@dataclass(frozen=True, slots=True)
class BudgetTerm:
    """One error: ``shift_dpt`` (G,) in dioptres at each distance, a bias or a 95 % half-width of scatter.

    ``name`` is a word for people ("map", "reading", "backlash", "tape"); ``source`` says whether the lens brings it
    or the way of working on set; ``assumed`` when nobody measured it.
    """

    name: str
    kind: Literal["bias", "scatter"]
    shift_dpt: Floats
    source: Literal["lens", "set"] = "lens"
    assumed: bool = False


@dataclass(frozen=True, slots=True)
class FocusBudget:
    """Budget over G distances at one stop.

    ``shares`` (terms, G), ``total`` (G,) of all terms and ``own`` (G,) of those the lens itself brings are fractions of
    the half-width ``half_width_dpt`` (G,); ``worst`` indexes the distance where the lens itself uses most.
    """

    distance_m: Floats
    half_width_dpt: Floats
    terms: tuple[BudgetTerm, ...]
    shares: Floats
    total: Floats
    own: Floats
    worst: int

    @property
    def worst_total(self) -> float:
        """Share of all terms at the worst distance."""
        return float(self.total[self.worst])

    @property
    def worst_own(self) -> float:
        """Share of the lens's own terms at the worst distance."""
        return float(self.own[self.worst])

    def at_worst(self) -> list[tuple[BudgetTerm, float]]:
        """Each term with its share at the worst distance, largest first."""
        pairs = [(term, float(self.shares[i, self.worst])) for i, term in enumerate(self.terms)]
        return sorted(pairs, key=lambda pair: -pair[1])


def budget_over(distance_m: npt.ArrayLike, half_width_dpt: npt.ArrayLike, terms: Sequence[BudgetTerm]) -> FocusBudget:
    """Add up ``terms`` at each of G distances (metres) against half-widths (G,) in dioptres.

    A half-width of zero (the blur floor leaves no depth) makes every share infinite. Raises ValueError without
    distances or without terms.
    """
    distance = np.atleast_1d(np.asarray(distance_m, dtype=np.float64))
    width = np.broadcast_to(np.asarray(half_width_dpt, dtype=np.float64), distance.shape)
    if distance.size == 0 or not terms:
        raise ValueError("a budget needs at least one distance and one term")
    with np.errstate(divide="ignore", invalid="ignore"):
        shares = np.stack([np.abs(np.broadcast_to(term.shift_dpt, distance.shape)) / width for term in terms])
    shares = np.where(np.isnan(shares), np.inf, shares)
    of_lens = np.array([term.source == "lens" for term in terms])
    bias = np.array([term.kind == "bias" for term in terms])
    total = _combine(shares, bias)
    own = _combine(shares[of_lens], bias[of_lens]) if of_lens.any() else total
    return FocusBudget(distance, width, tuple(terms), shares, total, own, int(np.argmax(own)))


def _combine(shares: Floats, bias: npt.NDArray[np.bool_]) -> Floats:
    """Biases added, scatter in squares: (terms, G) to (G,)."""
    with np.errstate(over="ignore"):  # what is beyond every lens is infinite
        total: Floats = shares[bias].sum(axis=0) + np.sqrt((shares[~bias] ** 2).sum(axis=0))
    return total
