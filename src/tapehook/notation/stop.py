"""Stops: T2.8, f/2, T2.8 1/3. What is written on a ring against the value behind it.

A full stop halves the light; the numbers on a ring are rounded powers of the square root of two. Depth is computed
from what was written; exposure, which is counted in stops, from ``Stop.exact``, without the rounding.
"""

import math
from fractions import Fraction
from typing import Literal, NamedTuple

from tapehook.notation.clean import Token, read, tokens
from tapehook.notation.errors import Refused
from tapehook.notation.number import above_and_below, decimal_text, exact_fraction, exact_number, to_float

Scale = Literal["T", "f"]

SMALLEST_NUMBER = 0.5
LARGEST_NUMBER = 128.0

_FULL_LABELS = "0.5 0.7 1 1.4 2 2.8 4 5.6 8 11 16 22 32 45 64 90 128"
_HALF_LABELS = "1.2 1.7 2.4 3.3 4.8 6.7 9.5 13 19"
_THIRD_LABELS = "1 1.1 1.2 1.4 1.6 1.8 2 2.2 2.5 2.8 3.2 3.5 4 4.5 5 5.6 6.3 7.1 8 9 10 11 13 14 16 18 20 22"

FULL_STOPS: tuple[tuple[str, float], ...] = tuple(
    (label, 2.0 ** (step / 2)) for step, label in enumerate(_FULL_LABELS.split(), start=-2)
)
"""Label and exact value of the whole stops, 0.5 to 128."""

HALF_STOPS: tuple[tuple[str, float], ...] = tuple(
    (label, 2.0 ** (step / 2 + 0.25)) for step, label in enumerate(_HALF_LABELS.split())
)
"""Label and exact value of the stops halfway between whole ones, 1.2 to 19."""

THIRD_STOPS: tuple[tuple[str, float], ...] = tuple(
    (label, 2.0 ** (step / 6)) for step, label in enumerate(_THIRD_LABELS.split())
)
"""Label and exact value of the third stops, whole ones among them, 1 to 22.

1.2 and 13 are on the half-stop scale too, for other values: 1.189 and 1.260, 13.45 and 12.70. Read alone,
such a label stands for the value nearest to it: 1.2 for the half stop, 13 for the third.
"""

_PREFIX: dict[Scale | None, str] = {"T": "T", "f": "f/", None: ""}
_EXPECTED = "a stop between 0.5 and 128, such as T2.8, T2.8 1/3 or f/2"
_ADDED = {Fraction(1, 3), Fraction(2, 3), Fraction(1, 2), Fraction(1, 4), Fraction(3, 4)}
_ADDED |= {Fraction(tenth, 10) for tenth in range(1, 10)}
"""Parts of a stop that scales and meters show."""

_BY_NUMBER = tuple((float(label), exact) for label, exact in (*FULL_STOPS, *HALF_STOPS, *THIRD_STOPS))

_STEPS = tuple(
    (exact * 2.0 ** (part / 2), label + text)
    for label, exact in FULL_STOPS
    for part, text in ((0, ""), (1 / 3, " 1/3"), (1 / 2, " 1/2"), (2 / 3, " 2/3"))
)
"""Exact value and house style of the whole stops and the steps after each."""

_CLOSE = 0.01
"""A number this near to a step, as a part of it, is written as that step."""


class Stop(NamedTuple):
    """A stop as it was written, and what it stands for.

    ``number`` is the T- or f-number to compute with: 2.8 for "T2.8", 3.1748 for "T2.8 1/3". ``exact`` is the
    value behind a standard label, 2.8284 for "T2.8"; for any other number it is that number. ``scale`` is
    "T", "f", or None when neither was written. ``label`` is the stop in house style.
    """

    number: float
    exact: float
    scale: Scale | None
    label: str


class _Written(NamedTuple):
    """The parts of a written stop."""

    scale: Scale | None
    number: Fraction
    added: Fraction


def parse_stop(text: str, *, decimal_comma: bool = False) -> Stop:
    """A stop: "T2.8", "t 4", "f/2", "F2", "2.8", "T2.8 1/3", "2.8⅓", "T5,6".

    A fraction of a stop may follow a whole stop's label only. ``decimal_comma``: see ``parse_number``.
    Raises NotationError, also for two stops ("2.8/4") and for numbers outside 0.5 to 128.
    """
    return read(text, _EXPECTED, lambda cleaned: _stop(_written(cleaned, decimal_comma=decimal_comma)))


def format_stop(number: float, scale: Scale = "T") -> str:
    """A T- or f-number in house style: "T2.8", "T2.8 1/3", "T1.3"; f-numbers as "f/2.8".

    A number as short as a label is written as it is (two decimals below 1, one below 10, none from 10). Any
    other is written as the whole, third or half stop within 1 % of it, or else rounded to that many decimals.
    Raises ValueError unless the number is finite and more than zero.
    """
    _check(number)
    prefix = _PREFIX[scale]
    decimals = 2 if number < 1 else 1 if number < 10 else 0
    plain = decimal_text(number, decimals)
    if float(plain) == number:
        return prefix + plain
    return prefix + (_nearby_step(number) or plain)


def format_f_number(number: float) -> str:
    """A computed f-number: "f/2", "f/1.38"; two decimals below 10, one from there on.

    A whole stop's exact value is given its label. Raises ValueError unless finite and more than zero.
    """
    _check(number)
    for label, exact in FULL_STOPS:
        if math.isclose(number, exact, rel_tol=1e-3):
            return "f/" + label
    return "f/" + decimal_text(number, 2 if number < 10 else 1)


def _written(cleaned: str, *, decimal_comma: bool) -> _Written:
    """The parts of a cleaned text. Refuses anything but one stop."""
    scale, pieces = _split_scale(tokens(cleaned))
    if not pieces or pieces[0].kind not in ("number", "fraction"):
        raise Refused
    if pieces[0].kind == "fraction":
        together = _run_together(pieces[0], scale)
        raise Refused("", together, explained=() if together else _two_stops(pieces[0].raw.split("/"), scale))
    number = exact_number(cleaned, pieces[0], decimal_comma=decimal_comma)
    rest = pieces[1:]
    if rest and rest[0].raw == "+" and len(rest) == 2:
        rest = rest[1:]
    if not rest:
        return _Written(scale, number, Fraction(0))
    if len(rest) == 1 and rest[0].kind == "fraction":
        return _Written(scale, number, exact_fraction(cleaned, rest[0]))
    raise _several(pieces, scale)


def _split_scale(pieces: list[Token]) -> tuple[Scale | None, list[Token]]:
    """The scale, if one is written ("t", "f", "f/"), and the tokens after it."""
    if not pieces or pieces[0].raw not in ("t", "f"):
        return None, pieces
    after = 2 if len(pieces) > 1 and pieces[1].raw == "/" else 1
    return "T" if pieces[0].raw == "t" else "f", pieces[after:]


def _stop(written: _Written) -> Stop:
    """The stop that the parts make. Refuses a fraction after anything but a whole stop's label."""
    number = to_float(written.number)
    if written.added:
        number = _base_of_fraction(number, written.added) * 2.0 ** (float(written.added) / 2)
    if not SMALLEST_NUMBER <= number <= LARGEST_NUMBER:
        raise Refused("is out of range")
    text = _label(to_float(written.number)) + (f" {written.added}" if written.added else "")
    exact = number if written.added else _exact_behind(number)
    return Stop(number, exact, written.scale, _PREFIX[written.scale] + text)


def _label(number: float) -> str:
    """A written number as a label: up to four decimals, zeros left out."""
    return decimal_text(number, 4)


def _base_of_fraction(number: float, added: Fraction) -> float:
    """The exact whole stop that a fraction is added to."""
    if added not in _ADDED:
        raise Refused("has a fraction no iris scale shows")
    exact = next((exact for label, exact in FULL_STOPS if float(label) == number), None)
    if exact is None:
        raise Refused("has a fraction after a number that is no whole stop")
    return exact


def _exact_behind(number: float) -> float:
    """The exact value behind a standard label, the nearest where two share it; else the number itself."""
    behind = [exact for label, exact in _BY_NUMBER if label == number]
    return min(behind, key=lambda exact: abs(math.log(exact / number)), default=number)


def _nearby_step(number: float) -> str | None:
    """The whole, third or half stop within 1 % of the number: "2.8 1/3"."""
    return next((text for exact, text in _STEPS if abs(number / exact - 1) <= _CLOSE), None)


def _several(pieces: list[Token], scale: Scale | None) -> Refused:
    """The refusal of a text with something after its number: two stops, or a stop less a fraction."""
    if len(pieces) == 3 and pieces[1].raw == "-" and pieces[2].kind == "fraction":
        number, fraction = pieces[0].raw, pieces[2].raw
        less = f"{fraction} stop more light than {_PREFIX[scale]}{number}"
        return Refused("", (f"{_PREFIX[scale]}{number} {fraction}",), explained=(less,))
    numbers = [piece.raw for piece in pieces if piece.kind == "number"]
    others = {piece.raw for piece in pieces if piece.kind != "number"}
    if others <= {"/", "-", "to", "t", "f", "split", "and", ","}:
        return Refused("", explained=_two_stops(numbers, scale))
    return Refused()


def _two_stops(numbers: list[str], scale: Scale | None) -> tuple[str, ...]:
    """2.8/4 and 2.8-4: halfway between the two, or a range."""
    try:
        first, second = sorted(float(number.strip().replace(",", ".")) for number in numbers)
    except ValueError:
        return ()
    if not (SMALLEST_NUMBER <= first < second <= LARGEST_NUMBER):
        return ()
    sign: Scale = scale or "T"
    low, high = _exact_behind(first), _exact_behind(second)
    halfway = format_stop(math.sqrt(low * high), sign)
    return f"{halfway} (halfway)", f"{format_stop(first, sign)} to {format_stop(second, sign)} (a range)"


def _run_together(token: Token, scale: Scale | None) -> tuple[str, ...]:
    """T4 1/3 for T41/3."""
    above, below = above_and_below(token)
    whole, rest = divmod(above, 10)
    return (f"{_PREFIX[scale]}{whole} {rest}/{below}",) if whole and 0 < rest < below < 4 else ()


def _check(number: float) -> None:
    """Raises ValueError for what is no aperture number."""
    if not (math.isfinite(number) and number > 0):
        raise ValueError(f"an aperture number must be finite and more than zero, not {number}")
