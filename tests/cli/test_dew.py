"""``tapehook dew``: a lens out of the cold, its documented shape, and refusals."""

import math
from typing import Any

import pytest

from tests.cli.running import refused, run, run_json
from tests.cli.shapes import misfits, schema

COLD = ("--air", "20C", "--humidity", "52.51%", "--lens", "-5C")
"""Air whose dew point is 10 °C: 12.281/23.388 hPa (Wikipedia, Vapour pressure of water)."""


def dew(*args: str) -> dict[str, Any]:
    """The answer as JSON, its shape checked."""
    answer: dict[str, Any] = run_json("dew", *args)
    assert list(misfits(answer, schema("dew"))) == []
    return answer


def test_a_lens_out_of_the_cold() -> None:
    """Dew point 10 °C by the published table; clear a kelvin above it, 30 min x ln(25/9), settled 30 min x ln(25)."""
    answer = dew(*COLD)
    assert answer["dew_point_c"] == pytest.approx(10.0, abs=0.1)
    assert answer["fogs"] is True
    assert answer["clear_after_min"] == pytest.approx(30 * math.log(25 / 9), rel=0.01)
    assert answer["taken_on_after_min"] == pytest.approx(30 * math.log(25))
    shown = run("dew", *COLD).stdout
    assert "fogs: the dew point is 10" in shown
    assert "assumed: Time constant not measured" in shown


def test_a_time_constant_measured_on_the_lens() -> None:
    """From -5 to 8 in 15 min, in 20 °C: 15 / ln(25/12) = 20.4 min."""
    answer = dew(*COLD, "--then", "8C", "--after", "15min")
    assert answer["time_constant_min"] == pytest.approx(15 / math.log(25 / 12))
    assert answer["time_constant_measured"] is True
    assert len(answer["assumptions"]) == 1


def test_the_other_cases() -> None:
    """A warm lens stays clear; in full air a lens never clears; near the dew point it may fog; Fahrenheit is read."""
    warm = dew("--air", "68F", "--humidity", "50%", "--lens", "70F")
    assert (warm["fogs"], warm["clear_after_min"]) == (False, 0.0)
    full = dew("--air", "20C", "--humidity", "100%", "--lens", "5C")
    assert (full["fogs"], full["clear_after_min"]) == (True, None)
    assert "may fog" in dew("--air", "20C", "--humidity", "52.5%", "--lens", "10.6C")["message"]


def test_what_is_said_to_be_clear_is_not_said_to_fog() -> None:
    """At the moment it is told to be clear, the same lens neither fogs nor may fog, but in air as good as full."""
    for humidity in ("10%", "52.5%", "80%", "85%"):
        cold = dew("--air", "20C", "--humidity", humidity, "--lens", "-25C")
        now_c = 20.0 - 45.0 * math.exp(-cold["clear_after_min"] / cold["time_constant_min"])
        assert "stays clear" in dew("--air", "20C", "--humidity", humidity, "--lens", f"{now_c + 0.1:.1f}C")["message"]


def test_in_full_air_no_lens_clears() -> None:
    """Neither a cold one nor one at the temperature of the air."""
    full = dew("--air", "20C", "--humidity", "100%", "--lens", "20C")
    assert (full["fogs"], full["clear_after_min"]) == (True, None)


def test_frost_settles_above_the_dew_point() -> None:
    """Dew point -20, frost at -17.9 (125.5 Pa of 421.7 by Murphy and Koop): a lens at -18.5 frosts over."""
    answer = dew("--air", "-5C", "--humidity", "29.76%", "--lens", "-18.5C")
    assert answer["dew_point_c"] == pytest.approx(-20.0, abs=0.1)
    assert answer["fogs"] is True
    assert "frost forms at -17.9" in answer["message"]


@pytest.mark.parametrize(
    "args, said",
    [
        ((), ["--air: not given", "--humidity: not given", "--lens: not given"]),
        (("--air", "22", "--humidity", "50%", "--lens", "-5C"), ["--air: “22” has no unit"]),
        (("--air", "60C", "--humidity", "50%", "--lens", "-5C"), ["--air: “60C” is out of range"]),
        ((*COLD, "--then", "8C"), ["--after: not given, but --then is"]),
        ((*COLD, "--then", "25C", "--after", "5"), ["--then: expected a temperature between"]),
        ((*COLD, "--then", "8C", "--after", "5", "--time-constant", "20"), ["--time-constant: not both"]),
        ((*COLD, "--time-constant", "soon"), ["--time-constant: “soon” cannot be read"]),
    ],
)
def test_refusals(args: tuple[str, ...], said: list[str]) -> None:
    """All that is wrong at once, and what was expected."""
    problems = refused("dew", *args)
    assert len(problems) == len(said)
    for problem, start in zip(problems, said, strict=True):
        assert problem.strip().startswith(start)
