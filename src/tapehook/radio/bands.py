"""Where a licence-exempt control link may transmit, how strongly, and under which conditions; each row with its source.

Planning data, not legal advice: rules change, and the national text rules. A row that was not seen in its source, or
seen second hand only, is not ``confirmed``, and nothing made from it may be called legal.
"""

from dataclasses import dataclass
from math import log10
from typing import Literal

Needs = Literal["digital", "hops", "listens"]
ERP_TO_EIRP_DB = 2.15
"""A half-wave dipole over an isotropic aerial, dB."""


@dataclass(frozen=True, slots=True)
class BandRow:
    """One row: edges in MHz, the largest EIRP in dBm, and what the radio must do to use it.

    ``max_duty`` is the largest share of the time on the air (1.0: all of it); ``or_listens`` says that listening before
    talking may stand in its place. ``max_dbm_per_mhz`` limits the density, ``power`` is the limit in words.
    """

    region: str
    low_mhz: float
    high_mhz: float
    max_eirp_dbm: float
    power: str
    source: str
    confirmed: bool
    needs: tuple[Needs, ...] = ()
    max_duty: float = 1.0
    or_listens: bool = False
    max_dbm_per_mhz: float | None = None
    note: str = ""

    @property
    def title(self) -> str:
        """The band as people say it."""
        return f"{self.low_mhz:g} to {self.high_mhz:g} MHz"


def erp_dbm(milliwatts: float) -> float:
    """EIRP in dBm of so many milliwatts ERP."""
    return 10.0 * log10(milliwatts) + ERP_TO_EIRP_DB


_247, _249 = "47 CFR 15.247 (2005 edition)", "47 CFR 15.249(a)"
_407 = "47 CFR 15.407, as quoted elsewhere; the section itself not seen"
_RSS = "RSS-247 issue 4 (ISED 2025) for the band; power from memory"
_7003 = "ERC/REC 70-03 annex 1, excerpt; Spanish CNAF note UN-39"
_328 = "ETSI EN 300 328 V2.2.2; ERC/REC 70-03 annex 3"
_MEMORY = "from memory, not seen"
_SUMMARY = "second hand: somebody's table of national limits; the national text not seen"
_REGDB = "second hand: a public list of wireless rules; the national text not seen"
_T108 = "ARIB STD-T108 1.5, overview"
_GAZETTE = "New Zealand Gazette 2016-go6047, second hand; a later notice is in force"
_ANATEL = "Anatel Act 1379/2019 item 13.1 for the band"
_FIELD = "50 mV/m at 3 m, 0.75 mW EIRP"
_WATT = "1 W conducted, 36 dBm EIRP with a 6 dBi aerial"
_SEEN, _UNSEEN = True, False
_DIGITAL: tuple[Needs, ...] = ("digital",)
_HOPS: tuple[Needs, ...] = ("hops",)
_LISTENS: tuple[Needs, ...] = ("listens",)

ROWS: tuple[BandRow, ...] = (
    BandRow("US", 902, 928, 36.0, _WATT, f"{_247} (a)(2), (b)(3)", _SEEN, _DIGITAL, note="at most 8 dBm in any 3 kHz"),
    BandRow("US", 902, 928, 36.0, "1 W conducted with 50 channels", f"{_247} (a)(1)(i), (b)(2)", _SEEN, _HOPS),
    BandRow("US", 902, 928, -1.25, _FIELD, _249, _SEEN),
    BandRow("US", 2400, 2483.5, 36.0, _WATT, f"{_247} (a)(2), (b)(3)", _SEEN, _DIGITAL, note="8 dBm in any 3 kHz"),
    BandRow("US", 2400, 2483.5, 36.0, "1 W conducted with 75 channels", f"{_247} (a)(1), (b)(1)", _SEEN, _HOPS),
    BandRow("US", 2400, 2483.5, -1.25, _FIELD, _249, _SEEN),
    BandRow("US", 5725, 5850, 36.0, "1 W conducted", f"{_247} (b)(1), (b)(3)", _SEEN, _DIGITAL),
    BandRow("US", 5725, 5875, -1.25, _FIELD, _249, _SEEN),
    BandRow("US", 5150, 5250, 30.0, "250 mW conducted", _407, _UNSEEN, max_dbm_per_mhz=17.0, note="network clients"),
    BandRow("US", 5250, 5350, 30.0, "250 mW conducted", _407, _UNSEEN, _LISTENS, max_dbm_per_mhz=17.0, note="DFS"),
    BandRow("US", 5470, 5725, 30.0, "250 mW conducted", _407, _UNSEEN, _LISTENS, max_dbm_per_mhz=17.0, note="DFS"),
    BandRow("CA", 902, 928, 36.0, "1 W conducted, 4 W EIRP", _RSS, _UNSEEN, _DIGITAL),
    BandRow("CA", 2400, 2483.5, 36.0, "1 W conducted, 4 W EIRP", _RSS, _UNSEEN, _DIGITAL),
    BandRow("CA", 5725, 5850, 36.0, "1 W conducted, 4 W EIRP", _RSS, _UNSEEN, _DIGITAL),
    BandRow(
        "CEPT", 863, 870, erp_dbm(25), "25 mW ERP", f"{_7003}; the 0.1 % from memory", _UNSEEN, max_duty=0.001,
        or_listens=True, note="not in all countries",
    ),
    BandRow("CEPT", 868, 868.6, erp_dbm(25), "25 mW ERP", _7003, _SEEN, max_duty=0.01, or_listens=True),
    BandRow("CEPT", 868.7, 869.2, erp_dbm(25), "25 mW ERP", _7003, _SEEN, max_duty=0.001, or_listens=True),
    BandRow("CEPT", 869.4, 869.65, erp_dbm(500), "500 mW ERP", _7003, _SEEN, max_duty=0.1, or_listens=True),
    BandRow("CEPT", 869.7, 870, erp_dbm(5), "5 mW ERP", _7003, _SEEN),
    BandRow(
        "CEPT", 2400, 2483.5, 20.0, "100 mW EIRP", _328, _SEEN, max_duty=0.1, or_listens=True, max_dbm_per_mhz=10.0,
    ),
    BandRow("CEPT", 2400, 2483.5, 10.0, "10 mW EIRP", f"ERC/REC 70-03 annex 1, {_MEMORY}", _UNSEEN),
    BandRow("CEPT", 5725, 5875, 10.0 * log10(25), "25 mW EIRP", f"ERC/REC 70-03 annex 1, {_MEMORY}", _UNSEEN),
    BandRow(
        "GB", 868, 868.6, erp_dbm(25), "25 mW ERP", "as CEPT; Interface Requirement IR 2030 not seen", _UNSEEN,
        max_duty=0.01, or_listens=True,
    ),
    BandRow("GB", 2400, 2483.5, 20.0, "100 mW", _REGDB, _UNSEEN, max_duty=0.1, or_listens=True, max_dbm_per_mhz=10.0),
    BandRow("JP", 915.9, 929.7, 16.0, "20 mW at the aerial, 3 dBi", f"{_T108}; gain from memory", _UNSEEN, _LISTENS),
    BandRow("JP", 2400, 2483.5, 13.0, "10 mW in each MHz", f"ARIB STD-T66, {_MEMORY}", _UNSEEN, max_dbm_per_mhz=10.0),
    BandRow("AU", 915, 928, 30.0, "1 W EIRP", _SUMMARY, _UNSEEN, _DIGITAL, note="LIPD class licence 2015"),
    BandRow("AU", 2400, 2483.5, 36.0, "4 W EIRP", f"LIPD class licence 2015, {_MEMORY}", _UNSEEN, _DIGITAL),
    BandRow("AU", 5725, 5850, 36.0, "4 W EIRP", f"LIPD class licence 2015, {_MEMORY}", _UNSEEN, _DIGITAL),
    BandRow("NZ", 915, 928, 30.0, "0 dBW EIRP", _GAZETTE, _UNSEEN),
    BandRow("NZ", 920, 928, 36.0, "6 dBW EIRP", _GAZETTE, _UNSEEN, _DIGITAL),
    BandRow("NZ", 864, 868, 36.0, "36 dBm EIRP", _SUMMARY, _UNSEEN),
    BandRow("KR", 917, 921.9, 10.0, "10 mW", _SUMMARY, _UNSEEN, _LISTENS),
    BandRow("KR", 922.1, 923.5, 14.0, "25 mW", _SUMMARY, _UNSEEN, _LISTENS),
    BandRow("KR", 925, 931, 17.0, "17 dBm in 1 MHz", _REGDB, _UNSEEN, note="926 to 930 used"),
    BandRow("KR", 2400, 2483.5, 23.0, "23 dBm EIRP", _REGDB, _UNSEEN),
    BandRow("KR", 5725, 5850, 23.0, "23 dBm EIRP", _REGDB, _UNSEEN),
    BandRow("BR", 902, 907.5, 30.0, "1 W", f"{_ANATEL}; power {_SUMMARY}", _UNSEEN, _DIGITAL),
    BandRow("BR", 915, 928, 30.0, "1 W", f"{_ANATEL}; power {_SUMMARY}", _UNSEEN, _DIGITAL),
    BandRow("BR", 2400, 2483.5, 26.0, "400 mW EIRP", f"{_ANATEL}; power from memory", _UNSEEN, _DIGITAL),
    BandRow("BR", 5725, 5850, 30.0, "1 W", f"{_ANATEL}; power from memory", _UNSEEN, _DIGITAL),
    BandRow("CN", 779, 787, erp_dbm(10), "10 mW ERP", f"IEEE 802.15.4c for the channels; power {_MEMORY}", _UNSEEN),
    BandRow("CN", 2400, 2483.5, 20.0, "20 dBm EIRP", _REGDB, _UNSEEN),
    BandRow("TW", 920, 925, 27.0, "0.5 W", _SUMMARY, _UNSEEN, note="1 W outdoors"),
    BandRow("SG", 917, 925, 20.0, "100 mW", _SUMMARY, _UNSEEN),
    BandRow("MY", 919, 923, 27.0, "500 mW", _SUMMARY, _UNSEEN),
    BandRow("MY", 923, 924, 27.0, "500 mW", _SUMMARY, _UNSEEN, max_duty=0.01),
    BandRow("TH", 920, 925, 27.0, "27 dBm", _SUMMARY, _UNSEEN, max_duty=0.1),
    BandRow("IN", 865, 867, 30.0, "30 dBm", _SUMMARY, _UNSEEN),
    BandRow("RU", 868.7, 869.2, 20.0, "20 dBm", _SUMMARY, _UNSEEN, _LISTENS),
    BandRow("PH", 915, 918, 24.0, "250 mW EIRP", _SUMMARY, _UNSEEN, note="no external aerial"),
)  # fmt: skip
"""Every row, by region. ITU Region 2's own 902 to 928 MHz is no row: only a national rule opens it."""

REGIONS: tuple[str, ...] = tuple(dict.fromkeys(row.region for row in ROWS))


def rows_of(region: str) -> tuple[BandRow, ...]:
    """The rows of a region; empty for one that is not listed."""
    return tuple(row for row in ROWS if row.region == region)
