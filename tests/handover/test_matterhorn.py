"""What is printed is PDF/UA-1, as far as a program can tell: by an independent reader, and not by the typesetter."""

import pytest

from tapehook.handover.pack import PackWish, pack_strips, render_pack
from tapehook.handover.strips import printed_strip, render_sheet
from tapehook.handover.typesetting import Paper, set_pdf
from tapehook.prep import Prep
from tests.handover.matterhorn import faults

URL = "https://prep.example/pocket"


@pytest.mark.parametrize("paper", ["a4", "us-letter"])
def test_the_pack_meets_what_can_be_checked(demo_prep: Prep, paper: Paper) -> None:
    """Tags, titles, languages, headings, tables, pictures, links and fonts of the demo job's pack, strips and all."""
    wish = PackWish(paper, diameter_mm=80.0, url=URL)
    assert faults(render_pack(demo_prep, wish, pack_strips(demo_prep, wish))) == []


def test_the_pdf_of_prep_meets_what_can_be_checked(demo_pdf: bytes) -> None:
    """The shorter PDF too."""
    assert faults(demo_pdf) == []


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
