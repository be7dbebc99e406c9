"""Whether a channel is offered to a link: its whole width inside an allowed band, and the band's conditions kept."""

import math
from dataclasses import dataclass

from tapehook.radio.bands import BandRow, rows_of
from tapehook.radio.channels import IEEE_915, Channel

_EDGE_MHZ = 1e-6
_OTHER_GRID = {"JP": "ARIB STD-T108 1.5, overview: unit channels of 200 kHz", "KR": "national channels; not seen"}
"""Regions whose own channels the 2 MHz grid of IEEE 802.15.4 at 915 MHz does not match."""
_LEAST_DIGITAL_MHZ = 0.5
"""Width from which modulation counts as digital transmission in the US rule. 47 CFR 15.247(a)(2)."""


@dataclass(frozen=True, slots=True)
class Use:
    """What a link does on the air: EIRP in dBm, ``duty`` as a share of the time (1.0: continuous), and its manners."""

    eirp_dbm: float
    duty: float = 1.0
    listens: bool = False
    hops: bool = False


@dataclass(frozen=True, slots=True)
class Permit:
    """The channel may be offered under ``row``. ``wording`` never says legal where the row is unconfirmed."""

    row: BandRow

    @property
    def wording(self) -> str:
        """How it may be spoken of."""
        return "listed as allowed" if self.row.confirmed else "listed as allowed, unconfirmed"


@dataclass(frozen=True, slots=True)
class Refused:
    """The channel is not offered: ``code``, the reason in words, and the source of the rule it fails."""

    code: str
    reason: str
    source: str


def permit(region: str, channel: Channel, use: Use) -> Permit | Refused:
    """The best row of ``region`` that lets ``use`` run on ``channel``, confirmed rows first; else why not."""
    rows = rows_of(region)
    if not rows:
        return Refused("region", f"no band is listed for the region {region}", "no row")
    if channel.standard == IEEE_915 and region in _OTHER_GRID:
        reason = f"the 2 MHz grid of {IEEE_915} does not match the national channels of {region}"
        return Refused("grid", reason, _OTHER_GRID[region])
    inside = [row for row in rows if _inside(channel, row)]
    if not inside:
        return _outside(region, channel, rows)
    refusals = [(row, _unmet(channel, use, row)) for row in inside]
    good = [row for row, why in refusals if why is None]
    if good:
        return Permit(max(good, key=lambda row: (row.confirmed, row.max_eirp_dbm)))
    # The row nearest to being met is the one whose reason helps: the most power wins.
    row, why = max(refusals, key=lambda pair: (pair[0].max_duty, pair[0].max_eirp_dbm))
    assert why is not None  # noqa: S101 - rows that are met were returned above
    return Refused(why[0], f"{row.title} in {region}: {why[1]}", _source(row))


def _source(row: BandRow) -> str:
    return row.source if row.confirmed else f"{row.source} (unconfirmed)"


def _inside(channel: Channel, row: BandRow) -> bool:
    return row.low_mhz - _EDGE_MHZ <= channel.low_mhz and channel.high_mhz <= row.high_mhz + _EDGE_MHZ


def _outside(region: str, channel: Channel, rows: tuple[BandRow, ...]) -> Refused:
    """Why no band holds the whole channel: an edge leaves it, it lies in a gap, or there is no band near."""
    at = f"{channel.low_mhz:g} to {channel.high_mhz:g} MHz"
    crossed = [row for row in rows if channel.low_mhz < row.high_mhz and channel.high_mhz > row.low_mhz]
    if crossed:
        row = max(crossed, key=lambda one: min(one.high_mhz, channel.high_mhz) - max(one.low_mhz, channel.low_mhz))
        return Refused("edge", f"its width, {at}, leaves the band {row.title} of {region}", _source(row))
    below = [row for row in rows if row.high_mhz <= channel.low_mhz + _EDGE_MHZ]
    above = [row for row in rows if row.low_mhz >= channel.high_mhz - _EDGE_MHZ]
    if below and above:
        low, high = max(below, key=lambda row: row.high_mhz), min(above, key=lambda row: row.low_mhz)
        if high.low_mhz - low.high_mhz <= 50.0:
            reason = f"its width, {at}, lies in the gap of {region} between {low.high_mhz:g} and {high.low_mhz:g} MHz"
            return Refused("gap", reason, _source(low))
    near = min(rows, key=lambda row: max(row.low_mhz - channel.high_mhz, channel.low_mhz - row.high_mhz))
    return Refused("band", f"no band of {region} holds {at}; the nearest is {near.title}", _source(near))


def _unmet(channel: Channel, use: Use, row: BandRow) -> tuple[str, str] | None:
    """The condition of the row that is not kept, as code and words; None when all are."""
    if use.duty > row.max_duty and not (row.or_listens and use.listens):
        kind = "a continuous link" if use.duty >= 1.0 else f"a link on the air {100 * use.duty:g} % of the time"
        either = " or listening before talking" if row.or_listens else ""
        return "duty", f"at most {100 * row.max_duty:g} % of the time on the air{either}, which {kind} does not keep"
    if "hops" in row.needs and not use.hops:
        return "needs", "frequency hopping is asked for"
    if "listens" in row.needs and not use.listens:
        return "needs", "listening before talking is asked for"
    if "digital" in row.needs and channel.width_mhz < _LEAST_DIGITAL_MHZ:
        return "needs", "digital modulation at least 500 kHz wide is asked for"
    most = most_eirp_dbm(channel, row)
    if use.eirp_dbm > most + 1e-9:
        return "power", f"at most {most:.1f} dBm EIRP ({row.power}), and the radio sends {use.eirp_dbm:.1f} dBm"
    return None


def most_eirp_dbm(channel: Channel, row: BandRow) -> float:
    """The largest EIRP on a channel under a row, dBm: its limit, and its density over the channel's width."""
    if row.max_dbm_per_mhz is None:
        return row.max_eirp_dbm
    return min(row.max_eirp_dbm, row.max_dbm_per_mhz + 10.0 * math.log10(max(channel.width_mhz, 1.0)))
