"""Spans of a prep or a shooting day: 30, 30 min, 1.5 h."""

import re

from tapehook.notation.errors import NotationError
from tapehook.notation.number import parse_number

_EXPECTED = "minutes from 0.1 to 10000, such as 30 or 30min"
_UNIT = re.compile(r"^(.*?)\s*(min(?:utes?)?|h(?:ours?)?)?\.?$", re.IGNORECASE | re.DOTALL)
LEAST, MOST = 0.1, 1e4


def parse_minutes(text: str, *, decimal_comma: bool = False) -> float:
    """Seconds, from minutes bare or with their unit, or from hours. ``decimal_comma``: see ``parse_number``.

    Raises NotationError, also outside 0.1 to 10000 minutes.
    """
    found = _UNIT.match(text.strip())
    if found is None:
        raise NotationError(text, _EXPECTED)
    try:
        value = parse_number(found[1], decimal_comma=decimal_comma)
    except NotationError:
        raise NotationError(text, _EXPECTED) from None
    minutes = value * (60.0 if (found[2] or "").casefold().startswith("h") else 1.0)
    if not LEAST <= minutes <= MOST:
        raise NotationError(text, _EXPECTED, (), "is out of range")
    return minutes * 60.0
