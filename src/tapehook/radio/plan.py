"""The plan: a channel for each camera, its margin, how good any plan could be, and a channel to fall back on."""

import math
from collections.abc import Mapping
from dataclasses import dataclass, replace
from typing import Literal

import numpy as np

from tapehook.radio.air import Air, Network, lone_margins_db, margins_db, pair_margins_db
from tapehook.radio.channels import Channel
from tapehook.radio.choosing import Chosen, Ints, Table, choose, rounded_up, same_or_moved

ENOUGH_DB = 30.0
"""Margin beyond which more is worth nothing. Common practice, no source."""
KEEP_SLACK_DB = 3
"""So much worse than the best worst margin a plan may be when that keeps a camera where it is. No source."""
SAME_BAND_DB = 1
"""Two cameras on one band cost so much in the sum: they spread where it can be done. Common practice, no source."""

Status = Literal["proven", "bound", "infeasible"]


@dataclass(frozen=True)
class RadioPlan:
    """``channels`` and ``margin_db`` (worst link) by letter; ``fallback`` where there is one.

    ``worst_margin_db`` adds all powers; ``bound_db`` is a margin no plan's worst camera can reach beyond, to the
    rounding of 1 dB. ``moved`` are cameras that leave the channel they had. ``status`` "infeasible": a camera in
    ``without`` has no channel it may use.
    """

    status: Status
    channels: dict[str, Channel]
    margin_db: dict[str, float]
    worst_margin_db: float | None
    bound_db: float | None
    fallback: dict[str, Channel]
    moved: tuple[str, ...] = ()
    without: tuple[str, ...] = ()
    chosen: Chosen | None = None


def make_table(air: Air, enough_db: float = ENOUGH_DB) -> Table:
    """Whole dB each network and pair falls short of ``enough_db``; a pair counts its worse side."""
    networks = air.networks
    alone = tuple(rounded_up(enough_db - lone_margins_db(air, one)) for one in networks)
    pairs = {}
    for i, one in enumerate(networks):
        for j in range(i + 1, len(networks)):
            margin = np.minimum(pair_margins_db(air, one, networks[j]), pair_margins_db(air, networks[j], one).T)
            pairs[i, j] = rounded_up(enough_db - margin) + _same_band(one, networks[j])
    return Table(alone, pairs)


def _same_band(one: Network, other: Network) -> Ints:
    return np.array(
        [[SAME_BAND_DB * (a.standard == b.standard) for b in other.options] for a in one.options], dtype=np.int64
    )


def make_plan(air: Air, keep: Mapping[str, Channel] | None = None, *, solver: bool = True) -> RadioPlan:
    """The best plan; with ``keep`` the one that moves the fewest cameras within ``KEEP_SLACK_DB`` of it."""
    without = tuple(one.letter for one in air.networks if not one.options)
    served = replace(air, networks=tuple(one for one in air.networks if one.options))
    if not served.networks:
        return RadioPlan("infeasible", {}, {}, None, None, {}, without=without)
    table = make_table(served)
    kept = _kept(served, keep or {})
    if any(one is not None for one in kept):
        price = 1 + sum(int(row.max()) for row in table.alone) + sum(int(pair.max()) for pair in table.pairs.values())
        table = Table(table.alone, table.pairs, same_or_moved(kept, [one.size for one in table.alone], price))
        chosen = choose(table, slack=KEEP_SLACK_DB, solver=solver)
    else:
        chosen = choose(table, solver=solver)
    channels = {one.letter: one.options[k] for one, k in zip(served.networks, chosen.choice, strict=True)}
    moved = tuple(letter for letter, old in (keep or {}).items() if letter in channels and channels[letter] != old)
    status: Status = "infeasible" if without else "proven" if chosen.proven else "bound"
    return _reported(served, channels, status, _bound(served, chosen), chosen, moved, without)


def _kept(air: Air, keep: Mapping[str, Channel]) -> list[int | None]:
    return [
        one.options.index(keep[one.letter]) if keep.get(one.letter) in one.options else None for one in air.networks
    ]


def _bound(air: Air, chosen: Chosen) -> float:
    """The worst margin no plan exceeds: of the least worst shortfall, and of each network on its best channel."""
    alone = min(float(lone_margins_db(air, one).max()) for one in air.networks)
    if chosen.worst_bound <= SAME_BAND_DB:
        return alone
    return min(alone, ENOUGH_DB - chosen.worst_bound + 1.0 + SAME_BAND_DB)


def _reported(
    air: Air,
    channels: dict[str, Channel],
    status: Status,
    bound_db: float | None,
    chosen: Chosen | None,
    moved: tuple[str, ...],
    without: tuple[str, ...],
) -> RadioPlan:
    margins = {letter: float(found.min()) for letter, found in margins_db(air, channels).items()}
    worst = min(margins.values(), default=None)
    back = {one.letter: found for one in air.networks if (found := fallback(air, channels, one))}
    return RadioPlan(status, channels, margins, worst, bound_db, back, moved, without, chosen)


def judge_plan(air: Air, channels: dict[str, Channel]) -> RadioPlan:
    """A plan somebody else made, with its margins and the bound of the best one; channels stand as given."""
    best = make_plan(air)
    status: Status = "infeasible" if set(channels) != {one.letter for one in air.networks} else "bound"
    return _reported(air, channels, status, best.bound_db, None, (), best.without)


def fallback(air: Air, channels: Mapping[str, Channel], network: Network) -> Channel | None:
    """The channel nobody uses that leaves the worst margin best when this camera alone changes to it."""
    taken = set(channels.values())
    free = [one for one in network.options if one not in taken]

    def worst(one: Channel) -> float:
        found = margins_db(air, {**channels, network.letter: one})
        return min((float(margin.min()) for margin in found.values()), default=-math.inf)

    return max(free, key=worst, default=None)
