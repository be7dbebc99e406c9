"""The focus budget: biases add, scatter adds in squares, and the sum is what chance would make of it."""

import math

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from tapehook.shot import BudgetTerm, FocusBudget, budget_over

shifts = st.just(0.0) | st.floats(1e-9, 1.0) | st.floats(-1.0, -1e-9)
widths = st.floats(1e-4, 1.0)
kinds = st.sampled_from(["bias", "scatter"])
terms = st.lists(
    st.builds(
        BudgetTerm,
        name=st.just("term"),
        kind=kinds,
        shift_dpt=shifts.map(lambda x: np.array([x, 2.0 * x])),
        source=st.sampled_from(["lens", "set"]),
    ),
    min_size=1,
    max_size=6,
)


def _term(kind: str, shift: float, source: str = "lens", name: str = "term") -> BudgetTerm:
    return BudgetTerm(name, kind, np.array([shift]), source)  # type: ignore[arg-type]  # literals by name


def test_by_hand() -> None:
    """0.01 of bias and 0.03 and 0.04 of scatter over a width of 0.1: 10 % + 50 % = 60 %."""
    budget = budget_over(2.0, 0.1, [_term("bias", 0.01), _term("scatter", 0.03), _term("scatter", -0.04)])
    assert budget.total.tolist() == pytest.approx([0.6])
    assert budget.shares[:, 0].tolist() == pytest.approx([0.1, 0.3, 0.4])
    assert budget.worst_total == budget.worst_own == pytest.approx(0.6)


def test_what_is_beyond_every_lens_is_infinite() -> None:
    """Marks that make no sense give shares whose squares no number holds: no warning, and no figure."""
    assert budget_over(2.0, 0.1, [_term("scatter", 1e200), _term("bias", 0.01)]).total.tolist() == [math.inf]


def test_biases_do_not_cancel() -> None:
    """Two biases of opposite sign add: nothing says that they keep pointing apart."""
    assert budget_over(2.0, 0.1, [_term("bias", 0.01), _term("bias", -0.01)]).worst_total == pytest.approx(0.2)


def test_own_leaves_out_what_the_set_brings() -> None:
    """The lens's own share counts its own terms alone; with none of its own it is the total."""
    tape = _term("scatter", 0.08, "set", "tape")
    budget = budget_over(2.0, 0.1, [_term("scatter", 0.06), tape])
    assert budget.own.tolist() == pytest.approx([0.6])
    assert budget.total.tolist() == pytest.approx([1.0])
    assert budget_over(2.0, 0.1, [tape]).own.tolist() == pytest.approx([0.8])


def test_worst_is_where_the_lens_is_worst() -> None:
    """The worst distance is that of the largest own share, not of the largest total."""
    own = BudgetTerm("map", "scatter", np.array([0.01, 0.05, 0.02]))
    tape = BudgetTerm("tape", "scatter", np.array([0.5, 0.0, 0.0]), "set")
    budget = budget_over([1.0, 2.0, 4.0], 0.1, [own, tape])
    assert budget.worst == 1
    assert budget.worst_own == pytest.approx(0.5)
    assert [(term.name, share) for term, share in budget.at_worst()] == [("map", pytest.approx(0.5)), ("tape", 0.0)]


@given(terms, widths)
def test_total_is_at_least_its_largest_term(many: list[BudgetTerm], width: float) -> None:
    """No budget is smaller than any of its terms, or larger than their plain sum; own is never more than total."""
    budget = budget_over([1.0, 2.0], width, many)
    assert np.all(budget.total >= budget.shares.max(axis=0) * (1 - 1e-12))
    assert np.all(budget.total <= budget.shares.sum(axis=0) * (1 + 1e-12))
    if any(term.source == "lens" for term in many):
        assert np.all(budget.own <= budget.total * (1 + 1e-12))


@given(terms, widths, st.floats(0.1, 10.0))
def test_half_the_depth_is_twice_the_share(many: list[BudgetTerm], width: float, k: float) -> None:
    """Shares go as one over the width: at twice the f-number all of them are half."""
    plain, wider = budget_over([1.0, 2.0], width, many), budget_over([1.0, 2.0], k * width, many)
    np.testing.assert_allclose(wider.total * k, plain.total, rtol=1e-9, atol=1e-300)
    assert wider.worst == plain.worst or plain.own[wider.worst] == pytest.approx(plain.own[plain.worst])


@given(terms, widths, kinds, st.floats(0.0, 1.0))
def test_more_error_is_never_better(many: list[BudgetTerm], width: float, kind: str, shift: float) -> None:
    """One more term never makes the budget smaller."""
    before = budget_over([1.0, 2.0], width, many)
    more = BudgetTerm("more", kind, np.array([shift, shift]))  # type: ignore[arg-type]  # a literal by name
    assert np.all(budget_over([1.0, 2.0], width, [*many, more]).total >= before.total * (1 - 1e-12))


def test_no_depth_is_used_up_at_once() -> None:
    """Where the blur floor leaves no depth every share is infinite, that of no error at all too."""
    budget = budget_over([1.0, 2.0], [0.0, 0.1], [BudgetTerm("map", "scatter", np.array([0.0, 0.01]))])
    assert budget.total.tolist() == [math.inf, pytest.approx(0.1)]
    assert budget.worst == 0


def test_shapes_broadcast() -> None:
    """One distance, many, and shifts of one figure for all: everything has one column for each distance."""
    one = budget_over(2.0, 0.1, [BudgetTerm("map", "scatter", np.array(0.01))])
    assert one.distance_m.shape == one.total.shape == (1,)
    many = budget_over([1.0, 2.0, math.inf], 0.1, [BudgetTerm("map", "scatter", np.array(0.01))])
    assert many.shares.shape == (1, 3)
    assert isinstance(many, FocusBudget)


@pytest.mark.parametrize("distances, given_", [([], [_term("bias", 0.1)]), ([1.0], [])])
def test_nothing_to_add_up_is_refused(distances: list[float], given_: list[BudgetTerm]) -> None:
    """Without a distance or without a term there is no budget."""
    with pytest.raises(ValueError, match="at least one"):
        budget_over(distances, 0.1, given_)


def test_total_is_what_chance_makes_of_it() -> None:
    """Half a million draws: with scatter at 1.96 sds, the sum stays inside the budget on its side 97.5 times in 100."""
    rng = np.random.default_rng(3)
    budget = budget_over(
        2.0, 0.1, [_term("bias", 0.02), _term("bias", 0.01), _term("scatter", 0.05), _term("scatter", 0.03)]
    )
    draws = rng.normal(0.0, [[0.05 / 1.959964], [0.03 / 1.959964]], (2, 500_000)).sum(axis=0)
    used = (0.03 + draws) / 0.1
    assert float(np.quantile(used, 0.975)) == pytest.approx(budget.worst_total, rel=0.01)
