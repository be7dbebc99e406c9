"""What ``tapehook dew`` answers: the typed texts read, and judged in ``tapehook.prep.dew``."""

from collections.abc import Mapping

from tapehook.cli.exposure_answer import OptionReader
from tapehook.notation import NotationError, parse_minutes, parse_share, parse_temperature
from tapehook.optics.dew import HIGHEST_C, LOWEST_C
from tapehook.prep.dew import DewCheck, Warming, check_dew

_TEMPERATURE = "a temperature such as 22 °C"


def dew_answer(typed: Mapping[str, str | None]) -> DewCheck:
    """The check of the texts as typed. Raises Refusal with everything that cannot be read or does not go together."""
    read = OptionReader(typed)
    for name, expected in (("air", _TEMPERATURE), ("humidity", "a share such as 60 %"), ("lens", _TEMPERATURE)):
        if typed.get(name) is None:
            read.refuse(name, expected, f"not given, expected {expected}")
    air_c, lens_c = read("air", _air), read("lens", parse_temperature)
    humidity, constant_s = read("humidity", parse_share), read("time_constant", parse_minutes)
    then_c, after_s = read("then", parse_temperature), read("after", parse_minutes)
    for name, other in (("then", "after"), ("after", "then")):
        if typed.get(name) is None and typed.get(other) is not None:
            read.refuse(name, f"a value, as --{other} is given", f"not given, but --{other} is: they go together")
    if typed.get("then") is not None and typed.get("time_constant") is not None:
        read.refuse("time_constant", "a time constant or what was measured, not both", "not both with --then")
    read.finish()
    assert air_c is not None  # noqa: S101 - finish() has refused what is missing
    assert lens_c is not None  # noqa: S101
    assert humidity is not None  # noqa: S101
    warming = None if then_c is None or after_s is None else Warming(then_c, after_s)
    try:
        return check_dew(air_c, humidity, lens_c, constant_s, warming)
    except ValueError as trouble:
        read.refuse("then", str(trouble), f"expected {trouble}")
        read.finish()
        raise


def _air(text: str) -> float:
    value = parse_temperature(text)
    if not LOWEST_C <= value <= HIGHEST_C:
        expected = f"air from {LOWEST_C:g} to {HIGHEST_C:g} °C, where the formula holds"
        raise NotationError(text, expected, (), "is out of range")
    return value
