"""Which rows of a list of readings cannot be right, which slip would explain them, and what they should have said.

Every explanation (no slip; this row with that slip; from this row on one mark skipped; this row merely worse) predicts
what the readings would look like; its evidence (``evidence``) times how usual such a slip is, over the sum of all, is
the confidence in it. A row is named only when "no slip" is left with little. Then its correction is taken as made, and
the rest is searched again, so that two slips in one lens are found one after the other.

Two blocks of data are weighed: the centres of the marks, by the curve, and the differences of marks read both ways, by
their likeness to each other; a slip in one reading of a pair shows in both.
"""

from collections.abc import Sequence
from dataclasses import dataclass, field, replace

import numpy as np
import numpy.typing as npt

from tapehook.lens.evidence import log_evidence, log_pair_evidence, log_sum_exp, mark_evidence
from tapehook.lens.explanations import (
    WORSE_SD_DEG,
    WORSE_SHARE,
    Explanation,
    Suspect,
    log_misread,
    log_prior_of,
    of_row,
    other_distances,
    skipped,
    stray,
)
from tapehook.lens.noise import USUAL_NOISE_DEG, pair_evidence
from tapehook.lens.rows import (
    OUT_OF_ORDER_DEG,
    Rows,
    State,
    Way,
    centres_of,
    half_play,
    log_impossible,
    span_deg,
    taping_variance,
)
from tapehook.lens.scale import FocusScale
from tapehook.lens.slips import SlipKind
from tapehook.lens.spline import TREND, fit_splines

Floats = npt.NDArray[np.float64]

FEWEST_ROWS = TREND + 3
"""Below six rows the curve bends to any slip."""
MOST_ROWS = 120
"""No scale has more marks; a search among them would take minutes."""
MOST_TURNED_DEG = 1e7
"""Positions farther apart are no positions of a ring: nothing can be weighed against them."""
MOST_SUSPECTS = 4
ACCUSED_FROM = 0.75
"""A row is named when the explanations that accuse some row are together at least this likely."""
SCREEN = 2.0
"""Explanations are only worked out for rows that, left out, raise the log evidence by this much: no correction of a row
can gain much more than that."""


@dataclass(slots=True)
class _Weighed:
    """Explanations and ln of prior times evidence of each."""

    explanations: list[Explanation] = field(default_factory=list)
    log_weight: list[float] = field(default_factory=list)

    def add(self, explanations: Sequence[Explanation], log_weight: Sequence[float]) -> None:
        """More explanations, weighed."""
        self.explanations.extend(explanations)
        self.log_weight.extend(log_weight)


def find_suspects(rows: Rows) -> tuple[Suspect, ...]:
    """The rows that cannot be right, in the order they were found; nothing with fewer than six rows."""
    state = State(rows, np.ones(rows.values.size, dtype=np.bool_))
    found: list[Suspect] = []
    if not 0.0 < span_deg(rows) < MOST_TURNED_DEG or rows.values.size > MOST_ROWS:
        return ()
    while len(found) < MOST_SUSPECTS and int(state.there.sum()) >= FEWEST_ROWS:
        with np.errstate(all="ignore"):  # what overflows is no explanation, see _decide
            best = _search(state)
            if best is None or any(best.suspect.row == other.row for other in found):
                break
            found.append(_with_proposal(best))
        state = best.state
    return tuple(found)


def _search(state: State) -> Explanation | None:
    """The best explanation of the rows, None when "no slip" stays likely."""
    state = state.settled()
    values, y, v, differences = state.centres()
    v = v + taping_variance(state, values, y)
    scale = FocusScale.of(values, state.rows.focal_m)
    evidence = mark_evidence(scale.place(values), y, v, differences, USUAL_NOISE_DEG, state.rows.step_deg)
    measure = _log_measure(scale)
    clean = evidence.total + measure
    impossible = _impossible(state, values, y, differences)
    worse = evidence.worse(np.square(WORSE_SD_DEG)) + measure
    gain = worse.max(axis=0) - clean + np.maximum(_pair_gain(differences, state.rows.step_deg), 0.0)
    clean += impossible
    numbers = np.flatnonzero(state.there)
    nearest = int(numbers[np.argmin(values)])
    weighed = _Weighed()
    if not gain.max() > SCREEN and impossible == 0.0:
        # The nearest row, alone at its end, bends the curve to itself: only another distance for it can tell.
        explanations = [*other_distances(state, nearest), stray(state, nearest)]
        weighed.add(explanations, _log_weights(explanations))
        return _decide(weighed, clean)
    chosen = np.argsort(-gain)[:4]
    chosen = np.union1d(chosen[gain[chosen] > 0.5 * min(SCREEN, gain.max())], [np.argmin(values)])
    if impossible:
        chosen = np.union1d(chosen, _out_of_order(values, y))
    _weigh_worse_rows(weighed, state, worse[:, chosen], numbers[chosen])
    explanations = [e for row in numbers[chosen] for e in of_row(state, int(row))]
    explanations += [*skipped(state), stray(state, nearest)]
    weighed.add(explanations, _log_weights(explanations))
    return _decide(weighed, clean)


def _out_of_order(values: Floats, y: Floats) -> npt.NDArray[np.intp]:
    """Marks on either side of a step the wrong way."""
    order = np.argsort(values)
    steps = np.diff(y[order])
    wrong = np.flatnonzero(steps * np.sign(np.median(steps)) < -OUT_OF_ORDER_DEG)
    return np.unique(np.concatenate([order[wrong], order[wrong + 1]]))


def _decide(weighed: _Weighed, clean: float) -> Explanation | None:
    """The likeliest slip of the likeliest row, if "no slip" is unlikely enough."""
    log_weight = np.nan_to_num(np.array(weighed.log_weight), nan=-np.inf, posinf=-np.inf)
    if not np.isfinite(clean):
        return None
    total = float(log_sum_exp(np.append(log_weight, clean)))
    share = np.exp(log_weight - total)
    if not share.sum() > ACCUSED_FROM:
        return None
    by_row: dict[int, float] = {}
    by_slip: dict[tuple[int, Way, SlipKind], float] = {}
    for explanation, part in zip(weighed.explanations, share.tolist(), strict=True):
        suspect = explanation.suspect
        key = (suspect.row, suspect.way, suspect.kind)
        by_row[suspect.row] = by_row.get(suspect.row, 0.0) + part
        by_slip[key] = by_slip.get(key, 0.0) + part
    row = max(by_row, key=lambda r: by_row[r])
    slip = max((key for key in by_slip if key[0] == row), key=lambda key: by_slip[key])
    mine = [i for i, e in enumerate(weighed.explanations) if (e.suspect.row, e.suspect.way, e.suspect.kind) == slip]
    best = weighed.explanations[max(mine, key=lambda i: float(share[i]))]
    return replace(best, suspect=replace(best.suspect, confidence=min(by_slip[slip], 1.0)))


def _log_weights(explanations: Sequence[Explanation]) -> list[float]:
    """ln of prior times evidence of each; those with equally many rows are worked out together."""
    result = [0.0] * len(explanations)
    counts = [int(e.state.there.sum()) for e in explanations]
    for count in set(counts):
        mine = [i for i, c in enumerate(counts) if c == count]
        states = [explanations[i].state for i in mine]
        rows = states[0].rows
        values, y, v, differences = centres_of(states)
        if rows.taped.any():
            v = v + np.stack([taping_variance(*part) for part in zip(states, values, y, strict=True)])
        scales = [FocusScale.of(own, rows.focal_m) for own in values]
        u = np.stack([scale.place(own) for scale, own in zip(scales, values, strict=True)])
        density = log_evidence(u, y, v, differences, USUAL_NOISE_DEG, rows.step_deg)
        density = density + np.array([_log_measure(scale) for scale in scales])
        density = density + log_impossible(rows.close_focus_m, values, y, differences)
        for i, value in zip(mine, density.tolist(), strict=True):
            result[i] = value + explanations[i].log_prior + explanations[i].density
    return result


def _log_measure(scale: FocusScale) -> float:
    """What makes evidence comparable between explanations with different nearest marks.

    The trend is flat per place and per place squared, and a place is as many dioptres as the nearest mark has: flat per
    dioptre and per dioptre squared it is the same for all, and that is -3 ln of the vergence of the nearest mark.
    """
    return -3.0 * float(np.log(scale.near_vergence_dpt))


def _impossible(state: State, values: Floats, y: Floats, differences: Floats) -> float:
    """``log_impossible`` of one state."""
    return float(log_impossible(state.rows.close_focus_m, values[None], y[None], differences[None])[0])


def _pair_gain(differences: Floats, step_deg: float) -> Floats:
    """How much the pairs' log evidence gains when one difference is explained by a reading that is off, (n,)."""
    n = differences.size
    without = np.tile(differences, (n, 1))
    np.fill_diagonal(without, np.nan)
    half, _ = half_play(differences)
    off = differences - 2.0 * half
    gain = log_pair_evidence(without, step_deg) - log_pair_evidence(differences[None], step_deg)
    density = np.max([log_misread(off, sd) for sd in WORSE_SD_DEG], axis=0)
    return np.where(np.isfinite(differences), gain + density, 0.0)


def _weigh_worse_rows(weighed: _Weighed, state: State, worse: Floats, numbers: npt.NDArray[np.intp]) -> None:
    """Rows that are merely worse, all readings of them: their evidence is at hand."""
    for column, row in enumerate(numbers.tolist()):
        without = state.without(row)
        values, y, _, differences = without.centres()
        impossible = _impossible(state, values, y, differences)
        for evidence, share in zip(worse[:, column].tolist(), WORSE_SHARE, strict=True):
            prior = log_prior_of("worse_row", state, share) + impossible
            weighed.add([Explanation(Suspect(row, 0, "worse_row", 0.0), without, prior)], [evidence + prior])


def _with_proposal(best: Explanation) -> Suspect:
    """The suspect, with the position that the other rows expect where the slip itself names no value."""
    suspect = best.suspect
    if suspect.distance_m is not None or suspect.position is not None:
        return suspect
    values, y, v, differences = best.state.centres()
    scale = FocusScale.of(values, best.state.rows.focal_m)
    fit = fit_splines(
        scale.place(values), y, v, USUAL_NOISE_DEG, pair_evidence(differences[None], best.state.rows.step_deg)
    )
    centre = float(fit.curve(scale.place(best.state.rows.values[[suspect.row]]))[0, 0])
    half, _ = half_play(differences)
    position = (centre + suspect.way * half) / best.state.rows.degrees_per_unit
    return replace(suspect, position=position) if np.isfinite(position) else suspect
