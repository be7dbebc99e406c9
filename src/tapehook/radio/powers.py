"""The powers of all that may be planned, worked out at once: every network on each of its channels.

What ``air`` computes for one plan is here a table over all options, so that many plans can be compared. Powers in
milliwatts, margins in dB.
"""

from collections.abc import Sequence

import numpy as np
import numpy.typing as npt

from tapehook.radio.air import NEAREST_M, Air, Network
from tapehook.radio.channels import Channel
from tapehook.radio.masks import RadioKind, coupling_db
from tapehook.radio.propagation import free_space_db

Floats = npt.NDArray[np.float64]


class Powers:
    """Wanted levels, noise with the emitters, and what networks do to each other, for every option of each.

    For network i with options k and links l: ``wanted_dbm[i]`` and ``noise_mw[i]`` are (k, l). ``arriving(i, j)`` is
    (k of i, k of j, l of i), milliwatts.
    """

    def __init__(self, air: Air) -> None:
        self.air, self.networks = air, air.networks
        # Networks that stand the same on the same options share what does not depend on their places.
        alike: dict[tuple[RadioKind, tuple[Channel, ...]], int] = {}
        self._like = [alike.setdefault((one.kind, one.options), len(alike)) for one in air.networks]
        self._coupled: dict[tuple[int, int], Floats] = {}
        self._heard: dict[int, Floats] = {}
        self.wanted_dbm = [
            np.array([air.wanted_dbm(one, option) for option in one.options]).reshape(len(one.options), -1)
            for one in air.networks
        ]
        self.noise_mw = [
            10.0 ** (one.kind.floor_dbm / 10.0) + self._emitters_mw(i, one) for i, one in enumerate(air.networks)
        ]
        self._arriving = {
            (i, j): self._between((self._like[i], self._like[j]), one, other)
            for i, one in enumerate(air.networks)
            for j, other in enumerate(air.networks)
            if i != j
        }

    def arriving(self, i: int, j: int) -> Floats:
        """Power of network j that counts beside the noise of network i, (options of i, options of j, links of i)."""
        return self._arriving[i, j]

    def _emitters_mw(self, i: int, network: Network) -> Floats:
        """Power of the emitters on each option at the end of each link, (options, links)."""
        key = self._like[i]
        if key not in self._heard:
            coupling = [
                [
                    coupling_db(network.kind, option, one.centre_mhz, one.width_mhz, one.ofdm)
                    for one in self.air.emitters
                ]
                for option in network.options
            ]
            self._heard[key] = np.array(coupling).reshape(len(network.options), len(self.air.emitters))
        level = [
            [one.eirp_dbm - free_space_db(one.centre_mhz, one.place.to(place)) for _, place in network.links]
            for one in self.air.emitters
        ]
        at_end = 10.0 ** (np.array(level).reshape(len(self.air.emitters), len(network.links)) / 10.0)
        found: Floats = 10.0 ** (-self._heard[key] / 10.0) @ at_end
        if self.air.scan:
            heard = [self.air.scan.counted_mw(network.kind, option) for option in network.options]
            found = found + np.array(heard)[:, None]
        return found

    def _between(self, key: tuple[int, int], network: Network, other: Network) -> Floats:
        if key not in self._coupled:
            loss = [
                [
                    coupling_db(network.kind, own, one.centre_mhz, one.width_mhz) + free_space_db(one.centre_mhz, 1.0)
                    for one in other.options
                ]
                for own in network.options
            ]
            self._coupled[key] = 10.0 ** (-np.array(loss).reshape(len(network.options), len(other.options)) / 10.0)
        heard = np.array([[place.x_m, place.y_m] for _, place in network.links])
        senders = other.senders
        stood = np.array([[one.place.x_m, one.place.y_m] for one in senders])
        apart = np.hypot(*(heard[:, None] - stood[None]).transpose(2, 0, 1))
        sent = 10.0 ** (np.array([one.eirp_dbm for one in senders]) / 10.0)
        strongest = (sent / np.maximum(apart, NEAREST_M) ** 2).max(axis=1)
        found: Floats = self._coupled[key][:, :, None] * strongest
        return found

    def margins_db(self, choice: Sequence[int]) -> list[Floats]:
        """Margin of each link when network i takes option ``choice[i]``, all powers added, dB."""
        found = []
        for i, k in enumerate(choice):
            power = self.noise_mw[i][k].copy()
            for j, m in enumerate(choice):
                if j != i:
                    power += self._arriving[i, j][k, m]
            found.append(self._margin_db(i, self.wanted_dbm[i][k], power))
        return found

    def _margin_db(self, i: int, wanted_dbm: Floats, power_mw: Floats) -> Floats:
        margin: Floats = wanted_dbm - self.networks[i].kind.protection_db - 10.0 * np.log10(power_mw)
        return margin

    def alone_db(self, i: int) -> Floats:
        """Worst margin of network i on each option with the emitters on and no other camera, (options,)."""
        worst: Floats = self._margin_db(i, self.wanted_dbm[i], self.noise_mw[i]).min(axis=1)
        return worst

    def pair_db(self, i: int, j: int) -> Floats:
        """Worst margin of network i against network j alone, (options of i, options of j); no emitters."""
        floor_mw = 10.0 ** (self.networks[i].kind.floor_dbm / 10.0)
        power = floor_mw + self._arriving[i, j]
        worst: Floats = self._margin_db(i, self.wanted_dbm[i][:, None], power).min(axis=2)
        return worst

    def worst_when_moved_db(self, choice: Sequence[int], i: int) -> Floats:
        """Worst margin of the whole plan when network i alone moves to each of its options, (options,)."""
        own = self.noise_mw[i].copy()
        worst = np.full(len(self.networks[i].options), np.inf)
        for j, m in enumerate(choice):
            if j == i:
                continue
            own += self._arriving[i, j][:, m]
            power = self.noise_mw[j][m] + sum(
                (self._arriving[j, n][m, k] for n, k in enumerate(choice) if n not in {i, j}), start=0.0
            )
            hit = self._margin_db(j, self.wanted_dbm[j][m], power + self._arriving[j, i][m])
            worst = np.minimum(worst, hit.min(axis=1))
        found: Floats = np.minimum(worst, self._margin_db(i, self.wanted_dbm[i], own).min(axis=1))
        return found
