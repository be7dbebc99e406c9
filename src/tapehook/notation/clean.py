"""What people type, brought to one set of signs, and cut into tokens.

Hand-written notes, phones and spreadsheets give curly quotes, primes, thin spaces and one-glyph fractions.
They are made plain here, once, so that the readers of the other modules know one spelling only. Digits of
other scripts are left as they are, and so refused: guessing at them is not our business.
"""

import re
from collections.abc import Callable
from typing import NamedTuple, TypeVar

from tapehook.notation.errors import NotationError, Refused

LONGEST_TEXT = 200
"""No notation is longer; the limit keeps every reader fast on any input."""

_Result = TypeVar("_Result")

_ONE_FOR_ONE = {
    "'": "‘’‚‛′`´ʹʼˈ＇",
    '"': "“”‟″ʺ＂",
    "-": "‐‑‒–—−﹣－",
    "/": "⁄∕／",
    "°": "º˚",
    "f": "ƒ",
    "": "\u200b\u200e\u200f\u2060\ufeff",  # invisible, and often pasted along
}
_GLYPH_FRACTIONS = {
    "½": "1/2",
    "⅓": "1/3",
    "⅔": "2/3",
    "¼": "1/4",
    "¾": "3/4",
    "⅕": "1/5",
    "⅖": "2/5",
    "⅗": "3/5",
    "⅘": "4/5",
    "⅙": "1/6",
    "⅚": "5/6",
    "⅐": "1/7",
    "⅛": "1/8",
    "⅜": "3/8",
    "⅝": "5/8",
    "⅞": "7/8",
    "⅑": "1/9",
    "⅒": "1/10",
}
_PLAIN = str.maketrans(
    {sign: plain for plain, signs in _ONE_FOR_ONE.items() for sign in signs}
    # Spaces on both sides: "½5" must not turn into 1/25.
    | {glyph: f" {fraction} " for glyph, fraction in _GLYPH_FRACTIONS.items()}
)

_TOKEN = re.compile(
    r"""(?P<fraction> [0-9]+ \ ? / \ ? [0-9]+ (?![0-9.,]) )
      | (?P<number>   (?: [0-9] | [.,](?=[0-9]) ) [0-9.,]* (?: (?<=[0-9]) e [+-]? [0-9]+ )? )
      | (?P<word>     [a-zμ]+ \.? | ['"°%∞] )
      | (?P<other>    \S )""",
    re.VERBOSE,
)


class Token(NamedTuple):
    """A piece of a cleaned text, and where in it the piece stands.

    ``kind`` is "number", "fraction", "word" (letters or a unit mark) or "other" (any other sign).
    """

    kind: str
    raw: str
    start: int
    end: int


def plain(text: str) -> str:
    """The text in lower case, single spaces, plain marks: ' for feet, " for inches, - for any dash."""
    return " ".join(text.translate(_PLAIN).casefold().replace("''", '"').split())


def tokens(cleaned: str) -> list[Token]:
    """The pieces of a cleaned text, spaces left out."""
    return [
        Token(match.lastgroup or "other", match.group(), match.start(), match.end())
        for match in _TOKEN.finditer(cleaned)
    ]


def read(text: str, expected: str, reader: Callable[[str], _Result]) -> _Result:
    """Runs ``reader`` on the cleaned text; a refusal becomes a NotationError that names the text as given."""
    try:
        return reader(_checked(text))
    except Refused as refusal:
        # Readings are put together from pieces; only those that would be accepted help anybody.
        clear = tuple(reading for reading in refusal.readings if _is_read(reading, reader))
        raise NotationError(text, expected, clear + refusal.explained, refusal.reason) from None


def _is_read(text: str, reader: Callable[[str], _Result]) -> bool:
    """True when the reader accepts the text."""
    try:
        reader(_checked(text))
    except Refused:
        return False
    return True


def _checked(text: str) -> str:
    """The cleaned text. Refuses one that is too long, before any work, and an empty one."""
    if len(text) > LONGEST_TEXT:
        raise Refused(f"has {len(text)} characters, too many")
    cleaned = plain(text)
    if not cleaned:
        raise Refused("is empty")
    return cleaned


def spliced(cleaned: str, token: Token, replacements: tuple[str, ...]) -> tuple[str, ...]:
    """The text with one token replaced by each replacement in turn: what it could have meant as a whole."""
    return tuple(cleaned[: token.start] + new + cleaned[token.end :] for new in replacements)
