"""What is wrong with a job folder, said so that the person who typed it can mend it.

A problem names the file, the row as the spreadsheet counts it, the column, what was read and what was
expected. Problems are gathered, never raised one by one: ``JobProblems`` carries all of them.
"""

from collections.abc import Iterable, Iterator, Mapping
from contextlib import contextmanager
from dataclasses import dataclass
from typing import Any

LONGEST_SHOWN = 60
"""Characters of a value shown in a message; longer ones lose their middle."""

MOST_PER_FILE = 1_000
"""Problems listed for one file; a last one says how many more there were."""


_LIMITS = {
    "greater_than": "more than {gt}",
    "greater_than_equal": "at least {ge}",
    "less_than_equal": "at most {le}",
    "string_too_long": "at most {max_length} characters",
    "value_error": "{error}",
}


@dataclass(frozen=True, slots=True)
class Problem:
    """One thing wrong: where it stands, what was read there, and what was expected.

    ``row`` counts as a spreadsheet does: the header is row 1, blank rows count, a cell with line breaks is
    one row. ``field`` is the column, or the key in ``job.toml``. ``read`` is None where nothing was read
    and empty for an empty cell. ``expected`` completes the words "expected ...".
    """

    file: str
    row: int | None
    field: str | None
    read: str | None
    expected: str

    def sentence(self) -> str:
        """The problem in one sentence, long values shortened and control characters escaped."""
        place = shown(self.file, longest=200)
        if self.row is not None:
            place += f" row {self.row}"
        if self.field is not None:
            place += f", {shown(self.field)}"
        return f"{place}: {self._read()}expected {self.expected}"

    def _read(self) -> str:
        if self.read is None:
            return ""
        return f'read "{shown(self.read)}", ' if self.read.strip() else "empty, "

    def as_json(self) -> dict[str, str | int | None]:
        """The problem as plain JSON values, with its sentence."""
        return {
            "file": self.file,
            "row": self.row,
            "field": self.field,
            "read": None if self.read is None else shown(self.read),
            "expected": self.expected,
            "sentence": self.sentence(),
        }


class JobProblems(Exception):
    """A job cannot be read, or cannot be written: all that is wrong with it, in order of file and row."""

    def __init__(self, problems: Iterable[Problem]) -> None:
        self.problems: tuple[Problem, ...] = tuple(problems)
        super().__init__("\n".join(problem.sentence() for problem in self.problems))


def shown(text: str, longest: int = LONGEST_SHOWN) -> str:
    """``text`` for a message: one line, nothing invisible, at most ``longest`` characters."""
    if len(text) > longest:
        head = longest * 2 // 3
        text = f"{text[:head]}…{text[head + 1 - longest :]}"
    return "".join(_visible(character) for character in text)


def _visible(character: str) -> str:
    """The character, or its escape where it would not show, or would change how the line shows."""
    return character if character.isprintable() else character.encode("unicode_escape").decode("ascii")


@contextmanager
def gathered(problems: list[Problem]) -> Iterator[None]:
    """Add the problems of a part that could not be read at all to ``problems``, and go on after it."""
    try:
        yield
    except JobProblems as trouble:
        problems.extend(trouble.problems)


def in_order(problems: Iterable[Problem]) -> tuple[Problem, ...]:
    """Problems by file in the order met, then row; each file's list cut at ``MOST_PER_FILE``."""
    by_file: dict[str, list[Problem]] = {}
    for problem in problems:
        by_file.setdefault(problem.file, []).append(problem)
    return tuple(problem for file, found in by_file.items() for problem in _cut(file, found))


def _cut(file: str, found: list[Problem]) -> list[Problem]:
    found.sort(key=lambda problem: problem.row or 0)
    more = len(found) - MOST_PER_FILE
    if more <= 0:
        return found
    rest = Problem(file, None, None, None, f"the {MOST_PER_FILE} problems above mended first; {more} more follow")
    return [*found[:MOST_PER_FILE], rest]


def limit(error: Mapping[str, Any]) -> str:
    """The limit a value is beyond, in words that follow the rest of what was expected; else empty.

    ``error`` is one of the errors of a pydantic ValidationError.
    """
    words = _LIMITS.get(error["type"])
    if words is None:
        return ""
    return ", " + words.format(**{name: _plain(value) for name, value in error.get("ctx", {}).items()})


def _plain(value: object) -> str:
    """A limit without exponent; any other text of an error as it is."""
    return f"{value:,.6f}".rstrip("0").rstrip(".") if isinstance(value, int | float) else str(value)
