"""Sign-offs in words: who, what and when, the same on every machine."""

import pytest

from tapehook.handover.signed_words import initials, signed_words, when
from tapehook.job.signed import SignedOff
from tapehook.prep import Prep

DAY = "2026-11-25T"


@pytest.mark.parametrize(
    "at, said",
    [
        ("2026-11-25T21:04:59.000001Z", "25 Nov 2026 21:04 UTC"),
        ("2026-11-25T23:30:00.000000+02:00", "25 Nov 2026 21:30 UTC"),
        ("yesterday at noon, about", "yesterday at noo"),
        ("", ""),
    ],
)
def test_a_moment_is_written_in_utc(at: str, said: str) -> None:
    """Whatever clock the laptop is set to; what is no moment is printed as it is, and short."""
    assert when(at) == said


def test_one_row_for_each_person_and_check(demo_prep: Prep) -> None:
    """One day is named once; a lens measured since has a star; what nobody signed is counted."""
    signed = (
        SignedOff("lens", "Ada Ng", f"{DAY}21:04:00.000000Z", "L01"),
        SignedOff("lens", "Ada Ng", f"{DAY}22:05:00.000000Z", "L03", since=True),
        SignedOff("map", "Ben", f"{DAY}09:00:00.000000Z", "L01", outcome="doubtful"),
        SignedOff("lens", "Cy", "2026-11-24T09:00:00.000000Z", "L05"),
        SignedOff("lens", "Cy", f"{DAY}09:00:00.000000Z", "L06"),
    )
    found = signed_words(signed, demo_prep)
    assert found is not None
    assert found["rows"] == [
        ("Ada Ng", "lens: L01, L03*", "25 Nov 2026 21:04 to 22:05 UTC"),
        ("Ben", "map, doubtful: L01", "25 Nov 2026 09:00 UTC"),
        ("Cy", "lens: L05, L06", "24 Nov 2026 09:00 UTC to 25 Nov 2026 09:00 UTC"),
    ]
    assert found["notes"][-1].startswith(
        f"Not signed off: {len(demo_prep.lenses) - 4} of {len(demo_prep.lenses)} lenses, "
    )
    assert initials(signed) == {"L01": "AN", "L05": "C", "L06": "C"}


def test_nothing_signed_says_nothing(demo_prep: Prep) -> None:
    """A job from a folder has no signatures, and no empty table for them."""
    assert signed_words((), demo_prep) is None
