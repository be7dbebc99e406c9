"""The words for kinds of findings: one for each code that any check gives, and none besides."""

import re

from tapehook.prep.kinds import WORDS
from tests.cli.running import ROOT

PREP = ROOT / "src" / "tapehook" / "prep"
_CODE = re.compile(r'"([a-z_]+\.[a-z_]+)"')
_FILES = (".csv", ".toml", ".xlsx")
MADE_UP = {
    "twin.no_marks",
    "twin.one_mark",
    *(f"parfocal.{end}" for end in ("back_focus", "cannot_tell", "fine", "groups")),
}
"""Codes put together from parts: f"twin.{refused}", f"parfocal.{code}"."""


def test_every_code_has_words_and_every_word_a_code() -> None:
    """The codes written in the checks are those of the table."""
    texts = [
        path.read_text(encoding="utf-8") for path in PREP.glob("*.py") if path.name not in ("kinds.py", "audit.py")
    ]
    found = {code for text in texts for code in _CODE.findall(text) if not code.endswith(_FILES)}
    assert found | MADE_UP == set(WORDS)


def test_words_are_short_and_distinct() -> None:
    """They fit a column of half a page, and no two kinds are called the same."""
    assert len(set(WORDS.values())) == len(WORDS)
    assert all(0 < len(words) <= 38 for words in WORDS.values())
