"""Variable filters from measured tables: the band holds on simulated tables, and what cannot be fitted is refused."""

from collections.abc import Callable

import numpy as np
import numpy.typing as npt
import pytest

from tapehook.lens.filter_table import fit_filter_table
from tapehook.lens.map import MapRefusal
from tapehook.optics.polariser import PolariserPair

Floats = npt.NDArray[np.float64]
Truth = tuple[Callable[[Floats], Floats], float]


def crossed_pair(rng: np.random.Generator) -> Truth:
    """A pair of polarisers, measured to 60 to 80 degrees."""
    pair = PolariserPair(rng.uniform(0.25, 0.4), 10 ** rng.uniform(-4.5, -2.5))
    return pair.density, rng.uniform(60.0, 80.0)


def pair_to_crossing(rng: np.random.Generator) -> Truth:
    """A pair measured up to crossing, where its density shoots up and stops dead."""
    return PolariserPair(rng.uniform(0.25, 0.4), 10 ** rng.uniform(-3.0, -2.0)).density, 90.0


def wedge(rng: np.random.Generator) -> Truth:
    """A filter whose density rises in an S over 100 to 170 degrees."""
    low, high = rng.uniform(0.3, 0.5), rng.uniform(1.2, 2.4)
    middle, width = rng.uniform(40.0, 80.0), rng.uniform(20.0, 40.0)
    return lambda x: low + (high - low) / (1.0 + np.exp((middle - x) / width)), rng.uniform(100.0, 170.0)


@pytest.mark.parametrize("draw", [crossed_pair, pair_to_crossing, wedge])
@pytest.mark.parametrize("noise", [0.005, 0.01, 0.015])
def test_the_error_stays_within_the_band(draw: Callable[[np.random.Generator], Truth], noise: float) -> None:
    """120 tables of 8 to 12 noisy points each: 95 in 100 places have an error within the 95 % band stated there."""
    rng = np.random.default_rng(round(noise * 1e4))
    ratios = []
    for _ in range(120):
        truth, end = draw(rng)
        x = np.linspace(0.0, end, int(rng.integers(8, 13)))
        table = fit_filter_table(x, truth(x) + rng.normal(0.0, noise, x.size))
        places = np.linspace(0.0, end, 61)
        ratios.append(np.abs(table.density(places) - truth(places)) / table.density_band(places))
    assert np.percentile(np.concatenate(ratios), 95) <= 1.0


@pytest.mark.parametrize("sign", [1, -1])
def test_angles_come_back_from_densities(sign: int) -> None:
    """Over the table the inverse finds the angle, whichever way the density runs; outside it there is none."""
    x = np.linspace(0.0, 75.0, 11)
    y = PolariserPair(0.32, 5e-5).density(x)[::sign]
    table = fit_filter_table(x, y)
    assert table.rising == sign
    places = np.linspace(12.0, 63.0, 23)
    assert table.angle_deg(table.density(places)) == pytest.approx(places, abs=1e-5)
    least, most = table.density_range
    assert np.isnan(table.angle_deg([least - 0.01, most + 0.01])).all()
    assert np.isnan(table.density([-1.0, 76.0])).all()


def test_how_sharply_the_light_answers() -> None:
    """Between the ends, stops for a degree are those of the pair the table was taken from, within 5 %."""
    pair = PolariserPair(0.32, 5e-5)
    x = np.linspace(0.0, 75.0, 11)
    table = fit_filter_table(x, pair.density(x))
    places = np.linspace(15.0, 65.0, 11)
    assert table.stops_per_degree(places) == pytest.approx(pair.stops_per_degree(places), rel=0.05)


@pytest.mark.parametrize(
    "x, y, code",
    [
        ([0, 1, 2], [0.1, 0.2, 0.3], "too_few_marks"),
        ([0, 1, 1, 2], [0.1, 0.2, 0.2, 0.3], "too_few_marks"),
        ([0, 1, 2, 3], [0.3, 0.3, 0.3, 0.3], "no_spread"),
        ([0, 10, 20, 30, 40, 50], [0.3, 0.5, 0.9, 1.2, 0.9, 0.5], "not_monotone"),
    ],
)
def test_tables_that_make_no_filter_are_refused(x: list[float], y: list[float], code: str) -> None:
    """Too few points, one twice, no change, or a curve that turns back: said, not fitted."""
    with pytest.raises(MapRefusal) as refusal:
        fit_filter_table(x, y)
    assert refusal.value.code == code
