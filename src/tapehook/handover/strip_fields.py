"""What may be asked of a strip, read from text as people type it: lengths, turn, stop, and the limits of each.

The command line and the pages read their fields with these, so that both take and refuse the same.
"""

from tapehook.notation import NotationError, parse_length, parse_number, parse_stop

TAPE_MM = {1: (6.0, 50.0), 2: (10.0, 50.0)}
"""Least and most width of the tape for strips of one and of two rows."""


def diameter_mm(text: str) -> float:
    """The diameter of a ring, millimetres; a bare number is one. Raises NotationError."""
    return _mm(text, 5, 1000, "a diameter from 5 mm to 1 m")


def circumference_mm(text: str) -> float:
    """The circumference of a ring, millimetres. Raises NotationError."""
    return _mm(text, 15, 3200, "a length from 15 mm to 3.2 m")


def tape_mm(text: str, rows: int) -> float:
    """The width of the tape for a strip of so many rows, millimetres. Raises NotationError."""
    least, most = TAPE_MM[rows]
    return _mm(text, least, most, f"a width from {least:g} to {most:g} mm")


def turn_deg(text: str) -> float:
    """How far a ring turns from one end of its scale to the other, degrees. Raises NotationError."""
    bare = text.strip().removesuffix("deg").removesuffix("°").strip()
    return _within(text, parse_number(bare), 5.0, 360.0, "degrees of turn from 5 to 360, such as 270")


def t_number(text: str) -> float:
    """The T-number of a stop. Raises NotationError for an f-stop, as light and depth are told apart here."""
    stop = parse_stop(text)
    if stop.scale == "f":
        raise NotationError(text, "a T-stop such as T2.8")
    return stop.number


def _mm(text: str, least: float, most: float, expected: str) -> float:
    return _within(text, parse_length(text, bare_unit="mm") * 1e3, least, most, expected)


def _within(text: str, value: float, least: float, most: float, expected: str) -> float:
    # A length that was typed in inches may miss a limit by its last digit.
    if not least * (1 - 1e-9) <= value <= most * (1 + 1e-9):
        raise NotationError(text, expected, (), "is out of range")
    return value
