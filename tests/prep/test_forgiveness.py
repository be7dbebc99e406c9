"""What a budget forgives: the depth beside its share, and the chance of somebody who strays."""

import math
import re
from dataclasses import replace

import numpy as np
import pytest

from tapehook.optics import focus_state, half_width_dpt
from tapehook.prep import prepare
from tapehook.prep.forgiveness import chance_at_worst, room_words
from tapehook.prep.results import BudgetView, LensPrep
from tapehook.prep.room import optics_of
from tapehook.shot import BudgetTerm, budget_over
from tapehook.shot.forgiveness import Spreads
from tests.prep.jobs import a_job


def _entry() -> LensPrep:
    return prepare(a_job()).lens("L1")


def _drawn(entry: LensPrep, view: BudgetView) -> float:
    """The share of 100,000 who are sharp, every term of the budget drawn for itself."""
    rng = np.random.default_rng(9)
    count, at = 100_000, view.budget.worst
    u = float(view.budget.distance_m[at]) - 0.0455  # from the pupil as set, within a millimetre of it at the near end
    w = float(view.budget.half_width_dpt[at])
    place = u + rng.normal(0, math.hypot(0.10, 0.05, 0.01), count)
    off = np.zeros(count)
    for term, share in view.budget.at_worst():
        if term.kind == "scatter":
            off += rng.normal(0, share / 1.96, count)
        elif term.name == "backlash":
            off += share * rng.choice([-1.0, 1.0], count)
        else:
            off += share
    assert entry.system == "metric"
    return float((np.abs(1 / u + w * off - 1 / place) <= w).mean())


def test_the_chance_is_that_of_drawing_every_term() -> None:
    """Within 2 points of a Monte Carlo over tape, map, read-out, play and the person who strays."""
    entry = _entry()
    optics = optics_of(entry)
    assert optics is not None
    for view in entry.budgets:
        assert chance_at_worst(view, optics) == pytest.approx(_drawn(entry, view), abs=0.02)


@pytest.mark.parametrize("at_m, f_number, flange, scatter", [(1.05, 8.0, 1.0, 0.5), (0.65, 11.0, 0.8, 0.15)])
def test_lasting_errors_point_the_worse_way(at_m: float, f_number: float, flange: float, scatter: float) -> None:
    """Nobody knows which way a lasting error of the budget points: the lesser of both chances, 200,000 drawn each.

    Once that is focused farther (much depth and scatter), once nearer.
    """
    (view, *_) = _entry().budgets
    optics = optics_of(_entry())
    assert optics is not None
    w = float(half_width_dpt(f_number, optics.focal_m, optics.blur_m))
    terms = [
        BudgetTerm("flange", "bias", np.array([flange * w])),
        BudgetTerm("map", "scatter", np.array([1.96 * scatter * w])),
    ]
    made = replace(view, budget=budget_over([at_m], [w], terms))
    u = float(focus_state(at_m, optics.focal_m, optics.pupil).pupil_distance_m)
    rng = np.random.default_rng(2)
    place = u + rng.normal(0, math.hypot(0.10, 0.05, 0.01), 200_000)
    off = 1.0 / u - 1.0 / place + w * scatter * rng.normal(0, 1, 200_000)
    both = [float(np.mean((np.abs(off + side * flange * w) <= w) & (place > 0))) for side in (1.0, -1.0)]
    assert abs(both[0] - both[1]) > 0.01
    assert chance_at_worst(made, optics) == pytest.approx(min(both), abs=0.004)


def test_what_is_beyond_every_lens_has_no_chance() -> None:
    """Shares whose squares no number holds, as of marks that make no sense, are as good as no chance, and no error."""
    (view, *_) = _entry().budgets
    optics = optics_of(_entry())
    assert optics is not None
    made = replace(view, budget=budget_over([1.0], [0.1], [BudgetTerm("map", "scatter", np.array([1e200]))]))
    assert chance_at_worst(made, optics) < 1e-100


def test_who_keeps_the_mark_is_surer() -> None:
    """Without straying only lens and tape are left, and the chance grows."""
    entry = _entry()
    optics = optics_of(entry)
    assert optics is not None
    (view, *_) = entry.budgets
    assert chance_at_worst(view, optics, Spreads(0.0, 0.0, 0.0)) > chance_at_worst(view, optics) + 0.3


def test_the_depth_stands_beside_the_share() -> None:
    """The finding on the budget says what the share is of, in centimetres or inches."""
    (finding,) = [one for one in prepare(a_job()).findings if one.code.startswith("budget.")]
    view = _entry().budget("shooting")
    assert view is not None
    assert room_words(view, "metric") in finding.message
    assert re.search(r"\d [cm]m (nearer|either way)", room_words(view, "metric"))
    assert re.search(r'\d" (nearer|either way)', room_words(view, "imperial"))
