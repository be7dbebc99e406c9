"""Channels of open standards: IEEE 802.15.4 at 780, 868, 915 and 2450 MHz, and IEEE 802.11.

Centres follow each standard's grid: 802.15.4 channel pages 0 and 5, 802.11 clauses on channelisation.
"""

from dataclasses import dataclass
from functools import cache


@dataclass(frozen=True, slots=True)
class Channel:
    """One channel. ``width_mhz`` is what it occupies, ``spacing_mhz`` the step of its grid."""

    standard: str
    number: int
    centre_mhz: float
    width_mhz: float
    spacing_mhz: float

    @property
    def low_mhz(self) -> float:
        """Lower edge."""
        return self.centre_mhz - self.width_mhz / 2.0

    @property
    def high_mhz(self) -> float:
        """Upper edge."""
        return self.centre_mhz + self.width_mhz / 2.0

    @property
    def is_wifi(self) -> bool:
        """True for channels of IEEE 802.11."""
        return self.standard.startswith("IEEE 802.11 ")


def _grid(
    standard: str, numbers: range | tuple[int, ...], first_mhz: float, per_number: float, width: float, spacing: float
) -> tuple[Channel, ...]:
    first = numbers[0]
    return tuple(Channel(standard, k, first_mhz + per_number * (k - first), width, spacing) for k in numbers)


IEEE_780 = "IEEE 802.15.4 780 MHz"
IEEE_868 = "IEEE 802.15.4 868 MHz"
IEEE_915 = "IEEE 802.15.4 915 MHz"
IEEE_2450 = "IEEE 802.15.4 2450 MHz"
WIFI_2 = "IEEE 802.11 2.4 GHz"
WIFI_5_20 = "IEEE 802.11 5 GHz 20 MHz"
WIFI_5_40 = "IEEE 802.11 5 GHz 40 MHz"
WIFI_5_80 = "IEEE 802.11 5 GHz 80 MHz"

FOCUS_STANDARDS = {"780": IEEE_780, "868": IEEE_868, "915": IEEE_915, "2450": IEEE_2450}
"""Presets a camera's link may use, by the band as people name it."""


def _five_ghz(standard: str, numbers: tuple[int, ...], width: float) -> tuple[Channel, ...]:
    return tuple(Channel(standard, k, 5000.0 + 5.0 * k, width, width) for k in numbers)


_LOWER, _MIDDLE, _UPPER = range(36, 65, 4), range(100, 145, 4), range(149, 166, 4)
STANDARDS: dict[str, tuple[Channel, ...]] = {
    IEEE_780: _grid(IEEE_780, range(4), 780.0, 2.0, 1.2, 2.0),
    IEEE_868: _grid(IEEE_868, range(1), 868.3, 0.0, 0.6, 0.6),
    IEEE_915: _grid(IEEE_915, range(1, 11), 906.0, 2.0, 1.2, 2.0),
    IEEE_2450: _grid(IEEE_2450, range(11, 27), 2405.0, 5.0, 2.0, 5.0),
    WIFI_2: (*_grid(WIFI_2, range(1, 14), 2412.0, 5.0, 20.0, 5.0), Channel(WIFI_2, 14, 2484.0, 22.0, 5.0)),
    WIFI_5_20: _five_ghz(WIFI_5_20, (*_LOWER, *_MIDDLE, *_UPPER), 20.0),
    WIFI_5_40: _five_ghz(WIFI_5_40, (38, 46, 54, 62, 102, 110, 118, 126, 134, 142, 151, 159), 40.0),
    WIFI_5_80: _five_ghz(WIFI_5_80, (42, 58, 106, 122, 138, 155), 80.0),
}
"""All channels known, by standard. The 780 MHz numbers and the 5 GHz sets at 40 and 80 MHz are unconfirmed."""


@cache
def channels(standard: str) -> tuple[Channel, ...]:
    """The channels of a standard, in order. Raises KeyError for a standard that is not listed."""
    return STANDARDS[standard]


def channel(standard: str, number: int) -> Channel:
    """One channel. Raises KeyError when there is none of that standard and number."""
    for one in STANDARDS[standard]:
        if one.number == number:
            return one
    raise KeyError(number)


def covered_by_wifi(centre_mhz: float, wifi: Channel) -> bool:
    """True where a 20 MHz Wi-Fi channel covers a 2 MHz channel: centres less than 11 MHz apart. A rule of thumb."""
    return abs(centre_mhz - wifi.centre_mhz) < 11.0
