"""What holds for every reader: no text breaks it, and its refusals are fit to be shown."""

import pickle
import subprocess
import sys
from collections.abc import Callable

import pytest
from hypothesis import given

import tapehook.notation
from tapehook.notation import (
    NotationError,
    parse_distance,
    parse_filter,
    parse_focal_length,
    parse_length,
    parse_light,
    parse_minutes,
    parse_number,
    parse_position,
    parse_share,
    parse_shutter,
    parse_signed_length,
    parse_stop,
    parse_temperature,
)
from tests.notation.strategies import any_text

READERS: dict[str, Callable[[str], object]] = {
    "distance": parse_distance,
    "distance, bare feet": lambda text: parse_distance(text, bare_unit="ft"),
    "distance, decimal comma": lambda text: parse_distance(text, bare_unit="m", decimal_comma=True),
    "length": parse_length,
    "length, bare mm": lambda text: parse_length(text, bare_unit="mm", decimal_comma=True),
    "signed length": parse_signed_length,
    "number": parse_number,
    "stop": parse_stop,
    "stop, decimal comma": lambda text: parse_stop(text, decimal_comma=True),
    "focal length": parse_focal_length,
    "degrees": lambda text: parse_position(text, "deg"),
    "counts": lambda text: parse_position(text, "count"),
    "percent": lambda text: parse_position(text, "percent", decimal_comma=True),
    "millimetres": lambda text: parse_position(text, "mm"),
    "share": parse_share,
    "light": parse_light,
    "shutter": parse_shutter,
    "filter": parse_filter,
    "minutes": parse_minutes,
    "temperature": parse_temperature,
    "temperature, decimal comma": lambda text: parse_temperature(text, decimal_comma=True),
    "filter, bare density": lambda text: parse_filter(text, bare_density=True, decimal_comma=True),
}

readers = pytest.mark.parametrize("reader", READERS.values(), ids=READERS.keys())


def _refusal(reader: Callable[[str], object], text: str) -> NotationError | None:
    """The NotationError that reading the text raises, if it raises one; any other error goes through."""
    try:
        reader(text)
    except NotationError as refusal:
        return refusal
    return None


@readers
@given(text=any_text)
def test_any_text_is_read_or_refused(reader: Callable[[str], object], text: str) -> None:
    """Whatever is typed, the only error is a NotationError that is one printable line of bounded length."""
    refusal = _refusal(reader, text)
    if refusal:
        message = str(refusal)
        assert message.isprintable()
        assert "; expected " in message
        assert len(message) < 1000
        assert refusal.text == text


@readers
@given(text=any_text)
def test_each_reading_offered_is_clear_itself(reader: Callable[[str], object], text: str) -> None:
    """A refusal that names readings helps: each of them, typed as it stands, is accepted.

    Readings with an explanation in brackets or words are for people, and are left out.
    """
    refusal = _refusal(reader, text)
    if refusal:
        for reading in refusal.readings:
            if "(" not in reading and "more light than" not in reading:
                reader(reading)


def test_a_message_names_text_readings_and_what_was_expected() -> None:
    """The sentence stands alone: what was read, what it could mean, what would be read."""
    with pytest.raises(NotationError) as refusal:
        parse_distance("5 6")

    assert str(refusal.value) == (
        "“5 6” could mean 5'6\", 5.6 m or 5.6 ft; expected a distance with its unit, such as 1.68 m, 5'6\" or inf"
    )


def test_a_message_gives_the_reason_when_there_is_one() -> None:
    """With a reason the sentence says what is wrong before what it could mean."""
    assert str(NotationError("5'14\"", "a distance", ("6'2\"",), "has 14 inches")) == (
        "“5'14\"” has 14 inches and could mean 6'2\"; expected a distance"
    )
    assert str(NotationError("x", "a distance", reason="is empty")) == "“x” is empty; expected a distance"
    assert str(NotationError("x", "a distance")) == "“x” cannot be read; expected a distance"


def test_long_and_unprintable_texts_are_shown_safely() -> None:
    """A message shows at most 60 characters of a text, on one line, without control or direction signs."""
    message = str(NotationError("a\nb\x1b[31m\u202e" + "x" * 100, "a distance"))

    assert message == "“a b<U+001B>[31m<U+202E>" + "x" * 50 + "…” cannot be read; expected a distance"


def test_a_refusal_passes_between_processes() -> None:
    """Work spread over processes reports the same error."""
    error = NotationError("5 6", "a distance", ("5'6\"", "5.6 m"), "is unclear")
    back = pickle.loads(pickle.dumps(error))  # noqa: S301 - our own object

    assert str(back) == str(error)
    assert (back.text, back.expected, back.readings, back.reason) == (
        error.text,
        error.expected,
        error.readings,
        error.reason,
    )


def test_the_public_names_are_those_exported() -> None:
    """All that the package means to offer is listed, and all that is listed is there."""
    public = {name for name in vars(tapehook.notation) if not name.startswith("_")}
    modules = {"clean", "distance", "errors", "filters", "focal", "length", "light", "minutes", "number", "position"}
    modules |= {"share", "shutter", "stop", "temperature", "thirds"}

    assert public - modules == set(tapehook.notation.__all__)


def test_the_import_is_light() -> None:
    """Commands import notation at start-up: it must load nothing heavy, from the library or beside it."""
    script = "import sys, tapehook.notation; print(*sys.modules)"
    loaded = subprocess.run([sys.executable, "-c", script], check=True, capture_output=True, text=True)

    heavy = {"numpy", "scipy", "pydantic", "dataclasses", "inspect", "asyncio", "email", "unittest"}
    assert heavy & set(loaded.stdout.split()) == set()
