"""How much of one sender's power a receiver on another channel takes in, dB.

Two ways in: power the sender puts into the receiver's own channel (its mask), and power beside it that the receiver
rejects only so far. Rejection is taken as the standard tests it: wanted signal 3 dB above sensitivity, sender of equal
strength plus the rejection. Mask of 20 MHz OFDM: IEEE 802.11, class A row of table I-9 as given in 11-10/1327r0.
"""

import math
from dataclasses import dataclass
from functools import cache

import numpy as np

from tapehook.radio.channels import Channel

_MASK_20 = ((0.0, 0.0), (9.0, 0.0), (10.0, -10.0), (11.0, -20.0), (20.0, -28.0), (30.0, -40.0))
"""Offset from the centre in MHz, level in dB against the top, for a channel 20 MHz wide; wider ones scale."""
_OTHER_BAND_MHZ = 100.0
_TEST_DB = 10.0 * math.log10(2.0)
NO_COUPLING_DB = 120.0


@dataclass(frozen=True, slots=True)
class RadioKind:
    """What a radio sends and stands: levels in dBm, rejections and protection in dB.

    The defaults are the least IEEE 802.15.4 asks of a 2450 MHz radio (2003, 6.5.3.4). ``other_band_db`` and
    ``protection_db``, how far a wanted signal must stand above one on its own channel, have no source: assumed.
    """

    eirp_dbm: float = 10.0
    sensitivity_dbm: float = -85.0
    adjacent_db: float = 0.0
    alternate_db: float = 30.0
    further_db: float | None = None
    other_band_db: float = 50.0
    protection_db: float = 6.0

    @property
    def floor_dbm(self) -> float:
        """What the receiver counts as noise: its sensitivity less what a signal needs above it."""
        return self.sensitivity_dbm - self.protection_db


def mask_share(centre_mhz: float, width_mhz: float, low_mhz: float, high_mhz: float) -> float:
    """Share of an OFDM signal's power that falls between two frequencies; the top counts as 1/width in each MHz."""
    scale = width_mhz / 20.0
    frequencies = np.linspace(low_mhz, high_mhz, 41)
    offsets = np.abs(frequencies - centre_mhz) / scale
    level = np.interp(offsets, [at for at, _ in _MASK_20], [db for _, db in _MASK_20])
    power = 10.0 ** (level / 10.0)
    return float(np.trapezoid(power, frequencies) / width_mhz)


def flat_share(centre_mhz: float, width_mhz: float, low_mhz: float, high_mhz: float) -> float:
    """Share of a signal spread evenly over its width that falls between two frequencies."""
    overlap = min(high_mhz, centre_mhz + width_mhz / 2.0) - max(low_mhz, centre_mhz - width_mhz / 2.0)
    return max(0.0, overlap) / width_mhz


def rejection_db(kind: RadioKind, victim: Channel, centre_mhz: float, width_mhz: float) -> float:
    """How far the receiver stands a sender beside its channel, dB; 0 where the two overlap about the centre."""
    apart = abs(centre_mhz - victim.centre_mhz)
    if apart >= _OTHER_BAND_MHZ:
        return kind.other_band_db
    steps = max(0.0, apart - max(0.0, width_mhz - victim.width_mhz) / 2.0) / victim.spacing_mhz
    if steps < 1.5:
        return kind.adjacent_db
    if steps < 2.5 or kind.further_db is None:
        return kind.alternate_db
    return kind.further_db


@cache
def coupling_db(kind: RadioKind, victim: Channel, centre_mhz: float, width_mhz: float, ofdm: bool = False) -> float:  # noqa: FBT001, FBT002 - one of two shapes of spectrum
    """Loss between a sender's power at the receiver and what counts beside its noise, dB; 0 on the same channel."""
    shape = mask_share if ofdm else flat_share
    inside = min(1.0, shape(centre_mhz, width_mhz, victim.low_mhz, victim.high_mhz))
    beside = 1.0 - flat_share(centre_mhz, width_mhz, victim.low_mhz, victim.high_mhz)
    rejected = rejection_db(kind, victim, centre_mhz, width_mhz) + kind.protection_db + _TEST_DB
    total = inside + beside * 10.0 ** (-rejected / 10.0)
    return min(NO_COUPLING_DB, -10.0 * math.log10(max(total, 1e-12)))
