"""The weather of a job: dew, the time to settle, and what heat takes until then, said once for all lenses."""

import math
from typing import Any

import pytest

from tapehook.finding import Finding
from tapehook.job import Weather
from tapehook.prep import Prep, prepare
from tapehook.prep.weather import job_weather, weather_as_json
from tests.cli.shapes import misfits, schema
from tests.prep.jobs import a_job, a_lens, read_off

WARM = Weather(air_c=22.0, humidity_percent=50.0, lenses_from_c=-5.0)
"""Into a room out of the cold; its dew point is 11.1 degrees (Wikipedia, Dew point, by the Magnus formula)."""
ROOM_UM = 2.8 * 0.9 * (25.0**2 - 5.0**2) ** 0.5
"""The shift that takes all the depth at T2.8: N sqrt(c^2 - b0^2), T/N from a transmission of 81 %."""


def _prep(weather: Weather | None, **job: Any) -> Prep:  # noqa: ANN401 - fields of the job
    return prepare(a_job(shooting_stop="T2.8", weather=weather, **job))


def _found(prep: Prep, code: str = "weather.") -> list[Finding]:
    return [one for one in prep.findings if one.code.startswith(code)]


def test_no_table_no_word() -> None:
    """A job that says nothing of the air is as it was."""
    prep = _prep(None)
    assert _found(prep) == []
    assert job_weather(prep) is None
    assert not any("temperature of the air" in sentence for sentence in prep.assumptions)


def test_lenses_out_of_the_cold_fog() -> None:
    """Dew point, clear a kelvin above it, 30 ln(27/9.9) = 30 min, settled 30 ln 27 = 99 min, share and stop."""
    prep = _prep(WARM)
    (one,) = _found(prep)
    assert one.code == "weather.fogs"
    assert one.severity == "watch"
    for part in (
        "dew point 11.1 °C",
        "clear after 30 min",
        "trust their focus from 99 min on",
        "at T2.8 on L1",
        "aluminium",
    ):
        assert part in one.message
    assert "99 min before the first shot" in one.next_step
    assert "time constant of 30 min (common practice, no source)" in one.next_step
    growth_um = 23.1e-6 * 0.052e6 * 27.0  # thermal expansion of aluminium, over 52 mm of barrel
    assert one.figure is not None
    assert one.figure.stop == "T2.8"
    assert one.figure.value == pytest.approx(100.0 * growth_um / ROOM_UM, rel=0.02)
    assert any("30 min (common practice, no source) assumed" in sentence for sentence in prep.assumptions)


def test_a_second_reading_of_a_barrel_gives_its_own_times() -> None:
    """From -5 to 8.5 degrees is half the way to 22: 20 min are one half-life, and 99 min become 95."""
    prep = _prep(WARM.model_copy(update={"later_c": 8.5, "later_min": 20.0}))
    (one,) = _found(prep)
    constant_min = 20.0 / math.log(2.0)
    assert f"from {constant_min * math.log(27.0):.0f} min on" in one.message
    assert "assume" not in one.next_step
    assert not any("was not measured" in sentence for sentence in prep.assumptions)


def test_air_that_never_lets_them_clear_must_be_acted_on() -> None:
    """Saturated air has its dew point at its own temperature."""
    (one,) = _found(_prep(WARM.model_copy(update={"humidity_percent": 100.0})))
    assert one.severity == "fix"
    assert "do not clear" in one.message
    assert "Dry the air" in one.next_step


def test_out_into_the_cold_they_settle() -> None:
    """Nothing fogs; the way to the air's temperature is said, and heat counts from there."""
    prep = _prep(Weather(air_c=-5.0, humidity_percent=80.0, lenses_from_c=20.0))
    (one,) = _found(prep)
    assert one.code == "weather.settles"
    assert "stay clear" in one.message
    (heat,) = _found(prep, "heat.assumed")
    assert "to -5 °C" in heat.message


def test_lenses_that_are_clear_and_settled_ask_for_nothing() -> None:
    """Within a kelvin of the air, well above the dew point."""
    prep = _prep(Weather(air_c=22.0, humidity_percent=50.0, lenses_from_c=21.5))
    assert _found(prep) == []
    assert job_weather(prep) is not None


def test_near_the_dew_point_they_may_fog() -> None:
    """A hygrometer is no better than a kelvin."""
    (one,) = _found(_prep(Weather(air_c=22.0, humidity_percent=98.0, lenses_from_c=22.0)))
    assert (one.code, one.severity) == ("weather.may_fog", "watch")
    assert "0 min" not in one.next_step


def test_two_temperatures_of_one_shoot_are_told() -> None:
    """The shoot's own counts for heat; one within a kelvin of the air is the same."""
    both = _prep(WARM, shoot_temperature_c=5.0)
    (one,) = _found(both, "weather.two")
    assert "5 °C" in one.message
    assert "to 5 °C" in _found(both, "heat.assumed")[0].message
    assert _found(_prep(WARM, shoot_temperature_c=22.5), "weather.two") == []


def test_a_drift_that_was_measured_counts() -> None:
    """Taped marks at two temperatures in place of the aluminium barrel."""
    cold, warm = (read_off(method="taped", noise_deg=0.01) for _ in range(2))
    apart = [one.model_copy(update={"temperature_c": 20.0}) for one in cold]
    apart += [one.model_copy(update={"temperature_c": 0.0, "position": one.position - 0.5}) for one in warm]
    (one,) = _found(_prep(WARM, readings=tuple(apart)))
    assert "its drift measured" in one.message


def test_a_job_without_lenses_or_stops_has_dew_all_the_same() -> None:
    """What needs no lens is said; the figure is then a time."""
    prep = prepare(a_job([a_lens(focal_mm=None)], (), weather=WARM))
    (one,) = _found(prep)
    assert one.figure is not None
    assert one.figure.unit == "min"
    found = job_weather(prep)
    assert found is not None
    shape = schema("prep")["properties"]["weather"]
    assert list(misfits(weather_as_json(found), shape)) == []


def test_its_documented_shape() -> None:
    """With a lens it takes most of."""
    found = job_weather(_prep(WARM))
    assert found is not None
    answer = weather_as_json(found)
    assert list(misfits(answer, schema("prep")["properties"]["weather"])) == []
    assert answer["worst_lens"] == "L1"
    assert answer["clear_after_min"] == pytest.approx(30.1, abs=0.1)
