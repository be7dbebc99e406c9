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
    half_plays,
    log_impossible,
    settle,
    span_deg,
    taping_variance,
)
from tapehook.lens.scale import FocusScale, focus_places
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
BLOCK = 128
"""As many lenses or explanations are weighed at once as stay near the processor."""
SCREEN = 4.0
"""Explanations are only worked out for rows that, left out, raise the log evidence by this much: no correction of a row
can gain much more than that."""


def find_suspects(rows: Rows) -> tuple[Suspect, ...]:
    """The rows that cannot be right, in the order they were found; nothing with fewer than six rows."""
    return find_suspects_of([rows])[0]


def find_suspects_of(many: Sequence[Rows]) -> list[tuple[Suspect, ...]]:
    """``find_suspects`` of many lenses at once: the same answers for less work."""
    found: list[list[Suspect]] = [[] for _ in many]
    states = [State(rows, np.ones(rows.values.size, dtype=np.bool_)) for rows in many]
    searched = [k for k, rows in enumerate(many) if _can_be_weighed(rows)]
    while searched := [k for k in searched if _goes_on(found[k], states[k])]:
        with np.errstate(all="ignore"):  # what overflows is no explanation, see _decide
            best_of = dict(zip(searched, _search([states[k] for k in searched]), strict=True))
            searched = []
            for k, best in best_of.items():
                if best is not None and all(best.suspect.row != other.row for other in found[k]):
                    found[k].append(_with_proposal(best))
                    states[k] = best.state
                    searched.append(k)
    return [tuple(suspects) for suspects in found]


def _can_be_weighed(rows: Rows) -> bool:
    return rows.values.size <= MOST_ROWS and 0.0 < span_deg(rows) < MOST_TURNED_DEG


def _goes_on(found: Sequence[Suspect], state: State) -> bool:
    return len(found) < MOST_SUSPECTS and int(state.there.sum()) >= FEWEST_ROWS


@dataclass(slots=True)
class _Weighed:
    """Explanations of one lens and ln of prior times evidence of each; ``clean`` is that of "no slip"."""

    clean: float
    explanations: list[Explanation] = field(default_factory=list)
    log_weight: list[float] = field(default_factory=list)

    def add(self, explanations: Sequence[Explanation], log_weight: Sequence[float]) -> None:
        """More explanations, weighed."""
        self.explanations.extend(explanations)
        self.log_weight.extend(log_weight)


def _search(states: Sequence[State]) -> list[Explanation | None]:
    """The best explanation of each lens's rows, None where "no slip" stays likely."""
    searches: dict[int, tuple[_Weighed, list[Explanation]]] = {}
    for mine in _alike(states):
        searches.update(zip(mine, _explained(settle([states[k] for k in mine])), strict=True))
    log_weights = iter(_log_weights([each for _, explanations in searches.values() for each in explanations]))
    for weighed, explanations in searches.values():
        weighed.add(explanations, [next(log_weights) for _ in explanations])
    return [_decide(searches[k][0]) for k in range(len(states))]


def _alike(states: Sequence[State]) -> list[list[int]]:
    """The numbers of the states in groups with equally many rows and the same step of the read-out, not too large."""
    groups: dict[tuple[int, float], list[int]] = {}
    for k, state in enumerate(states):
        groups.setdefault((int(state.there.sum()), state.rows.step_deg), []).append(k)
    return [group[i : i + BLOCK] for group in groups.values() for i in range(0, len(group), BLOCK)]


def _explained(states: Sequence[State]) -> list[tuple[_Weighed, list[Explanation]]]:
    """What is weighed of each of some states that are alike, and the explanations still to be weighed."""
    data = _Data.of(states)
    evidence = mark_evidence(data.u, data.y, data.v, data.differences, USUAL_NOISE_DEG, data.step_deg)
    worse = evidence.worse(np.square(WORSE_SD_DEG)) + data.measure[:, None, None]
    clean = evidence.total + data.measure
    gain = worse.max(axis=1) - clean[:, None] + np.maximum(_pair_gain(data.differences, data.step_deg), 0.0)
    clean += data.impossible
    found = []
    for k, state in enumerate(states):
        weighed = _Weighed(float(clean[k]))
        nearest = int(np.argmin(data.values[k]))
        numbers = np.flatnonzero(state.there)
        # The nearest row, alone at its end, bends the curve to itself: only another distance for it can tell.
        explanations = [stray(state, int(numbers[nearest]))]
        if not gain[k].max() > SCREEN and data.impossible[k] == 0.0:
            explanations += other_distances(state, int(numbers[nearest]))
        else:
            chosen = np.union1d(_chosen(gain[k]), [nearest])
            if data.impossible[k]:
                chosen = np.union1d(chosen, _out_of_order(data.values[k], data.y[k]))
            _weigh_worse_rows(weighed, state, worse[k][:, chosen], numbers[chosen])
            explanations += [e for row in numbers[chosen] for e in of_row(state, int(row))] + skipped(state)
        found.append((weighed, explanations))
    return found


def _chosen(gain: Floats) -> npt.NDArray[np.intp]:
    """The up to four rows that gain most, and enough."""
    most = np.argsort(-gain)[:4]
    enough: npt.NDArray[np.intp] = most[gain[most] > 0.5 * min(SCREEN, gain.max())]
    return enough


@dataclass(frozen=True, slots=True)
class _Data:
    """H states with n rows each: values in metres, places, centres, relative variances, pair differences, (H, n).

    ``measure`` (H,) makes evidence comparable between explanations with different nearest marks. The trend is flat per
    place and per place squared, and a place is as many dioptres as the nearest mark has: flat per dioptre and per
    dioptre squared it is the same for all, and that is -3 ln of the vergence of the nearest mark.
    """

    values: Floats
    u: Floats
    y: Floats
    v: Floats
    differences: Floats
    measure: Floats
    impossible: Floats
    step_deg: float

    @staticmethod
    def of(states: Sequence[State]) -> "_Data":
        """Of states with equally many rows and the same step."""
        values, y, v, differences = centres_of(states)
        rows = [state.rows for state in states]
        if any(own.taped.any() for own in rows):
            v = v + np.stack([taping_variance(*part) for part in zip(states, values, y, strict=True)])
        u, near_dpt = focus_places(values, np.array([own.focal_m or 0.0 for own in rows]))
        impossible = log_impossible(np.array([own.close_focus_m or 0.0 for own in rows]), values, y, differences)
        return _Data(values, u, y, v, differences, -3.0 * np.log(near_dpt), impossible, rows[0].step_deg)


def _out_of_order(values: Floats, y: Floats) -> npt.NDArray[np.intp]:
    """Marks on either side of a step the wrong way."""
    order = np.argsort(values)
    steps = np.diff(y[order])
    wrong = np.flatnonzero(steps * np.sign(np.median(steps)) < -OUT_OF_ORDER_DEG)
    return np.unique(np.concatenate([order[wrong], order[wrong + 1]]))


def _decide(weighed: _Weighed) -> Explanation | None:
    """The likeliest slip of the likeliest row, if "no slip" is unlikely enough."""
    log_weight = np.nan_to_num(np.array(weighed.log_weight), nan=-np.inf, posinf=-np.inf)
    if not np.isfinite(weighed.clean):
        return None
    total = float(log_sum_exp(np.append(log_weight, weighed.clean)))
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
    """ln of prior times evidence of each; those that are alike are worked out together."""
    result = [0.0] * len(explanations)
    for mine in _alike([e.state for e in explanations]):
        data = _Data.of([explanations[i].state for i in mine])
        density = log_evidence(data.u, data.y, data.v, data.differences, USUAL_NOISE_DEG, data.step_deg)
        for i, value in zip(mine, (density + data.measure + data.impossible).tolist(), strict=True):
            result[i] = value + explanations[i].log_prior + explanations[i].density
    return result


def _pair_gain(differences: Floats, step_deg: float) -> Floats:
    """How much the pairs' log evidence gains when one difference is explained by a reading that is off: (H, n)."""
    h, n = differences.shape
    without = np.where(np.eye(n, dtype=np.bool_), np.nan, differences[:, None, :]).reshape(h * n, n)
    half, _ = half_plays(differences)
    off = differences - 2.0 * half[:, None]
    gain = log_pair_evidence(without, step_deg).reshape(h, n) - log_pair_evidence(differences, step_deg)[:, None]
    density = np.max([log_misread(off, sd) for sd in WORSE_SD_DEG], axis=0)
    return np.where(np.isfinite(differences), gain + density, 0.0)


def _weigh_worse_rows(weighed: _Weighed, state: State, worse: Floats, numbers: npt.NDArray[np.intp]) -> None:
    """Rows that are merely worse, all readings of them: their evidence (K, rows) is at hand."""
    without = [state.without(row) for row in numbers.tolist()]
    impossible = _Data.of(without).impossible
    for left, row, column, cost in zip(without, numbers.tolist(), worse.T.tolist(), impossible.tolist(), strict=True):
        for evidence, share in zip(column, WORSE_SHARE, strict=True):
            prior = log_prior_of("worse_row", state, share) + cost
            weighed.add([Explanation(Suspect(row, 0, "worse_row", 0.0), left, prior)], [evidence + prior])


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
