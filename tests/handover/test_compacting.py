"""A PDF packed together says the same in fewer bytes, and is refused where it is not what the typesetter writes."""

import pymupdf
import pytest

from tapehook.handover.compacting import compacted
from tapehook.handover.typesetting import TypesettingError, set_pdf, unscaled

TITLE = "endobj xref 0 1 stream endstream /Prev 7 trailer << >> startxref 9 %%EOF"


def _sheet(title: str = TITLE) -> bytes:
    data = {"version": "0", "paper": "a4", "margin": 10, "title": title, "note": title, "strips": []}
    return set_pdf("strip.typ", data, tagged=True)


@pytest.mark.parametrize("wished", [False, True], ids=["as set", "with a newer catalogue"])
def test_the_same_pages_in_fewer_bytes(wished: bool) -> None:
    """Text, title, metadata and tags are the same, read by a reader that repairs nothing; also where a part was added
    at the end, and where the words of a job are those of a PDF."""
    whole = unscaled(_sheet()) if wished else _sheet()
    packed = compacted(whole)
    assert len(packed) < len(whole)
    assert packed == compacted(whole)
    with pymupdf.open(stream=whole) as one, pymupdf.open(stream=packed) as other:
        assert not other.is_repaired
        assert [page.get_text() for page in one] == [page.get_text() for page in other]
        assert one.metadata == {**other.metadata, "format": one.metadata["format"]}
        assert one.get_xml_metadata() == other.get_xml_metadata()
        for number in range(1, one.xref_length()):
            assert one.xref_object(number) == other.xref_object(number)
        wish = other.xref_get_key(other.pdf_catalog(), "ViewerPreferences")[1]
    assert ("/PrintScaling/None" in wish.replace(" ", "")) is wished


@pytest.mark.parametrize(
    "broken", [b"", b"%PDF-1.7", b"startxref\n5\n%%EOF", _sheet()[:-40], _sheet().replace(b" 0 obj", b" 1 obj", 1)]
)
def test_what_is_no_such_pdf_is_refused(broken: bytes) -> None:
    """A file cut off, or with objects elsewhere than it says, is never made into another broken one."""
    with pytest.raises(TypesettingError):
        compacted(broken)
