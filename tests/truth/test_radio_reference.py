"""Channels, bands and propagation against the stored tables in ``radio/`` (README.md says where they come from)."""

import csv
from collections.abc import Callable

import pytest

from tapehook.radio import REGIONS, STANDARDS, Permit, Refused, Use, channel, permit, rows_of
from tapehook.radio.bands import ROWS, erp_dbm
from tapehook.radio.channels import IEEE_868, IEEE_915, IEEE_2450, WIFI_2, covered_by_wifi
from tapehook.radio.propagation import (
    HOMES,
    IN_SIGHT,
    NO_SIGHT,
    dbm,
    field_eirp_mw,
    free_space_db,
    free_space_exact_db,
    two_ray_breakpoint_m,
    two_ray_db,
)
from tests.truth.tables import HERE

Row = dict[str, str]


def table(name: str) -> list[Row]:
    """One of the stored tables."""
    with (HERE / "radio" / name).open(encoding="utf-8", newline="") as file:
        return list(csv.DictReader(file))


RULES: dict[str, Callable[[float, float], float]] = {
    "free_space": free_space_db,
    "free_space_exact": free_space_exact_db,
    "breakpoint": lambda f, _: two_ray_breakpoint_m(f, 1.5, 1.5),
    "two_ray": lambda f, d: two_ray_db(f, d, 1.5, 1.5),
    "in_sight": IN_SIGHT.loss_db,
    "no_sight": NO_SIGHT.loss_db,
    "homes": HOMES.loss_db,
    "field_mw": lambda _, d: field_eirp_mw(0.05, d),
    "field_dbm": lambda _, d: dbm(field_eirp_mw(0.05, d)),
}


@pytest.mark.parametrize("row", table("checks.csv"), ids=lambda row: f"{row['what']}-{row['frequency_mhz']}")
def test_propagation_meets_each_check_value(row: Row) -> None:
    """Each figure of the table within its rounding."""
    found = RULES[row["what"]](float(row["frequency_mhz"] or 0), float(row["distance_m"] or 0))
    assert found == pytest.approx(float(row["expected"]), abs=float(row["tolerance"]))


def test_every_channel_has_the_centre_and_width_of_its_row() -> None:
    """And no standard has a channel more, or less, than the table."""
    wanted = {
        (row["standard"], int(row["channel"])): (float(row["centre_mhz"]), float(row["width_mhz"]))
        for row in table("channels.csv")
    }
    found = {(one.standard, one.number): (one.centre_mhz, one.width_mhz) for all_ in STANDARDS.values() for one in all_}
    assert found.keys() == wanted.keys()
    for key, (centre, width) in wanted.items():
        assert found[key] == pytest.approx((centre, width))


def test_no_band_reaches_beyond_its_source_nor_claims_more() -> None:
    """Each row lies within a stored row of its region, and is confirmed only where that was seen in its source."""
    stored = table("bands.csv")
    for row in ROWS:
        holding = [
            one
            for one in stored
            if one["region"] == row.region
            and float(one["low_mhz"]) <= row.low_mhz
            and row.high_mhz <= float(one["high_mhz"])
        ]
        assert holding, row
        assert not row.confirmed or any(one["flag"] == "seen" for one in holding), row
        assert row.source
    assert set(REGIONS) == {one["region"] for one in stored} - {"ITU-R2"}


def allowed_numbers(region: str, standard: str, use: Use) -> set[int]:
    """Numbers of the channels that a link may use."""
    return {one.number for one in STANDARDS[standard] if isinstance(permit(region, one, use), Permit)}


LINK = Use(10.0)


def test_channels_that_fit_by_region() -> None:
    """The reference's list: 1 to 10 in 902-928, 6 to 10 in 915-928, 1 and 6 to 10 in Brazil."""
    assert allowed_numbers("US", IEEE_915, LINK) == set(range(1, 11))
    assert allowed_numbers("AU", IEEE_915, LINK) == set(range(6, 11))
    assert allowed_numbers("NZ", IEEE_915, LINK) == set(range(6, 11))
    assert allowed_numbers("BR", IEEE_915, LINK) == {1, *range(6, 11)}
    assert allowed_numbers("US", IEEE_2450, LINK) == set(range(11, 27))


@pytest.mark.parametrize("number", [2, 3, 4, 5])
def test_the_gap_in_brazil_is_refused_with_its_source(number: int) -> None:
    """802.15.4 channels 2 to 5 touch 907.5 to 915 MHz: Anatel Act 1379/2019."""
    refused = permit("BR", channel(IEEE_915, number), LINK)
    assert isinstance(refused, Refused)
    assert refused.code in {"gap", "edge"}
    assert "MHz" in refused.reason
    assert "Anatel" in refused.source


def test_an_edge_that_leaves_the_band_is_refused_though_the_centre_is_inside() -> None:
    """14 of Wi-Fi is beyond 2483.5 MHz by its upper edge; in Japan's row alike. By arithmetic: 2484 + 11."""
    refused = permit("US", channel(WIFI_2, 14), Use(20.0))
    assert isinstance(refused, Refused)
    assert refused.code == "edge"
    assert "2473 to 2495 MHz" in refused.reason


def test_a_duty_limit_excludes_a_continuous_link_and_says_so() -> None:
    """868.3 MHz allows 1 % of the time; a link that listens before it talks may use it. ERC/REC 70-03."""
    only = channel(IEEE_868, 0)
    refused = permit("CEPT", only, Use(10.0))
    assert isinstance(refused, Refused)
    assert refused.code == "duty"
    assert "1 %" in refused.reason
    assert "70-03" in refused.source
    assert isinstance(permit("CEPT", only, Use(10.0, duty=0.01)), Permit)
    assert isinstance(permit("CEPT", only, Use(10.0, listens=True)), Permit)


def test_power_and_region_are_refused_in_words() -> None:
    """Too much power names both figures; a region nobody listed is refused, not guessed."""
    strong = permit("CEPT", channel(IEEE_2450, 15), Use(27.0, listens=True))
    assert isinstance(strong, Refused)
    assert strong.code == "power"
    assert "27.0 dBm" in strong.reason
    nowhere = permit("XX", channel(IEEE_2450, 15), LINK)
    assert isinstance(nowhere, Refused)
    assert nowhere.code == "region"
    assert rows_of("XX") == ()


def test_nothing_unconfirmed_is_called_legal() -> None:
    """Every permit of every region: the word legal never, and unconfirmed wherever the row is."""
    for region in REGIONS:
        for all_ in STANDARDS.values():
            for one in all_:
                found = permit(region, one, Use(0.0, listens=True))
                if isinstance(found, Permit):
                    assert "legal" not in found.wording
                    assert ("unconfirmed" in found.wording) != found.row.confirmed


def test_erp_is_against_a_dipole() -> None:
    """25 mW ERP is 16.1 dBm EIRP: 10 log10(25) + 2.15, rounded down in the reference's text."""
    assert erp_dbm(25.0) == pytest.approx(16.1, abs=0.05)


@pytest.mark.parametrize("wifi, left", [((1, 6, 11), {15, 20, 25, 26}), ((1, 7, 13), {15, 16, 21, 22})])
def test_channels_outside_wifi(wifi: tuple[int, ...], left: set[int]) -> None:
    """Channels of 802.15.4 that three Wi-Fi channels leave free, by the rule of 11 MHz."""
    free = {
        one.number
        for one in STANDARDS[IEEE_2450]
        if not any(covered_by_wifi(one.centre_mhz, channel(WIFI_2, k)) for k in wifi)
    }
    assert free == left
