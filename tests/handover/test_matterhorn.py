"""What is printed is PDF/UA-1, as far as a program can tell: by an independent reader, and not by the typesetter."""

import pytest

from tapehook.handover.audit import render_audit
from tapehook.handover.pack import PackWish, pack_strips, render_pack
from tapehook.handover.strips import printed_strip, render_sheet
from tapehook.handover.typesetting import Paper, set_pdf
from tapehook.job.signed import SignedOff
from tapehook.prep import Prep
from tapehook.prep.audit import audit_rows
from tests.handover.matterhorn import faults

URL = "https://prep.example/pocket"
SIGNED = (
    SignedOff("lens", "Ada Ng", "2026-11-25T21:04:00.000000Z", "L01", note="good to T2"),
    SignedOff("lens", "Ada Ng", "2026-11-25T22:05:00.000000Z", "L03", since=True),
    SignedOff("flange", "Ben", "2026-11-26T07:00:00.000000Z", camera="A"),
)


@pytest.mark.parametrize("paper", ["a4", pytest.param("us-letter", marks=pytest.mark.slow)])
def test_the_pack_meets_what_can_be_checked(demo_prep: Prep, paper: Paper) -> None:
    """Tags, titles, languages, headings, tables, pictures, links and fonts of the demo job's pack.

    It holds all it can: strips, sign-offs, channels, the code of the pocket page.
    """
    channels = {"A": ("2450", 15), "B": ("2450", 20), "C": ("2450", 25)}
    wish = PackWish(paper, diameter_mm=80.0, url=URL, signed=SIGNED, channels=channels)
    assert faults(render_pack(demo_prep, wish, pack_strips(demo_prep, wish))) == []


def test_the_pdf_of_prep_meets_what_can_be_checked(demo_pdf: bytes) -> None:
    """The shorter PDF too."""
    assert faults(demo_pdf) == []


def test_the_pdf_of_an_audit_meets_what_can_be_checked(demo_prep: Prep) -> None:
    """And the lender's."""
    made = render_audit(demo_prep, audit_rows(demo_prep), paper="a4")
    assert [faults(data) for name, data in made.items() if name.endswith(".pdf")] == [[]]


def test_the_sheet_of_strips_meets_what_can_be_checked(demo_prep: Prep) -> None:
    """Also after the wish to be printed unscaled was added to it."""
    made = pack_strips(demo_prep, PackWish(diameter_mm=80.0)).made[:3]
    assert faults(render_sheet("Strips", [printed_strip(demo_prep.lens(one.lens_id), one) for one in made], "a4")) == []


def test_a_file_without_tags_does_not_pass() -> None:
    """The check finds what is missing from a sheet that was set without tags: it can fail."""
    data = {"version": "0", "paper": "a4", "margin": 10, "title": "Strips", "note": "", "strips": []}
    found = {
        fault.rpartition("page 1: ")[2].partition(":")[0] for fault in faults(set_pdf("strip.typ", data, tagged=False))
    }
    assert {"01-005", "01-006", "06-002"} <= found
