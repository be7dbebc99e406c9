"""The one error of this package, and the refusal that becomes it."""

_LONGEST_SHOWN = 60
"""Longer inputs are cut in messages, so that a pasted page does not fill the screen."""


class NotationError(ValueError):
    """A text that could not be read, or that could mean more than one thing.

    ``text`` is what was given, ``expected`` says what would have been read, ``readings`` lists what the text
    could have meant (empty when it means nothing), ``reason`` says what is wrong with it (may be empty).
    ``str()`` is one sentence without a full stop, fit to show to a person.
    """

    text: str
    expected: str
    readings: tuple[str, ...]
    reason: str

    def __init__(self, text: str, expected: str, readings: tuple[str, ...] = (), reason: str = "") -> None:
        # All four go to the base class, so that the error survives pickling between processes.
        super().__init__(text, expected, readings, reason)
        self.text = text
        self.expected = expected
        self.readings = readings
        self.reason = reason

    def __str__(self) -> str:
        problem = self.reason
        if self.readings:
            meanings = "could mean " + _either([shown(reading) for reading in self.readings])
            problem = f"{problem} and {meanings}" if problem else meanings
        return f"“{shown(self.text)}” {problem or 'cannot be read'}; expected {self.expected}"


class Refused(Exception):
    """Inside this package only: why a reader gave up. ``clean.read`` turns it into a NotationError.

    ``readings`` are texts that may be typed instead; ``explained`` ones are for people only, in words.
    """

    def __init__(self, reason: str = "", readings: tuple[str, ...] = (), *, explained: tuple[str, ...] = ()) -> None:
        super().__init__(reason, readings, explained)
        self.reason = reason
        self.readings = tuple(dict.fromkeys(readings))
        self.explained = explained


def shown(text: str) -> str:
    """The text as a message may show it: on one line, printable, at most 60 characters."""
    cut = text if len(text) <= _LONGEST_SHOWN else text[: _LONGEST_SHOWN - 1] + "…"
    return "".join(sign if sign.isprintable() else _escaped(sign) for sign in cut)


def _escaped(sign: str) -> str:
    """A sign that cannot be printed, by its number."""
    return " " if sign in "\t\n\r" else f"<U+{ord(sign):04X}>"


def _either(choices: list[str]) -> str:
    """A list in words: "a", "a or b", "a, b or c"."""
    if len(choices) == 1:
        return choices[0]
    return ", ".join(choices[:-1]) + " or " + choices[-1]
