"""A scan as a text: what is read, and what is refused in words."""

from contextlib import suppress

import pytest
from hypothesis import given
from hypothesis import strategies as st

from tapehook.job import JobProblems
from tapehook.job.radio_scans import read_scan

WANTED = [(2450.0, -87.5), (2450.5, -90.0)]


@pytest.mark.parametrize(
    "text",
    [
        "2450,-87.5\n2450.5,-90\n",
        "frequency MHz, level dBm\n2450.0, -87.5\n2450.5, -90\n",
        "2450;-87,5\r\n2450,5;-90\r\n",
        "2450\t-87.5\n\n# a remark\n2450.5\t-90\n",
        "2450 -87.5\n2450.5 -90\n",
        "Frequency (GHz),dBm\n2.45,-87.5\n2.4505,-90\n",
        "2450000000,-87.5\n2450500000,-90\n",
        "2450000,-87.5\n2450500,-90\n",
        "kHz;dBm\n2450000;-87.5\n2450500;-90\n",
        '"2450","-87.5"\n"2450.5","-90"\n',
    ],
)
def test_a_scan_is_read_however_it_is_parted(text: str) -> None:
    """Commas, semicolons, tabs, spaces; any unit; a header or none; a byte order mark."""
    for data in (text.encode(), text.encode("utf-8-sig"), text.encode("utf-16")):
        found = read_scan(data, "scan.csv")
        assert [one for pair in found for one in pair] == pytest.approx([one for pair in WANTED for one in pair])


@pytest.mark.parametrize(
    "text, said",
    [
        ("", "two frequencies"),
        ("2450,-80\n", "two frequencies"),
        ("2450,-80\n2451,loud\n2452,-90\nx\n", "row 2"),
        ("2450,-80\n2451,500\n", "row 2, level"),
        ("MHz,dBm\n2450000000,-80\n2450500000,-80\n", "row 2, frequency"),
    ],
)
def test_what_cannot_be_read_names_its_line(text: str, said: str) -> None:
    """All lines at once, each with what was read."""
    with pytest.raises(JobProblems) as caught:
        read_scan(text.encode(), "scan.csv")
    sentences = [one.sentence() for one in caught.value.problems]
    assert any(said in one for one in sentences)
    assert all(one.startswith("scan.csv") for one in sentences)


@given(st.binary(max_size=300) | st.text(max_size=300).map(lambda text: text.encode("utf-8", "surrogatepass")))
def test_any_bytes_are_read_or_refused(data: bytes) -> None:
    """Never anything but points or problems."""
    with suppress(JobProblems):
        assert len(read_scan(data, "scan.csv")) >= 2
