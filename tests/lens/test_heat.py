"""Drift of focus with temperature: what comes back, how sure it is, and when nothing can be told."""

import numpy as np
import pytest

from tapehook.lens.heat import ALUMINIUM_PER_K, barrel_growth_m, drift_of, sensor_shift_m

KAPPA = 2e-4
"""Drift of the tests, dioptres a kelvin."""


def _readings(rng: np.random.Generator, noise: float) -> tuple[np.ndarray, ...]:
    """Three distances both ways at 5, 20 and 35 degrees: setting, temperature, position, slope, sd."""
    setting, temperature = (a.ravel() for a in np.meshgrid(np.arange(6), [5.0, 20.0, 35.0], indexing="ij"))
    slope = -150.0 - 10.0 * (setting // 2)
    position = 40.0 * setting + slope * KAPPA * temperature + rng.normal(0.0, noise, setting.size)
    return setting, temperature, position, slope, np.full(setting.size, noise)


def test_exact_readings_give_the_drift_back() -> None:
    """Without noise the planted drift comes back, whatever each setting's own position."""
    setting, temperature, position, slope, _ = _readings(np.random.default_rng(1), 0.0)
    drift = drift_of(setting, temperature, position, slope, np.full(setting.size, 0.1))
    assert drift is not None
    assert drift.dpt_per_k == pytest.approx(KAPPA, rel=1e-9)
    assert (drift.low_c, drift.high_c, drift.readings) == (5.0, 35.0, 18)


def test_two_readings_by_hand() -> None:
    """10 K move a ring of 100 degrees a dioptre by 2 degrees: 2e-3 dpt/K; sd sqrt(2) x 0.1/(100 x 10)."""
    drift = drift_of([0, 0], [10.0, 20.0], [50.0, 52.0], [100.0, 100.0], [0.1, 0.1])
    assert drift is not None
    assert drift.dpt_per_k == pytest.approx(2e-3)
    assert drift.sd_dpt_per_k == pytest.approx(2**0.5 * 0.1 / 1000.0)


def test_uncertainty_is_honest() -> None:
    """Over 1,000 noisy sets the errors have the sd that is stated, within 8 %, and mean nothing."""
    rng = np.random.default_rng(3)
    z = []
    for _ in range(1000):
        drift = drift_of(*_readings(rng, 0.2))
        assert drift is not None
        z.append((drift.dpt_per_k - KAPPA) / drift.sd_dpt_per_k)
    assert abs(np.mean(z)) < 0.1
    assert np.sqrt(np.mean(np.square(z))) == pytest.approx(0.95, abs=0.08)


def test_readings_worse_than_said_widen_the_answer() -> None:
    """Scatter four times what was stated makes the sd about four times as large."""
    setting, temperature, position, slope, sd = _readings(np.random.default_rng(4), 0.4)
    said, told = (
        drift_of(setting, temperature, position, slope, sd / 4),
        drift_of(setting, temperature, position, slope, sd),
    )
    assert said is not None
    assert told is not None
    assert said.misfit > 8
    assert said.sd_dpt_per_k == pytest.approx(told.sd_dpt_per_k, rel=0.5)


@pytest.mark.parametrize("temperature", [[20.0, 20.0], [20.0, 20.9]])
def test_one_temperature_tells_nothing(temperature: list[float]) -> None:
    """Readings within a kelvin of one another are of one temperature."""
    assert drift_of([0, 0], temperature, [1.0, 2.0], [100.0, 100.0], [0.1, 0.1]) is None


def test_other_settings_at_other_temperatures_tell_nothing() -> None:
    """Near cold and far warm cannot be told from the map itself."""
    assert drift_of([0, 1], [5.0, 35.0], [1.0, 2.0], [100.0, 100.0], [0.1, 0.1]) is None


def test_no_readings_tell_nothing() -> None:
    """Empty in, None out."""
    assert drift_of([], [], [], [], []) is None


def test_a_drift_as_a_sensor() -> None:
    """A ring that must go nearer by 0.01 dpt on a 50 mm is a sensor 25 micrometres too near: minus dq f^2, by hand."""
    assert float(sensor_shift_m(0.01, 0.05)) == pytest.approx(-25e-6)


def test_aluminium_of_a_mount() -> None:
    """52 mm of aluminium grow by 0.0240 mm over 20 K, with 23.1e-6/K (Wikipedia, Thermal expansion)."""
    assert ALUMINIUM_PER_K == 23.1e-6
    assert float(barrel_growth_m(0.052, 20.0)) == pytest.approx(24.0e-6, abs=0.1e-6)
