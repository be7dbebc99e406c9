"""All that is wrong with what was typed is said at once, and in words a person would use."""

from pathlib import Path

import pytest

from tests.cli.running import ROOT, refused, run

DEMO = ROOT / "src" / "tapehook" / "demo_job"


def test_close_up_names_the_lens_beside_the_power() -> None:
    """A lens nobody knows and a power nobody makes."""
    said = refused("close-up", DEMO, "--lens", "L99", "--power", "-3")
    assert [line.split(":")[0] for line in said] == ["--power", "--lens"]


@pytest.mark.parametrize("goes, count", [("L99", 3), ("L05", 2)])
def test_swap_names_the_marks_beside_the_lenses(goes: str, count: int) -> None:
    """Marks are read though the lenses are wrong."""
    said = refused("swap", DEMO, "--goes", goes, "--comes", "", "--mark", "foo", "--mark", "2' = 299.1")
    assert [line.split(":")[0] for line in said] == ["--goes", "--comes", "--mark"][3 - count :]


def test_radio_names_options_files_and_folder_together(tmp_path: Path) -> None:
    """Two plans, a place that is not there, files that are not there, a frequency that is none, and no job."""
    none = tmp_path / "none"
    options = ("--keep", none, "--judge", none, "--taken", "abc", "--scan", none, "--out", none / "x.pdf")
    said = refused("radio", tmp_path / "job", *options)
    for words in ("--keep", "--taken: read", "--out: read", "a job folder", "none: expected a file"):
        assert any(words in line for line in said), words


@pytest.mark.parametrize(
    "args, said",
    [
        (("left", DEMO, "--minutes", "0"), '--minutes: read "0.0", expected a number from 0.5 to 10000'),
        (("left", DEMO, "--minutes", "an hour"), '--minutes: read "an hour", expected a number from 0.5 to 10000'),
        (("next", DEMO, "--lens", "L03", "--most", "99"), '--most: read "99", expected a whole number from 1 to 20'),
        (("next", DEMO, "--lens", "L03", "--most", "1.5"), '--most: read "1.5", expected a whole number from 1 to 20'),
        (("split", "--focal", "50mm", "--stop", "T2", "--at", "2m"), "--at: given once, expected two or more"),
    ],
)
def test_numbers_out_of_reach_are_said_in_words(args: tuple[str | Path, ...], said: str) -> None:
    """What was read and the limits, without signs of a programmer."""
    (line,) = refused(*args)
    assert line.startswith(said)


def test_subjects_at_one_distance_need_no_stop() -> None:
    """No T0: any stop holds two people who stand side by side; what is assumed of straying has no part in it."""
    said = run("split", "--focal", "50mm", "--stop", "T2", "--at", "2m", "--at", "2m").stdout
    assert "needs    any stop" in said
    assert "T0" not in said
    assert "straying" not in said


@pytest.mark.parametrize("paper", ["letter", "us-letter"])
def test_a_paper_has_one_name_in_every_command(tmp_path: Path, paper: str) -> None:
    """What one command takes, all take: 612 points wide is US Letter."""
    import pymupdf

    run("demo", "--out", tmp_path / "demo", "--paper", paper)
    run("strip", DEMO, "--lens", "L05", "--diameter", "80mm", "--paper", paper, "--out", tmp_path / "strip.pdf")
    for path in (tmp_path / "demo" / "handover.pdf", tmp_path / "strip.pdf"):
        with pymupdf.open(path) as document:
            assert min(document[0].rect.width, document[0].rect.height) == pytest.approx(612)


def test_prep_says_which_lenses_are_good_enough(tmp_path: Path) -> None:
    """Each with its share and its stop, the most used first; none of those that have something to fix."""
    said = run("demo", "--out", tmp_path / "demo").stdout
    good = " ".join(said[said.index("Good enough") :].split(".\n")[0].split()).partition(": ")[2]
    shares = [int(part.split(" %")[0].split()[-1]) for part in good.split(", ")]
    assert shares == sorted(shares, reverse=True)
    assert " at T2" in good
    named = [part.split()[0] for part in good.split(", ")]
    assert not {"L08", "L11", "L21"} & set(named)  # tight; a mark mistyped; never read
    assert "(close focus not read)" in next(part for part in good.split(", ") if part.startswith("L15"))
    assert "(one way only)" in next(part for part in good.split(", ") if part.startswith("L06"))


def test_a_screen_holds_no_more_than_a_person_reads(capsys: pytest.CaptureFixture[str]) -> None:
    """Of hundreds of findings the worst are shown, and how many more there are."""
    from tapehook.cli.console import MOST_FINDINGS, show_findings
    from tapehook.finding import Finding

    many = [
        Finding("map.refused", "fix", f"lens L{at}", "No focus map.", "Read it.") for at in range(MOST_FINDINGS + 7)
    ]
    show_findings(many)
    said = capsys.readouterr().out
    assert f"lens L{MOST_FINDINGS - 1}" in said
    assert f"lens L{MOST_FINDINGS} " not in said
    assert "7 more, no worse than these" in said


def test_names_the_paper_cannot_print_are_told(tmp_path: Path) -> None:
    """Hebrew and Japanese labels become boxes in the PDF, Greek and Cyrillic ones do not."""
    ids = ("עדשה 50", "レンズ 50", "φακός 50", "объектив 50", "L50")
    (tmp_path / "lenses.csv").write_text("id,focal_mm\n" + "".join(f"{one},50\n" for one in ids), encoding="utf-8")
    (tmp_path / "readings.csv").write_text("lens_id,distance_m,position\n", encoding="utf-8")
    said = run("prep", tmp_path, "--out", tmp_path / "out").stdout.splitlines()[-1]
    assert said.startswith("The PDF cannot print all signs in the names of עדשה 50, レンズ 50: boxes stand there.")
