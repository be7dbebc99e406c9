"""The plan: a channel for each camera, its margin, how good any plan could be, and a channel to fall back on."""

from collections.abc import Mapping
from dataclasses import dataclass, field, replace
from typing import Literal

import numpy as np

from tapehook.radio.air import Air, margins_db
from tapehook.radio.best import choose, next_best
from tapehook.radio.channels import Channel
from tapehook.radio.choosing import Choice, Chosen, Pairs, Table, rounded_up, same_or_moved
from tapehook.radio.powers import Powers

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

    ``worst_margin_db`` adds all powers; ``bound_db`` is a margin that the worst camera of no plan whatever can exceed,
    to the rounding of 1 dB. ``worst_proven``: no plan has a better worst pair, to the whole dB, or, where channels were
    kept, it was given up to ``KEEP_SLACK_DB`` of that. ``status`` "proven": besides, no plan as good has a smaller sum,
    or, where channels were kept, moves fewer cameras; "bound": that is not known; "infeasible": a camera in ``without``
    has no channel it may use. ``moved`` are cameras that leave the channel they had. ``next_best`` is the best plan
    that is not this one.
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
    kept: bool = False
    before: dict[str, Channel] = field(default_factory=dict)
    """The channels of the plan that was kept."""
    next_best: dict[str, Channel] | None = None
    sum_db: int | None = None
    """What cameras and pairs fall short of ``ENOUGH_DB`` in all, and ``SAME_BAND_DB`` for each pair on one band."""
    sum_bound_db: int | None = None
    """What the sum of no plan with such a worst is below; None where that was not asked."""

    @property
    def worst_proven(self) -> bool:
        """True when the worst is known to be the least, or within the slack of it."""
        return self.chosen is not None and self.chosen.worst_proven


def make_table(powers: Powers, enough_db: float = ENOUGH_DB) -> Table:
    """Whole dB each network and pair falls short of ``enough_db``; a pair counts its worse side."""
    networks = powers.networks
    alone = tuple(rounded_up(enough_db - powers.alone_db(i)) for i in range(len(networks)))
    pairs: Pairs = {}
    spread: Pairs = {}
    for i in range(len(networks)):
        for j in range(i + 1, len(networks)):
            pairs[i, j] = rounded_up(enough_db - np.minimum(powers.pair_db(i, j), powers.pair_db(j, i).T))
            same = [[a.standard == b.standard for b in networks[j].options] for a in networks[i].options]
            spread[i, j] = SAME_BAND_DB * np.array(same, dtype=np.int64)
    return Table(alone, pairs, pair_extra=spread)


def make_plan(
    air: Air, keep: Mapping[str, Channel] | None = None, *, solver: bool = True, other: bool = False
) -> RadioPlan:
    """The best plan; with ``keep`` the one that moves the fewest cameras within ``KEEP_SLACK_DB`` of it.

    ``other`` looks for the next-best plan besides, where nothing was kept. Without ``solver`` it answers sooner, and
    proves less of many cameras.
    """
    without = tuple(one.letter for one in air.networks if not one.options)
    served = replace(air, networks=tuple(one for one in air.networks if one.options))
    if not served.networks:
        return RadioPlan("infeasible", {}, {}, None, None, {}, without=without)
    powers = Powers(served)
    table = make_table(powers)
    kept = _kept(served, keep or {})
    plain, any_kept = table, any(one is not None for one in kept)
    if any_kept:
        extra = same_or_moved(kept, [one.size for one in table.alone], _price(table))
        table = replace(table, extra=extra)
    chosen = choose(table, slack=KEEP_SLACK_DB if any_kept else 0, solver=solver)
    channels = _channels(served, chosen.choice)
    moved = tuple(letter for letter, old in (keep or {}).items() if letter in channels and channels[letter] != old)
    margins = margins_of(served, channels)
    second = next_best(table, chosen) if other and not any_kept else None
    total = plain.total(chosen.choice)
    return RadioPlan(
        "infeasible" if without else "proven" if chosen.proven else "bound",
        channels,
        margins,
        min(margins.values()),
        _bound(powers, chosen),
        fallbacks(powers, chosen.choice),
        moved,
        without,
        chosen,
        kept=any_kept,
        before=dict(keep or {}),
        next_best=None if second is None else _channels(served, second),
        sum_db=total,
        sum_bound_db=(total if chosen.proven else None) if any_kept else chosen.total_bound,
    )


def _price(table: Table) -> int:
    """More than any choice adds up to: one move costs more than all shortfalls."""
    pairs = sum(int(table.pair_cost(i, j).max()) for i, j in table.pairs)
    return 1 + sum(int(row.max()) for row in table.alone) + pairs


def _channels(air: Air, choice: Choice) -> dict[str, Channel]:
    return {one.letter: one.options[k] for one, k in zip(air.networks, choice, strict=True)}


def _kept(air: Air, keep: Mapping[str, Channel]) -> list[int | None]:
    return [
        one.options.index(keep[one.letter]) if keep.get(one.letter) in one.options else None for one in air.networks
    ]


def _bound(powers: Powers, chosen: Chosen) -> float:
    """The worst margin no plan exceeds: of the least worst shortfall, and of each network on its best channel."""
    alone = min(float(powers.alone_db(i).max()) for i in range(len(powers.networks)))
    # A shortfall of so many whole dB was rounded up: the margin is less than one dB above what it says.
    return alone if chosen.worst_bound == 0 else min(alone, ENOUGH_DB - chosen.worst_bound + 1.0)


def margins_of(air: Air, channels: Mapping[str, Channel]) -> dict[str, float]:
    """Margin of each network's worst link, all powers added, dB."""
    return {letter: float(found.min()) for letter, found in margins_db(air, channels).items()}


def judge_plan(air: Air, channels: dict[str, Channel], *, solver: bool = True) -> RadioPlan:
    """A plan somebody else made, with its margins and the bound of the best one; channels stand as given."""
    best = make_plan(air, solver=solver)
    status: Status = "infeasible" if set(channels) != {one.letter for one in air.networks} else "bound"
    margins = margins_of(air, channels)
    back = fallbacks(*_given(air, channels)) if channels else {}
    worst = min(margins.values(), default=None)
    return RadioPlan(status, channels, margins, worst, best.bound_db, back, without=best.without)


def _given(air: Air, channels: Mapping[str, Channel]) -> tuple[Powers, Choice]:
    """The powers of the networks that have a channel, and the plan as a choice; channels not offered are added."""
    networks = []
    for one in air.networks:
        own = channels.get(one.letter)
        if own is not None:
            networks.append(one if own in one.options else replace(one, options=(*one.options, own)))
    choice = tuple(one.options.index(channels[one.letter]) for one in networks)
    return Powers(replace(air, networks=tuple(networks))), choice


def fallbacks(powers: Powers, choice: Choice) -> dict[str, Channel]:
    """For each camera the channel nobody uses that leaves the worst margin best when it alone changes to it."""
    networks = powers.networks
    taken = {one.options[k] for one, k in zip(networks, choice, strict=True)}
    found = {}
    for i, one in enumerate(networks):
        free = np.array([channel not in taken for channel in one.options])
        if free.any():
            worst = np.where(free, powers.worst_when_moved_db(choice, i), -np.inf)
            found[one.letter] = one.options[int(worst.argmax())]
    return found
