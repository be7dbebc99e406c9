"""What people type into the search of a large house: sixteen kinds, always the same, each as often as any other.

The kinds that cost most are among them on purpose: few letters that begin many words, many words at once, words that
every lens has, slips, and words of which no lens has all.
"""

import random
from collections.abc import Callable, Iterator

from speed.house import lens_row

Typed = Callable[[random.Random, dict[str, str]], str]


def _slip(dice: random.Random, word: str) -> str:
    """A word with a letter too few, too many, wrong or swapped, the first as it was."""
    at = dice.randrange(1, len(word) - 1)
    before, letter, after = word[:at], word[at], word[at + 1 :]
    slips = (before + after, before + letter + letter + after, before + "x" + after)
    return dice.choice((*slips, before + after[0] + letter + after[1:]))


KINDS: dict[str, Typed] = {
    "a serial": lambda _, lens: lens["serial"],
    "a serial mistyped": lambda dice, lens: _slip(dice, lens["serial"]),
    "the first three digits of a serial": lambda _, lens: lens["serial"][:3],
    "the first digit": lambda _, lens: lens["serial"][0],
    "any two digits": lambda dice, _: str(dice.randrange(10, 100)),
    "the first letters of a model": lambda dice, lens: lens["name"][: dice.randrange(1, 4)],
    "a model": lambda _, lens: lens["name"],
    "a model and focal length": lambda _, lens: f"{lens['name']} {lens['focal']}",
    "the same mistyped": lambda dice, lens: f"{_slip(dice, lens['name'])} {lens['focal']}",
    "a focal length": lambda _, lens: f"{lens['focal']} mm",
    "a stop and focal length": lambda _, lens: f"t1.5 {lens['focal']}",
    "a job": lambda dice, _: f"job {dice.randrange(330)}",
    "a model, focal length and serial": lambda _, lens: f"{lens['name']} {lens['focal']} {lens['serial']}",
    "a model and another lens's serial": lambda _, lens: f"{lens['name']} {lens['focal']} 100{lens['serial'][:3]}",
    "five words, one mistyped": lambda dice, lens: f"{_slip(dice, lens['name'])} t1.5 {lens['focal']}mm prime job",
    "a word that no lens has": lambda dice, _: dice.choice(("xylophone", "zzz", "needs work", "stage")),
}
"""What is typed by kind: of a lens by chance, or by chance alone."""


def typed(lenses: int, seed: int) -> Iterator[str]:
    """One search of each kind in turn, without end, in a house of so many lenses; the same for the same seed."""
    dice = random.Random(seed)  # noqa: S311 - no secret
    while True:
        for kind in KINDS.values():
            row = lens_row(dice.randrange(lenses))
            name, _, focal = row["model"].partition(" ")
            yield kind(dice, {"name": name.lower(), "focal": focal, "serial": row["serial"]})
