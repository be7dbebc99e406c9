"""The plan against brute force, and what must hold of any plan."""

from dataclasses import replace
from itertools import product

import numpy as np
import pytest

from tapehook.radio import solving
from tapehook.radio.air import Air, Emitter, Network, Place, margins_db
from tapehook.radio.channels import IEEE_915, IEEE_2450, STANDARDS
from tapehook.radio.choosing import Table, bounds, choose, local_choice
from tapehook.radio.masks import RadioKind
from tapehook.radio.plan import KEEP_SLACK_DB, judge_plan, make_plan, make_table

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
        networks.append(Network(chr(65 + at), RadioKind(), place(), (place(),), some))
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


def test_bounds_are_never_above_what_is_reached() -> None:
    """Local search with its bounds: worst and sum are at least those, and at least brute force."""
    for seed in range(60):
        table = random_table(seed)
        table = Table(tuple(row[:4] for row in table.alone), {k: v[:4, :4] for k, v in table.pairs.items()})
        found, (worst, total) = local_choice(table), bounds(table)
        least, total_least = brute(table)
        assert worst <= least <= found.worst
        assert total <= min(total_least, found.total)


def test_the_solver_agrees_where_it_is_installed() -> None:
    """CP-SAT on the same tables: same worst, same sum."""
    pytest.importorskip("ortools")
    for seed in range(12):
        table = random_table(seed)
        small = Table(tuple(row[:4] for row in table.alone), {k: v[:4, :4] for k, v in table.pairs.items()})
        found = solving.solve(small)
        assert (found.worst, found.total) == brute(small)
        assert found.proven


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
        table = make_table(left)
        kept = [one.options.index(old[one.letter]) if old[one.letter] in one.options else None for one in left.networks]
        everything = list(product(*(range(row.size) for row in table.alone)))
        worsts = np.array([table.worst(one) for one in everything])
        near = [one for one, worst in zip(everything, worsts, strict=True) if worst <= worsts.min() + KEEP_SLACK_DB]
        fewest = min(sum(k is not None and k != c for k, c in zip(kept, one, strict=True)) for one in near)
        plan = make_plan(left, keep=old)
        there = [one for one, k in zip(left.networks, kept, strict=True) if k is not None]
        assert sum(plan.channels[one.letter] != old[one.letter] for one in there) == fewest


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
