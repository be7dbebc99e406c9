"""Each link of a plan: what its margin is made of, what eats it, and how far it would carry."""

import math
from collections.abc import Callable, Mapping
from dataclasses import dataclass
from functools import partial
from typing import cast

import numpy as np

from tapehook.radio.air import Air, Floats, Network, Place, Sender
from tapehook.radio.channels import Channel
from tapehook.radio.masks import coupling_db
from tapehook.radio.propagation import NEAREST_M, SHORT_PATHS, Surroundings, free_space_db, path_loss_db, two_ray_db

MOST_EATERS = 3
NINETY_FIVE = 1.645
"""Of so many sd one side: 95 % of places."""
FARTHEST_M = 10_000.0
AERIAL_HEIGHT_M = 1.5
"""Height of both aerials where two rays are reckoned. Assumed."""


@dataclass(frozen=True, slots=True)
class Eater:
    """Something that takes margin: its name, and what the margin would gain without it, dB."""

    name: str
    takes_db: float


@dataclass(frozen=True, slots=True)
class Link:
    """One way of a network: sender and end, how far, level there, margin; ``alone_db`` with nobody else on the air."""

    sender: Sender
    heard_at: Place
    distance_m: float
    wanted_dbm: float
    margin_db: float
    alone_db: float
    eaters: tuple[Eater, ...]


@dataclass(frozen=True, slots=True)
class Reach:
    """How far a link carries by one model: half of all places (``median_m``) and 95 % of them (``sure_m``).

    ``spread_db`` is the sd of the model; beyond ``valid_to_m`` it was not measured (None: it has no end).
    """

    model: str
    median_m: float
    sure_m: float
    spread_db: float
    valid_to_m: float | None


def links_of(air: Air, plan: Mapping[str, Channel]) -> dict[str, list[Link]]:
    """The links of each network that has a channel, in the order of ``Network.links``."""
    return {one.letter: _links(air, plan, one) for one in air.networks if one.letter in plan}


def _links(air: Air, plan: Mapping[str, Channel], network: Network) -> list[Link]:
    channel = plan[network.letter]
    floor = 10.0 ** (network.kind.floor_dbm / 10.0)
    sources = _sources(air, plan, network)
    powers = np.array([power for _, power in sources]).reshape(len(sources), len(network.links))
    # What is there without each: added up from both ends, as taking a large power away again leaves only rounding.
    none = np.zeros((1, len(network.links)))
    before = np.concatenate([none, powers.cumsum(axis=0)])
    after = np.concatenate([powers[::-1].cumsum(axis=0)[::-1], none])
    total, without = floor + before[-1], floor + before[:-1] + after[1:]
    wanted = air.wanted_dbm(network, channel)
    found = []
    for at, (sender, heard_at) in enumerate(network.links):
        here = float(wanted[at]) - network.kind.protection_db
        takes_db = 10.0 * np.log10(total[at] / without[:, at])
        taken = [Eater(name, float(takes)) for (name, _), takes in zip(sources, takes_db, strict=True)]
        worst = sorted((one for one in taken if one.takes_db >= 0.1), key=lambda one: -one.takes_db)[:MOST_EATERS]
        found.append(
            Link(
                sender,
                heard_at,
                sender.place.to(heard_at),
                float(wanted[at]),
                here - float(10.0 * np.log10(total[at])),
                here - network.kind.floor_dbm,
                tuple(worst),
            )
        )
    return found


def _sources(air: Air, plan: Mapping[str, Channel], network: Network) -> list[tuple[str, Floats]]:
    """Each sender by name, and its power that counts beside the noise at the end of each link, milliwatts."""
    channel = plan[network.letter]
    found: list[tuple[str, Floats]] = []
    for other in air.networks:
        if other is not network and other.letter in plan:
            far = plan[other.letter]
            coupling = coupling_db(network.kind, channel, far.centre_mhz, far.width_mhz)
            power = 10.0 ** ((air.from_network_dbm(network, other, far) - coupling) / 10.0)
            found.append((f"camera {other.letter}", power))
    for one in air.emitters:
        coupling = coupling_db(network.kind, channel, one.centre_mhz, one.width_mhz, one.ofdm)
        level = [one.eirp_dbm - free_space_db(one.centre_mhz, one.place.to(place)) for _, place in network.links]
        found.append((one.id, 10.0 ** ((np.array(level) - coupling) / 10.0)))
    if air.scan:
        found.append(("scan", np.full(len(network.links), air.scan.counted_mw(network.kind, channel))))
    return found


def reaches(air: Air, channel: Channel, links: list[Link]) -> list[Reach]:
    """How far the worst link carries until its margin is gone, by each model, with the senders where they are.

    What eats the margin is taken to stay as it is at the worst link's end.
    """
    worst = min(links, key=lambda one: one.margin_db)
    room_db = worst.sender.eirp_dbm - air.body_loss_db - worst.wanted_dbm + worst.margin_db
    at = channel.centre_mhz

    def two_rays_db(distance_m: float) -> float:
        return two_ray_db(at, distance_m, AERIAL_HEIGHT_M, AERIAL_HEIGHT_M)

    free, rays = _until(room_db, partial(free_space_db, at)), _until(room_db, two_rays_db)
    found = [Reach("free_space", free, free, 0.0, None), Reach("two_ray", rays, rays, 0.0, None)]
    for name, path in SHORT_PATHS.items():
        if at >= 1e3 * path.low_ghz:
            loss = partial(path_loss_db, cast("Surroundings", name), at)
            sure = _until(room_db - NINETY_FIVE * path.spread_db, loss)
            found.append(Reach(name, _until(room_db, loss), sure, path.spread_db, path.to_m))
    return found


def _until(room_db: float, loss_db: Callable[[float], float]) -> float:
    """The distance at which the loss reaches ``room_db``, metres, to a thousandth; at most ``FARTHEST_M``, 0: none."""
    low, high = NEAREST_M, FARTHEST_M
    if loss_db(low) > room_db:
        return 0.0
    if loss_db(high) <= room_db:
        return high
    while high > low * 1.001:
        middle = math.sqrt(low * high)
        low, high = (middle, high) if loss_db(middle) <= room_db else (low, middle)
    return low
