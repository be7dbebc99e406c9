"""Channels, bands and propagation against the stored tables in ``radio/`` (README.md says where they come from)."""

import csv
import math
from collections.abc import Callable

import pytest

from tapehook.radio import REGIONS, STANDARDS, Permit, Refused, Use, channel, permit, rows_of
from tapehook.radio.air import Place, product_counts, third_order
from tapehook.radio.bands import ERP_TO_EIRP_DB, ROWS, erp_dbm
from tapehook.radio.channels import IEEE_868, IEEE_915, IEEE_2450, WIFI_2, Channel, covered_by_wifi
from tapehook.radio.exposure import density_mw_cm2, met_from_m, public_limit_mw_cm2
from tapehook.radio.masks import RadioKind, coupling_db, mask_share, rejection_db
from tapehook.radio.propagation import (
    HOMES,
    IN_SIGHT,
    NO_SIGHT,
    dbm,
    field_eirp_mw,
    free_space_db,
    free_space_exact_db,
    indoor_db,
    log_distance_db,
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
    """25 mW ERP is 14.0 dBm against a dipole and 16.1 dBm EIRP: 10 log10(25), and 2.15 more."""
    assert erp_dbm(25.0) == pytest.approx(16.1, abs=0.05)
    assert erp_dbm(25.0) - ERP_TO_EIRP_DB == pytest.approx(14.0, abs=0.05)


@pytest.mark.parametrize("wifi, left", [((1, 6, 11), {15, 20, 25, 26}), ((1, 7, 13), {15, 16, 21, 22})])
def test_channels_outside_wifi(wifi: tuple[int, ...], left: set[int]) -> None:
    """Channels of 802.15.4 that three Wi-Fi channels leave free, by the rule of 11 MHz."""
    free = {
        one.number
        for one in STANDARDS[IEEE_2450]
        if not any(covered_by_wifi(one.centre_mhz, channel(WIFI_2, k)) for k in wifi)
    }
    assert free == left


def test_the_grid_at_915_mhz_is_not_offered_where_national_channels_differ() -> None:
    """Korea and Japan: no channel of the 2 MHz grid, whatever a radio does, and the reason says grid."""
    for region in ("JP", "KR"):
        for one in STANDARDS[IEEE_915]:
            found = permit(region, one, Use(0.0, listens=True))
            assert isinstance(found, Refused)
            assert found.code == "grid"


def test_2450_mhz_may_be_used_in_every_region_with_a_row_for_it() -> None:
    """2400 to 2483.5 MHz, all sixteen channels, at 0 dBm by a link that listens."""
    stored = {row["region"] for row in table("bands.csv") if row["low_mhz"] == "2400"}
    assert {"US", "CA", "CEPT", "GB", "JP", "AU", "KR", "BR", "CN"} <= stored
    for region in stored:
        assert allowed_numbers(region, IEEE_2450, Use(0.0, listens=True)) == set(range(11, 27))


def test_least_rejection_of_the_standard() -> None:
    """IEEE 802.15.4-2003 6.5.3.4 table 22, as quoted in AN3218: -85 dBm, 0 dB beside, 30 dB beyond."""
    least = RadioKind()
    assert (least.sensitivity_dbm, least.adjacent_db, least.alternate_db, least.further_db) == (-85.0, 0.0, 30.0, None)
    here = channel(IEEE_2450, 15)
    assert [rejection_db(least, here, here.centre_mhz + 5 * k, 2.0) for k in (-2, -1, 1, 2, 3)] == [30, 0, 0, 30, 30]


@pytest.mark.parametrize("apart_mhz, level_db", [(0, 0), (9, 0), (10, -10), (11, -20), (20, -28), (30, -40)])
def test_mask_of_a_wifi_channel_20_mhz_wide(apart_mhz: float, level_db: float) -> None:
    """Class A row of table I-9 (IEEE 802.11-10/1327r0): level against the top, on both sides."""
    sliver = 0.001
    for side in (-1.0, 1.0):
        at = 2437.0 + side * apart_mhz
        share = mask_share(2437.0, 20.0, at - sliver / 2, at + sliver / 2)
        assert 10 * math.log10(share * 20.0 / sliver) == pytest.approx(level_db, abs=0.01)


def test_a_2_mhz_receiver_takes_a_tenth_of_wifi_on_its_channel() -> None:
    """10 log10(2/20) = -10 dB; what counts is no less, as the least radio of the standard hears beside it too."""
    wifi, own = channel(WIFI_2, 6), channel(IEEE_2450, 17)
    share = mask_share(wifi.centre_mhz, wifi.width_mhz, own.low_mhz, own.high_mhz)
    assert 10 * math.log10(share) == pytest.approx(-10.0, abs=0.01)
    assert coupling_db(RadioKind(), own, wifi.centre_mhz, wifi.width_mhz, ofdm=True) <= 10.0


@pytest.mark.parametrize("senders, all_", [(2, 2), (3, 9), (4, 24), (5, 50), (6, 90), (7, 147), (8, 224), (32, 15_872)])
def test_how_many_third_order_products_there_are(senders: int, all_: int) -> None:
    """n(n-1) of two signals and n(n-1)(n-2)/2 of three, and the program finds as many on an endless grid."""
    assert sum(product_counts(senders)) == all_


def test_third_order_products_found_are_as_many_as_counted() -> None:
    """Four senders on one cart, and a fifth camera far off on a channel wide enough to catch every product."""
    wide = Channel("test", 99, 2450.0, 1000.0, 1000.0)
    plan = {letter: channel(IEEE_2450, k) for letter, k in zip("ABCD", (11, 13, 17, 26), strict=True)} | {"E": wide}
    places = {letter: [Place(0.3 * at)] for at, letter in enumerate("ABCD")} | {"E": [Place(500.0)]}
    found = [one for one in third_order(plan, places) if one.letter == "E"]
    assert len(found) == sum(product_counts(4))


@pytest.mark.parametrize(
    "eirp_mw, frequency_mhz, limit, met_m",
    [(4000.0, 2450.0, 1.0, 0.178), (4000.0, 915.0, 0.61, 0.228), (100.0, 2450.0, 1.0, 0.028)],
)
def test_exposure_of_the_general_public(eirp_mw: float, frequency_mhz: float, limit: float, met_m: float) -> None:
    """47 CFR 1.1310 table 1, and S = EIRP / (4 pi d^2): where the limit is met."""
    assert public_limit_mw_cm2(frequency_mhz) == pytest.approx(limit, abs=0.001)
    assert met_from_m(eirp_mw, frequency_mhz) == pytest.approx(met_m, abs=0.0005)
    assert density_mw_cm2(eirp_mw, met_m) == pytest.approx(limit, rel=0.04)


def test_density_of_four_watts_at_20_cm() -> None:
    """0.796 mW/cm2; and the limit rises with frequency up to 1500 MHz, where it is 1.0."""
    assert density_mw_cm2(4000.0, 0.2) == pytest.approx(0.796, abs=0.0005)
    assert public_limit_mw_cm2(1500.0) == pytest.approx(1.0)
    with pytest.raises(ValueError, match="300 MHz"):
        public_limit_mw_cm2(100.0)


def test_other_forms_of_path_loss() -> None:
    """Log-distance at its reference and a decade on; P.1238 at 2450 MHz, 10 m: 20 log10(2450) + 30 - 28 = 69.78 dB."""
    assert log_distance_db(60.18, 2.0, 100.0, 10.0) == pytest.approx(free_space_db(2450.0, 100.0), abs=0.005)
    assert log_distance_db(40.0, 3.5, 10.0) == pytest.approx(75.0)
    assert indoor_db(2450.0, 10.0) == pytest.approx(69.78, abs=0.005)
    assert [(one.a, one.b_db, one.g, one.spread_db) for one in (IN_SIGHT, NO_SIGHT, HOMES)] == [
        (2.12, 29.2, 2.11, 5.06),
        (4.00, 10.2, 2.36, 7.60),
        (3.01, 18.8, 2.07, 3.07),
    ]


@pytest.mark.parametrize("apart_mhz, stands_db", [(5.0, 32.0), (-5.0, 32.0), (10.0, 48.0), (15.0, 54.0)])
def test_a_data_sheet_is_taken_at_its_word(apart_mhz: float, stands_db: float) -> None:
    """A transceiver's sheet of 2009: -101 dBm; 32 dB at the worse side beside it, 48 dB beyond, 54 dB at 15 MHz."""
    sheet = RadioKind(sensitivity_dbm=-101.0, adjacent_db=32.0, alternate_db=48.0, further_db=54.0)
    own = channel(IEEE_2450, 15)
    assert rejection_db(sheet, own, own.centre_mhz + apart_mhz, 2.0) == stands_db
    assert sheet.floor_dbm < RadioKind().floor_dbm
