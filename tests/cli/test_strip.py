"""``tapehook strip``: the documented shape, the arc of each mark, and what is refused."""

import math
from pathlib import Path

import pymupdf
import pytest

from tests.cli.jobs import LENSES, MARKS_M, position_deg, readings, write_small_job
from tests.cli.running import ROOT, refused, run, run_json
from tests.cli.shapes import misfits, schema

AROUND_MM = math.pi * 80.0


@pytest.fixture(scope="module")
def job(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """The small job."""
    return write_small_job(tmp_path_factory.mktemp("strip") / "job")


def test_marks_lie_where_the_formula_puts_them(job: Path, tmp_path: Path) -> None:
    """A ring that turns evenly in vergence: each mark's arc by hand, from the left end; infinity on the right."""
    out = tmp_path / "s.pdf"
    found = run_json("strip", job, "--lens", "N50", "--diameter", "80mm", "--units", "m", "--out", out)
    assert list(misfits(found, schema("strip"))) == []
    assert found["length_mm"] == pytest.approx(AROUND_MM * 0.75, abs=0.02)
    assert (found["overlaps"], found["far_end"], found["judged_at"]) == (0, "right", "T2.8")
    for tick in found["ticks"]:
        distance = math.inf if tick["distance_m"] is None else tick["distance_m"]
        by_hand = AROUND_MM * (270.0 - position_deg("N50", distance)) / 360.0
        assert tick["arc_mm"] == pytest.approx(by_hand, abs=0.02)
        assert tick["position"] == pytest.approx(position_deg("N50", distance), abs=0.02)
    labels = {tick["label"]: tick for tick in found["ticks"] if tick["label"]}
    assert labels["∞"]["arc_mm"] == pytest.approx(found["length_mm"])
    assert labels["0.6"]["arc_mm"] == pytest.approx(0.0)
    assert len(labels) >= 12
    assert {tick["doubt"] for tick in found["ticks"]} == {None}
    assert pymupdf.open(out).page_count == 1


def test_left_handed_is_the_mirror(job: Path, tmp_path: Path) -> None:
    """The same marks from the other end, with infinity on the left; labels read the same."""
    typed = ("strip", job, "--lens", "N50", "--circumference", "200mm", "--out", tmp_path / "s.pdf")
    right, left = run_json(*typed), run_json(*typed, "--left-handed")
    mirrored = [(t["label"], right["length_mm"] - t["arc_mm"]) for t in reversed(right["ticks"])]
    assert [t["label"] for t in left["ticks"]] == [label for label, _ in mirrored]
    assert [t["arc_mm"] for t in left["ticks"]] == pytest.approx([arc for _, arc in mirrored])
    assert left["far_end"] == "left"


def test_depth_wings_are_the_depth_of_field(job: Path, tmp_path: Path) -> None:
    """Wings at 2 m reach from the near to the far limit that ``tapehook depth`` gives for the same data."""
    typed = ("strip", job, "--lens", "N50", "--diameter", "80", "--units", "m", "--depth-at", "T4")
    found = run_json(*typed, "--out", tmp_path / "s.pdf")
    depth = run_json(
        *("depth", "--focal", "50mm", "--stop", "T4", "--distance", "2 m", "--transmission", "85 %"),
        *("--pupil-to-sensor", "41mm", "--pupil-magnification", "1.15", "--coc", "0.025mm"),
    )
    (tick,) = (t for t in found["ticks"] if t["label"] == "2")
    wanted = [AROUND_MM * (270.0 - position_deg("N50", depth[end])) / 360.0 for end in ("near_m", "far_m")]
    assert tick["wings_mm"] == pytest.approx(wanted, abs=0.03)
    assert found["depth_at"] == "T4"


def test_what_was_not_read_is_in_doubt(tmp_path: Path) -> None:
    """Without a mark nearer than 1 m the nearer ticks are outside and not firm; 2 m is."""
    far = [f"{d} m" for d in MARKS_M if 1.0 <= d < 100.0]
    lines = readings().splitlines()
    kept = [line for line in lines[1:] if line.split(",")[1] in [*far, "inf"]]
    folder = write_small_job(tmp_path / "job", readings="\n".join([lines[0], *kept]) + "\n")
    typed = ("strip", folder, "--lens", "N50", "--diameter", "80", "--units", "m", "--out", tmp_path / "s.pdf")
    found = {tick["label"]: tick for tick in run_json(*typed)["ticks"] if tick["label"]}
    assert {found[label]["doubt"] for label in ("0.6", "0.7", "0.8")} == {"outside"}
    assert {found[label]["doubt"] for label in ("1", "2", "∞")} == {None}
    assert "not firm: 0.6," in run(*typed).stdout
    text = pymupdf.open(tmp_path / "s.pdf")[0].get_text()
    assert "(0.6)" in text
    assert "(2)" not in text


def test_rotation_zero_and_the_ring_of_the_list(tmp_path: Path) -> None:
    """A disc of another turn, the line it is laid by, and the diameter from lenses.csv."""
    header, *rows = LENSES.splitlines()
    lenses = "\n".join([f"{header},ring_diameter_mm", *(f"{row},100" for row in rows)]) + "\n"
    folder = write_small_job(tmp_path / "job", lenses=lenses)
    typed = ("strip", folder, "--lens", "N50", "--rotation", "180°", "--zero", "135", "--out", tmp_path / "s.pdf")
    found = run_json(*typed)
    assert found["ring_mm"] == pytest.approx(100.0)
    assert found["length_mm"] == pytest.approx(math.pi * 50.0)
    assert found["zero_mm"] == pytest.approx(math.pi * 25.0, abs=0.05)
    assert len(found["assumptions"]) == 1


def test_blank_strip(job: Path, tmp_path: Path) -> None:
    """A blank strip needs no lens, and is documented alike."""
    out = tmp_path / "b.pdf"
    found = run_json("strip", job, "--blank", "percent", "--diameter", "80", "--rotation", "300", "--out", out)
    assert list(misfits(found, schema("strip"))) == []
    assert [tick["value"] for tick in found["ticks"] if tick["label"]][-1] == 0.0
    assert "∞" not in pymupdf.open(out)[0].get_text()


def test_several_lenses_on_one_sheet(job: Path, tmp_path: Path) -> None:
    """Two lenses, one PDF on Letter held sideways; a line for each."""
    out = tmp_path / "s.pdf"
    said = run(
        *("strip", job, "--lens", "N50", "--lens", "F35", "--diameter", "80", "--paper", "letter", "--out", out)
    ).stdout
    assert "50 mm T1.5 · serial 4711: 188.5 mm of scale" in said
    assert "35 mm T2 · serial 4712" in said
    assert tuple(pymupdf.open(out)[0].rect)[2:] == (792.0, 612.0)


def test_all_that_is_wrong_is_said_at_once(job: Path, tmp_path: Path) -> None:
    """An unknown lens, no size of the ring, a turn of 400 degrees, a file in no folder: each is named."""
    out = tmp_path / "none" / "s.pdf"
    said = refused("strip", job, "--lens", "X", "--rotation", "400", "--out", out)
    assert [line.partition(":")[0] for line in said] == ["--rotation", "--out", "--lens", "--diameter"]
    said = refused(
        "strip", job, "--lens", "N50", "--diameter", "80", "--circumference", "250", "--out", tmp_path / "s.txt"
    )
    assert [line.partition(":")[0] for line in said] == ["--circumference", "--out"]
    assert not any(tmp_path.iterdir())


def test_a_lens_that_can_have_none_is_refused(tmp_path: Path) -> None:
    """No iris readings, or counts of which nobody said how many go to a turn: refused with what to give."""
    lenses = LENSES.replace(",36000,", ",,")
    folder = write_small_job(tmp_path / "job", lenses=lenses)
    typed = ("--diameter", "80", "--out", tmp_path / "s.pdf")
    assert "no iris map" in refused("strip", folder, "--lens", "N50", "--axis", "iris", *typed)[0]
    (said,) = refused("strip", folder, "--lens", "F35", *typed)
    assert "units_per_turn" in said
    assert run("strip", folder, "--lens", "F35", "--rotation", "270", *typed).exit_code == 0


def test_an_older_file_is_replaced_whole(job: Path, tmp_path: Path) -> None:
    """The PDF is written beside and put in place: nothing else is left in the folder, and it is the same twice."""
    out = tmp_path / "s.pdf"
    out.write_bytes(b"old")
    typed = ("strip", job, "--lens", "N50", "--diameter", "80", "--out", out)
    run(*typed)
    first = out.read_bytes()
    run(*typed)
    assert out.read_bytes() == first
    assert first.startswith(b"%PDF")
    assert list(tmp_path.iterdir()) == [out]


DEMO = ROOT / "src" / "tapehook" / "demo_job"


def test_the_strip_of_the_shoot_and_the_one_as_read(tmp_path: Path) -> None:
    """L10 of the demo job: moved for T2, as ``map --json`` has it at infinity; with --as-read where it was read."""
    typed = ("strip", DEMO, "--lens", "L10", "--out", tmp_path / "s.pdf")
    moved, as_read = run_json(*typed), run_json(*typed, "--as-read")
    assert list(misfits(moved, schema("strip"))) == []
    maps = run_json("map", DEMO, "--lens", "L10")["lenses"]["L10"]
    for found, grid in ((moved, maps["at_shooting_stop"]["grid"]), (as_read, maps["grid"])):
        (far,) = (tick for tick in found["ticks"] if tick["distance_m"] is None)
        assert far["position"] == pytest.approx(grid[-1]["position"], abs=1e-6)
    assert "For T2: ring positions moved" in moved["moved"][0]
    assert as_read["moved"] == ["Marks as read: not moved for what the shoot does to focus."]


def test_the_strip_on_the_extender(tmp_path: Path) -> None:
    """L03 of the demo job on its 2x: 50 mm; each mark stands where ``map --extender`` has it."""
    typed = ("strip", DEMO, "--lens", "L03", "--units", "ft", "--out", tmp_path / "s.pdf")
    found = run_json(*typed, "--extender-on")
    assert list(misfits(found, schema("strip"))) == []
    assert (found["extender"]["factor"], found["extender"]["focal_mm"]) == (2.0, 50.0)
    assert found["extender"]["length_mm"] == pytest.approx(45.0)
    rows = run_json("map", DEMO, "--lens", "L03", "--extender", "2x", "--extender-length", "45mm")["lenses"]["L03"]
    by_distance = {row["distance_m"]: row["position"] for row in rows["through"]}
    both = [
        (tick["position"], by_distance[tick["distance_m"]])
        for tick in found["ticks"]
        if tick["distance_m"] in by_distance
    ]
    assert len(both) > 2
    assert [one for one, _ in both] == pytest.approx([other for _, other in both], abs=1e-6)


@pytest.mark.parametrize(
    "more, said",
    [
        (("--lens", "L12", "--extender-on"), "lenses.csv names no extender for it"),
        (("--lens", "L12", "--in-water"), "lenses.csv names no port for it"),
        (("--lens", "L12", "--port", "100mm"), "--port-front"),
        (("--lens", "L12", "--water", "sea"), "--port"),
        (("--lens", "L12", "--port", "60mm", "--port-front", "200mm"), "the lens does not reach so near"),
        (("--lens", "L05", "--axis", "iris", "--extender-on"), "its iris ring keeps its marks"),
    ],
)
def test_what_no_strip_can_be_made_for_is_refused(more: tuple[str, ...], said: str, tmp_path: Path) -> None:
    """In a sentence with exit code 2, and nothing is written."""
    out = tmp_path / "s.pdf"
    assert said in " ".join(refused("strip", DEMO, *more, "--out", out))
    assert not out.exists()
