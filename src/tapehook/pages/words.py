"""Small words and figures that several pages share."""

import math
from datetime import UTC, datetime


def percent(share: float | None) -> str:
    """A share as the pages write it: "47 %", "over 1000 %", or "no depth" where there is none."""
    if share is None:
        return ""
    if not math.isfinite(share):
        return "no depth"
    return f"{100.0 * share:.0f} %" if share < 10.0 else "over 1000 %"


def local_time(written_at: str) -> str:
    """A moment of the book (UTC) in the time of the laptop: "25 Nov 21:04"."""
    try:
        found = datetime.strptime(written_at, "%Y-%m-%dT%H:%M:%S.%fZ").replace(tzinfo=UTC)
    except ValueError:
        return written_at[:16].replace("T", " ")
    return found.astimezone().strftime("%d %b %H:%M").lstrip("0")


def count_of(number: int, word: str, words: str | None = None) -> str:
    """A number with its word: 1 lens, 3 lenses."""
    return f"{number} {word if number == 1 else words or word + 's'}"
