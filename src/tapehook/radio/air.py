"""What is on the air: networks of cameras, other people's senders, and the margin of each link in dB.

A network is one hand unit and its receivers on one channel, taking turns: at any moment one of them sends. Wanted
signals lose what the surroundings and a body take; unwanted ones are taken in free space, as if in plain sight, so
that a margin errs on the safe side. Each sender counts with its own power; of a network, the one that arrives
strongest. Margins add powers in milliwatts.
"""

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from tapehook.radio.channels import Channel
from tapehook.radio.masks import RadioKind, coupling_db
from tapehook.radio.propagation import Surroundings, free_space_db, path_loss_db
from tapehook.radio.scan import Scan

Floats = npt.NDArray[np.float64]
NEAREST_M = 0.5
"""Two radios on one cart are at least so far apart."""


@dataclass(frozen=True, slots=True)
class Place:
    """A place on the floor plan, metres."""

    x_m: float = 0.0
    y_m: float = 0.0

    def to(self, other: "Place") -> float:
        """Distance to another, metres, never below ``NEAREST_M``."""
        return max(NEAREST_M, math.hypot(self.x_m - other.x_m, self.y_m - other.y_m))


@dataclass(frozen=True, slots=True)
class Sender:
    """A radio of a network: where it is, and the EIRP it sends, dBm."""

    place: Place
    eirp_dbm: float


@dataclass(frozen=True, slots=True)
class Network:
    """One camera's link: hand units and receivers (one or more of each), and the channels it may be offered.

    ``kind`` is what its receivers stand. A radio sends ``kind.eirp_dbm`` unless ``powers_dbm`` gives the power of
    each, hand units first.
    """

    letter: str
    kind: RadioKind
    hands: tuple[Place, ...]
    receivers: tuple[Place, ...]
    options: tuple[Channel, ...]
    powers_dbm: tuple[float, ...] = ()

    @property
    def senders(self) -> tuple[Sender, ...]:
        """All its radios, hand units first: each sends in its turn."""
        places = (*self.hands, *self.receivers)
        powers = self.powers_dbm or (self.kind.eirp_dbm,) * len(places)
        return tuple(Sender(place, power) for place, power in zip(places, powers, strict=True))

    @property
    def links(self) -> tuple[tuple[Sender, Place], ...]:
        """(sender, place it is heard at) of each way, hand units to receivers first."""
        ends = self.senders
        hands, receivers = ends[: len(self.hands)], ends[len(self.hands) :]
        there = tuple((hand, receiver.place) for hand in hands for receiver in receivers)
        return (*there, *((receiver, hand.place) for hand in hands for receiver in receivers))


@dataclass(frozen=True, slots=True)
class Emitter:
    """Somebody else's sender; ``ofdm`` for Wi-Fi and video with its kind of spectrum."""

    id: str
    centre_mhz: float
    width_mhz: float
    eirp_dbm: float
    place: Place
    ofdm: bool = False


@dataclass(frozen=True)
class Air:
    """Everything that sends, the surroundings the wanted signals cross, and what a scan heard besides."""

    networks: tuple[Network, ...]
    emitters: tuple[Emitter, ...] = ()
    surroundings: Surroundings = "in_sight"
    body_loss_db: float = 10.0
    scan: Scan | None = None

    def wanted_dbm(self, network: Network, channel: Channel) -> Floats:
        """Level of the wanted signal at the end of each link, (links,)."""
        return np.array(
            [
                sender.eirp_dbm
                - self.body_loss_db
                - path_loss_db(self.surroundings, channel.centre_mhz, sender.place.to(heard_at))
                for sender, heard_at in network.links
            ]
        )

    def from_emitters_mw(self, network: Network, channel: Channel) -> Floats:
        """Power of all emitters, and of the scan, that counts beside the noise at the end of each link, mW (links,)."""
        total = np.full(len(network.links), self.scan.counted_mw(network.kind, channel) if self.scan else 0.0)
        for one in self.emitters:
            coupling = coupling_db(network.kind, channel, one.centre_mhz, one.width_mhz, one.ofdm)
            for at, (_, heard_at) in enumerate(network.links):
                loss = free_space_db(one.centre_mhz, one.place.to(heard_at))
                total[at] += 10.0 ** ((one.eirp_dbm - loss - coupling) / 10.0)
        return total

    def from_network_dbm(self, network: Network, other: Network, other_channel: Channel) -> Floats:
        """Level of another network at the end of each link, before rejection, (links,): its strongest sender there."""
        levels = [
            max(sender.eirp_dbm - 20.0 * math.log10(sender.place.to(heard_at)) for sender in other.senders)
            for _, heard_at in network.links
        ]
        return np.array(levels) - free_space_db(other_channel.centre_mhz, 1.0)


def margins_db(air: Air, plan: Mapping[str, Channel]) -> dict[str, Floats]:
    """Margin of each link of each network that has a channel, dB: wanted signal over what it needs; below 0: no link.

    ``plan`` maps letters to channels. All powers that count are added in milliwatts.
    """
    found: dict[str, Floats] = {}
    planned = [network for network in air.networks if network.letter in plan]
    for network in planned:
        channel = plan[network.letter]
        power = 10.0 ** (network.kind.floor_dbm / 10.0) + air.from_emitters_mw(network, channel)
        for other in planned:
            if other is not network:
                power = power + _arriving_mw(air, network, channel, other, plan[other.letter])
        found[network.letter] = air.wanted_dbm(network, channel) - network.kind.protection_db - 10.0 * np.log10(power)
    return found


def _arriving_mw(air: Air, network: Network, channel: Channel, other: Network, other_channel: Channel) -> Floats:
    coupling = coupling_db(network.kind, channel, other_channel.centre_mhz, other_channel.width_mhz)
    power: Floats = 10.0 ** ((air.from_network_dbm(network, other, other_channel) - coupling) / 10.0)
    return power


def product_counts(senders: int) -> tuple[int, int]:
    """How many third-order products so many senders make, of two and of three: n (n - 1) and n (n - 1)(n - 2)/2."""
    return senders * (senders - 1), senders * (senders - 1) * (senders - 2) // 2


@dataclass(frozen=True, slots=True)
class Product:
    """A third-order product that falls into a camera's channel, and the senders that make it."""

    letter: str
    frequency_mhz: float
    senders: tuple[str, ...]


def third_order(
    plan: Mapping[str, Channel], places: Mapping[str, Sequence[Place]], near_m: float = 2.0
) -> list[Product]:
    """Products 2 f1 - f2 and f1 + f2 - f3 of senders within ``near_m`` of each other, in a planned channel.

    A warning, no prohibition: channels of one grid are equally spaced, so every product lands on one.
    """
    letters = sorted(plan)
    near = {
        (a, b): any(one.to(two) <= near_m for one in places[a] for two in places[b]) for a in letters for b in letters
    }
    found = []
    for first, second in ((a, b) for a in letters for b in letters if a <= b):
        for minus in letters:
            trio = {first, second, minus}
            if minus in {first, second} or not all(near[a, b] for a in trio for b in trio if a != b):
                continue
            product = plan[first].centre_mhz + plan[second].centre_mhz - plan[minus].centre_mhz
            hit = [one for one in letters if plan[one].low_mhz <= product <= plan[one].high_mhz and one not in trio]
            found += [Product(one, product, tuple(sorted(trio))) for one in hit]
    return found
