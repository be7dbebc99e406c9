"""The plan against brute force, and what must hold of any plan."""

from dataclasses import replace
from itertools import product

import numpy as np
import pytest

from tapehook.radio import solving
from tapehook.radio.air import Air, Emitter, Network, Place, margins_db
from tapehook.radio.best import choose, least_worst, next_best
from tapehook.radio.channels import IEEE_915, IEEE_2450, STANDARDS
from tapehook.radio.choosing import Table, bounds
from tapehook.radio.cliques import serves_all
from tapehook.radio.masks import RadioKind
from tapehook.radio.plan import KEEP_SLACK_DB, judge_plan, make_plan, make_table
from tapehook.radio.powers import Powers
from tapehook.radio.searching import Costs, OutOfSteps

ALL = STANDARDS[IEEE_2450] + STANDARDS[IEEE_915]


def random_table(seed: int) -> Table:
    """Up to five networks with up to seven options, shortfalls of 0 to 20 dB, half of them 0."""
    chance = np.random.default_rng(seed)
    sizes = chance.integers(1, 8, size=chance.integers(1, 6))
    alone = tuple(chance.integers(-20, 21, size=k).clip(0) for k in sizes)
    pairs = {
        (i, j): chance.integers(-20, 21, size=(sizes[i], sizes[j])).clip(0)
        for i in range(len(sizes))
        for j in range(i + 1, len(sizes))
    }
    return Table(alone, pairs)


def random_air(seed: int, cameras: int, options: int, emitters: int = 6) -> Air:
    """Cameras and emitters strewn over a lot of 60 m."""
    chance = np.random.default_rng(seed)

    def place() -> Place:
        return Place(*(float(v) for v in chance.uniform(0, 60, 2)))

    networks = []
    for at in range(cameras):
        some = tuple(ALL[k] for k in sorted(chance.choice(len(ALL), size=options, replace=False)))
        networks.append(Network(chr(65 + at), RadioKind(), (place(),), (place(),), some))
    others = [
        Emitter(f"E{at}", float(chance.uniform(2405, 2475)), 20.0, float(chance.uniform(0, 20)), place(), ofdm=True)
        for at in range(emitters)
    ]
    return Air(tuple(networks), tuple(others))


def brute(table: Table, most: int | None = None) -> tuple[int, int]:
    """Worst and sum of the best choice, every choice tried."""
    everything = list(product(*(range(row.size) for row in table.alone)))
    least = min(table.worst(one) for one in everything) if most is None else most
    best = min((table.total(one), table.worst(one)) for one in everything if table.worst(one) <= least)
    return least, best[0]


@pytest.mark.parametrize("block", range(4))
def test_two_hundred_small_plans_agree_with_brute_force(block: int) -> None:
    """Same worst shortfall, same sum, and said to be proven."""
    for seed in range(50 * block, 50 * block + 50):
        table = random_table(seed)
        found = choose(table, solver=False)
        assert (found.worst, found.total) == brute(table)
        assert found.proven


def small(table: Table) -> Table:
    """At most four options each, so that trying everything takes no time."""
    return Table(tuple(row[:4] for row in table.alone), {k: v[:4, :4] for k, v in table.pairs.items()})


def test_bounds_are_never_above_what_is_reached() -> None:
    """The plain bounds, and those after costs were moved: never above brute force."""
    for seed in range(60):
        table = small(random_table(seed))
        worst, total = bounds(table)
        least, total_least = brute(table)
        assert worst <= least
        assert total <= min(table.total(one) for one in product(*(range(row.size) for row in table.alone)))
        costs = Costs(table, least)
        plain = costs.bound()
        assert plain - 1e-6 <= costs.moved() <= total_least + 1e-3


def test_without_steps_the_bounds_hold_and_nothing_is_called_proven_that_is_not(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    """Both searches give up at once and no solver: worst and sum lie between their bounds and brute force."""

    def give_up(*_: object) -> None:
        raise OutOfSteps

    monkeypatch.setattr("tapehook.radio.searching.Allowed.choice", give_up)
    monkeypatch.setattr("tapehook.radio.searching.LeastSum._deeper", give_up)
    told = 0
    for seed in range(60):
        table = small(random_table(seed))
        found = choose(table, solver=False)
        least, _ = brute(table)
        assert found.worst_bound <= least <= found.worst
        assert found.total_bound <= found.total
        told += found.worst_proven
        if found.worst_proven:
            assert found.worst == least
        if found.proven:
            assert (found.worst, found.total) == brute(table)
    assert told


def test_cliques_prove_only_what_brute_force_finds() -> None:
    """Where they say that not all can be served, no choice has so small a worst."""
    refused = 0
    for seed in range(60):
        table = small(random_table(seed))
        least, _ = brute(table)
        for most in range(max(0, least - 4), least + 3):
            if not serves_all(table, most):
                refused += 1
                assert least > most
    assert refused


def test_the_solver_agrees_where_it_is_installed(monkeypatch: pytest.MonkeyPatch) -> None:
    """CP-SAT alone on the same tables: same worst, same sum, bounds that hold."""
    pytest.importorskip("ortools")

    def give_up(*_: object) -> None:
        raise OutOfSteps

    monkeypatch.setattr("tapehook.radio.searching.Allowed.choice", give_up)
    monkeypatch.setattr("tapehook.radio.searching.LeastSum._deeper", give_up)
    for seed in range(12):
        table = small(random_table(seed))
        found = choose(table)
        assert (found.worst, found.total) == brute(table)
        assert found.proven
        assert solving.feasible(table, -1) == ()


def test_the_next_best_is_the_second_of_all_choices() -> None:
    """Worst first, then the sum, over every choice but the best: brute force."""
    for seed in range(60):
        table = small(random_table(seed))
        chosen = choose(table, solver=False)
        second = next_best(table, chosen)
        others = [one for one in product(*(range(row.size) for row in table.alone)) if one != chosen.choice]
        if not others:
            assert second is None
            continue
        assert second is not None
        assert second != chosen.choice
        assert (table.worst(second), table.total(second)) == min((table.worst(o), table.total(o)) for o in others)


def test_the_best_single_move_is_the_best_of_all_single_moves(monkeypatch: pytest.MonkeyPatch) -> None:
    """What stands in for the next best of many networks: every choice that differs in one network, tried."""
    monkeypatch.setattr("tapehook.radio.best.NEXT_UP_TO", 0)
    for seed in range(40):
        table = random_table(seed)
        chosen = choose(table, solver=False)
        best = chosen.choice
        moves = [
            (*best[:i], k, *best[i + 1 :]) for i, row in enumerate(table.alone) for k in range(row.size) if k != best[i]
        ]
        second = next_best(table, chosen)
        if not moves:
            assert second is None
            continue
        assert second in moves
        assert (table.worst(second), table.total(second)) == min((table.worst(one), table.total(one)) for one in moves)


def test_forty_cameras_have_their_worst_margin_proven() -> None:
    """Without the solver, by search and cliques; and the sum is told with a bound below it."""
    air = random_air(6, 40, 26, emitters=100)
    table = make_table(Powers(air))
    found = least_worst(table, solver=False)
    assert found.proven
    assert table.worst(found.choice) == found.worst
    low = Costs(table, found.worst).moved(passes=2)
    assert 0 < low <= table.total(found.choice)


def test_taking_a_channel_away_moves_no_more_cameras_than_it_must() -> None:
    """Eight cameras with three channels each: the fewest moves among all plans within the slack, by brute force."""
    for seed in range(3):
        air = random_air(seed, 8, 4)
        old = make_plan(air).channels
        gone = old["A"]
        left = replace(
            air,
            networks=tuple(
                replace(
                    one,
                    options=tuple(c for c in one.options if c != gone)[:3] if one.letter == "A" else one.options[:3],
                )
                for one in air.networks
            ),
        )
        table = make_table(Powers(left))
        kept = [one.options.index(old[one.letter]) if old[one.letter] in one.options else None for one in left.networks]
        everything = list(product(*(range(row.size) for row in table.alone)))
        worsts = np.array([table.worst(one) for one in everything])
        near = [one for one, worst in zip(everything, worsts, strict=True) if worst <= worsts.min() + KEEP_SLACK_DB]
        fewest = min(sum(k is not None and k != c for k, c in zip(kept, one, strict=True)) for one in near)
        plan = make_plan(left, keep=old)
        there = [one for one, k in zip(left.networks, kept, strict=True) if k is not None]
        assert sum(plan.channels[one.letter] != old[one.letter] for one in there) == fewest


def test_a_kept_plan_claims_no_more_than_it_proves() -> None:
    """The bound is that of every plan, never the kept one's own; the worst given up is within the slack."""
    strict = 0
    for seed in range(8):
        air = random_air(seed, 4, 5)
        best = make_plan(air)
        old = {one.letter: one.options[0] for one in air.networks}
        kept = make_plan(air, keep=old)
        assert kept.bound_db == best.bound_db
        assert kept.kept
        assert not best.kept
        assert kept.status == "proven"
        assert kept.chosen is not None
        assert best.chosen is not None
        assert best.chosen.worst <= kept.chosen.worst <= best.chosen.worst + KEEP_SLACK_DB
        assert kept.chosen.worst_bound == best.chosen.worst
        strict += kept.chosen.worst > best.chosen.worst
    assert strict


def test_the_bound_is_never_beaten_and_the_worst_is_the_least() -> None:
    """Margins add all powers, so no plan's worst camera is above the bound; brute force over every small plan."""
    for seed in range(5):
        air = random_air(seed, 3, 5)
        plan = make_plan(air)
        assert plan.status == "proven"
        assert plan.worst_margin_db == min(plan.margin_db.values())
        assert plan.bound_db is not None
        letters = [one.letter for one in air.networks]
        for picks in product(*(one.options for one in air.networks)):
            margins = margins_db(air, dict(zip(letters, picks, strict=True)))
            assert min(found.min() for found in margins.values()) <= plan.bound_db + 1e-9
        judged = judge_plan(air, plan.channels)
        assert judged.margin_db == plan.margin_db
        for letter, back in plan.fallback.items():
            assert back not in plan.channels.values()
            assert back in next(one.options for one in air.networks if one.letter == letter)


def test_a_camera_without_a_channel_makes_it_infeasible_and_the_others_get_theirs() -> None:
    """Nothing is made up for it."""
    air = random_air(1, 3, 4)
    bare = replace(air, networks=(replace(air.networks[0], options=()), *air.networks[1:]))
    plan = make_plan(bare)
    assert plan.status == "infeasible"
    assert plan.without == ("A",)
    assert set(plan.channels) == {"B", "C"}
