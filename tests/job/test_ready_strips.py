"""The table of ready-marked strips: read as it is written, and all that is wrong with it said at once."""

import math
from pathlib import Path

import pytest

from tapehook.job import JobProblems
from tapehook.job.ready_strips import read_ready_strips

DEGREES = "strip,distance_text,position_deg\nA,2',200\nA,5',100\nA,inf,0\nB,1 m,0\nB,2 m,-50\nB,4 m,-80\n"


def _file(folder: Path, text: str) -> Path:
    path = folder / "strips.csv"
    path.write_text(text, encoding="utf-8")
    return path


def test_strips_are_read(tmp_path: Path) -> None:
    """Two strips, nearest mark first, distances in metres, infinity among them."""
    one, two = read_ready_strips(_file(tmp_path, DEGREES))
    assert (one.id, one.position_deg) == ("A", (200.0, 100.0, 0.0))
    assert one.distance_m == pytest.approx((0.6096, 1.524, math.inf))
    assert (two.id, two.distance_m, two.position_deg) == ("B", (1.0, 2.0, 4.0), (0.0, -50.0, -80.0))


def test_millimetres_become_degrees_of_the_ring(tmp_path: Path) -> None:
    """A quarter of the way round a ring 80 mm across is 90 degrees."""
    quarter = math.pi * 80.0 / 4.0
    rows = "".join(f"A,{d} m,{quarter * k:.6f},80\n" for k, d in enumerate((3, 2, 1)))
    (strip,) = read_ready_strips(_file(tmp_path, "name,distance,position_mm,ring_diameter_mm\n" + rows))
    assert strip.position_deg == pytest.approx((180.0, 90.0, 0.0))


@pytest.mark.parametrize(
    "text, says",
    [
        ("", "a header row"),
        ("strip,distance_m\nA,1\n", "one of the columns position_deg, position_mm"),
        ("strip,distance_m,position_deg\n", "at least one strip"),
        ("strip,distance_m,position_deg\nA,1,2\nA,2,3\n", "at least 3 marks on a strip; this one has 2"),
        ("strip,distance_m,position_deg\nA,1,2\nA,2,3\nA,2,4\n", "each distance once; row 3 has this one"),
        ("strip,distance_m,position_deg\nA,1,2\nA,2,3\nA,3,1\nA,4,4\n", "marks that run one way"),
        ("strip,distance_m,position_deg\nA,one,2\nA,2,3\nA,3,4\n", 'read "one", expected a distance in metres'),
        ("strip,distance_m,position_deg\nA,1,\nA,2,3\nA,3,4\n", "a position in degrees"),
        ("strip,distance_m,position_mm\nA,1,2\nA,2,3\nA,3,4\n", "ring_diameter_mm beside it"),
        ("strip,distance_m,position_deg,position_mm\nA,1,1,1\nA,2,3,\nA,3,4,\n", "an empty cell, as position_deg"),
        ("strip,distance_m,distance_text,position_deg\nA,1,2 m,1\nA,2,,3\nA,3,,4\n", "the same as distance_text"),
        ("strip,distance_m,position_deg\nA,,1\nA,2,3\nA,3,4\n", "a distance such as"),
        ("strip,distance_m,position_deg\n,1,1\nA,2,3\nA,3,4\n", "the name of the strip"),
    ],
)
def test_what_is_wrong_is_said(tmp_path: Path, text: str, says: str) -> None:
    """Each fault is named with its row, and nothing is returned."""
    with pytest.raises(JobProblems) as trouble:
        read_ready_strips(_file(tmp_path, text))
    assert says in str(trouble.value)


def test_a_file_that_is_none(tmp_path: Path) -> None:
    """A folder, or nothing at all, is refused in words."""
    for path in (tmp_path, tmp_path / "none.csv"):
        with pytest.raises(JobProblems):
            read_ready_strips(path)
