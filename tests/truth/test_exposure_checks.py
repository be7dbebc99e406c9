"""Published figures of exposure, flicker, filters and polarisers, through the public functions.

Each row of ``checks/exposure.toml`` names one of the rules below; its source and how far it is to be trusted stand in
the row. ``relative`` is a tolerance as a share of what is expected.
"""

import math
from collections.abc import Callable

import pytest

from tapehook.notation import LUX_PER_FOOT_CANDLE, parse_shutter, parse_stop
from tapehook.optics.exposure import (
    CINE_METER_LX_S,
    exposure_value,
    implied_grey,
    light_of_ev_lux,
    luminance_of_ev_cd_m2,
    shutter_time_s,
    solve_exposure,
    speed_change_stops,
    stops_of_density,
    stops_of_factor,
)
from tapehook.optics.flicker import safe_shutters
from tapehook.optics.polariser import IDEAL_SINGLE, MALUS, PolariserPair, stops_below_aligned
from tests.truth.tables import Row, checks

ROWS = checks("exposure")
COMPUTED = [row for row in ROWS if "compute" in row]


def _foot_candles(row: Row, *, as_written: bool = False) -> float:
    time_s = parse_shutter(row["time"]).time_s
    assert time_s is not None
    constant = row.get("meter_lx_s", CINE_METER_LX_S)
    stop = parse_stop(row["stop"])
    t_stop = stop.number if as_written else stop.exact
    lux = solve_exposure("light_lux", t_stop=t_stop, ei=row["ei"], time_s=time_s, meter_lx_s=constant)
    return lux / LUX_PER_FOOT_CANDLE


def _safe_angle(row: Row) -> float:
    found = {shutter.pulses: shutter.angle_deg for shutter in safe_shutters(row["fps"], row["pulse_rate_hz"])}
    return found[row["pulses"]]


RULES: dict[str, Callable[[Row], float]] = {
    "exposure_value": lambda row: float(exposure_value(row["f_number"], row["time_s"])),
    "light_of_ev": lambda row: float(light_of_ev_lux(row["ev"], row["iso"], row["meter_lx_s"])),
    "luminance_of_ev": lambda row: float(luminance_of_ev_cd_m2(row["ev"])),
    "implied_grey": lambda row: float(implied_grey(row["k"], row["c"])),
    "foot_candles": _foot_candles,
    "foot_candles_as_written": lambda row: _foot_candles(row, as_written=True),
    "cine_meter": lambda _: CINE_METER_LX_S,
    "one_over_time": lambda row: 1.0 / float(shutter_time_s(row["angle_deg"], row["fps"])),
    "safe_angle": _safe_angle,
    "stops_of_density": lambda row: float(stops_of_density(row["density"])),
    "percent_of_density": lambda row: 100.0 * 2.0 ** -float(stops_of_density(row["density"])),
    "stops_of_factor": lambda row: float(stops_of_factor(row["factor"])),
    "angle_change": lambda row: math.log2(
        float(shutter_time_s(row["from_deg"], 24.0)) / float(shutter_time_s(row["to_deg"], 24.0))
    ),
    "malus_angle": lambda row: float(MALUS.angle_deg(-math.log10(row["share"]))),
    "pair_density": lambda row: float(PolariserPair(row["k0"], row["k90"]).density(row["angle_deg"])),
    "single_stops": lambda _: -math.log2(IDEAL_SINGLE),
    "malus_stops": lambda row: float(stops_below_aligned(MALUS, row["angle_deg"])),
}


@pytest.mark.parametrize("row", COMPUTED, ids=[row["id"] for row in COMPUTED])
def test_published_figure(row: Row) -> None:
    """Each published figure is met within its tolerance."""
    found = RULES[row["compute"]](row["inputs"])
    assert found == pytest.approx(row["expected"], abs=row.get("tolerance", 0.0), rel=row.get("relative", 0.0))


def test_rows_that_nothing_computes_are_ranges() -> None:
    """Only the two rows that give a range are left out, and each row has its source and a flag."""
    assert {row["id"] for row in ROWS if "compute" not in row} == {"E4", "P3b"}
    assert all(row["source"] and row["flag"] for row in ROWS)


@pytest.mark.parametrize("angle_deg, one_over", [(45, 192), (22.5, 384), (11, 785.5), (172.8, 50)])
def test_errors_of_a_shutter_sheet_are_not_copied(angle_deg: float, one_over: float) -> None:
    """A sheet found on many sites prints 1/198, 1/348, 1/696, and 178.8 degrees for 1/50 at 24 fps. By arithmetic."""
    assert 1.0 / float(shutter_time_s(angle_deg, 24.0)) == pytest.approx(one_over, abs=0.05)


def test_a_wider_angle_gains_what_a_faster_rate_loses() -> None:
    """Doubling the frame rate at one angle loses a stop; with the time kept it loses nothing. By arithmetic."""
    assert float(speed_change_stops(24.0, 48.0)) == pytest.approx(1.0, abs=1e-12)
    assert float(speed_change_stops(24.0, 96.0, keep="time")) == 0.0
