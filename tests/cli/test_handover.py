"""``tapehook handover``: the files it writes, the documented shape, and what is refused."""

import csv
from datetime import UTC, datetime
from pathlib import Path

import pymupdf
import pytest

from tapehook.book.jobs import JobDocument, find_job, sign_off
from tapehook.book.store import Writer, open_book
from tests.cli.jobs import write_small_job
from tests.cli.running import refused, run, run_json
from tests.cli.shapes import misfits, schema
from tests.handover.pack_reading import plain
from tests.photo_files import a_jpeg


def test_all_files_are_written(tmp_path: Path) -> None:
    """The PDF, the pocket page, tables as CSV and in one workbook, and the findings; strips for both lenses."""
    job, out = write_small_job(tmp_path / "job"), tmp_path / "out"
    found = run_json("handover", job, "--out", out, "--diameter", "80mm", "--paper", "letter", "--units", "both")
    assert list(misfits(found, schema("handover"))) == []
    assert sorted(found["files"]) == sorted(str(path) for path in out.iterdir())
    assert {"handover.pdf", "pocket.html", "tables.xlsx", "prep.json", "strips.csv"} <= {p.name for p in out.iterdir()}
    assert (found["strips"], found["no_strips"]) == (["N50", "F35"], [])


def test_no_ring_no_strip(tmp_path: Path) -> None:
    """Where nobody gave a diameter the command says so, once, with the lenses."""
    job = write_small_job(tmp_path / "job")
    said = run("handover", job, "--out", tmp_path / "out").stdout
    assert "No strip at 1:1: give the diameter" in said
    assert "no strip at 1:1 for N50, F35: the diameter of its focus ring is not given" in said


def test_all_that_is_wrong_is_said_at_once(tmp_path: Path) -> None:
    """A ring of a mile, an address that is none, no job: each is named and nothing is written."""
    out = tmp_path / "out"
    said = refused("handover", tmp_path / "none", "--out", out, "--diameter", "8 m", "--url", "javascript:alert(1)")
    assert [line.partition(":")[0] for line in said][:2] == ["--diameter", "--url"]
    assert len(said) > 2
    assert not out.exists()


@pytest.fixture
def booked(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """A book with the small job in it, on which Anna Quist signed a lens off and Ben the camera."""
    write_small_job(tmp_path / "my-job")
    monkeypatch.chdir(tmp_path)
    monkeypatch.setenv("TAPEHOOK_BOOK", "house.book")
    assert run("book", "new").exit_code == 0
    assert run("book", "import", "my-job", "--write", "--by", "Anna Quist").exit_code == 0
    with open_book() as book:
        with book.reading() as connection:
            job_id, found = find_job(connection, "Harbour", book.name)
            lens_id = next(lens.lens_id for lens in JobDocument.of(found.now).lenses if lens.row_id == "N50")
        with book.writing(Writer("Anna Quist", "test")) as writing:
            sign_off(writing, job_id, "lens", lens_id=lens_id, note="=2+2 <b>soft</b> below 3'")
        with book.writing(Writer("Ben", "test")) as writing:
            sign_off(writing, job_id, "flange", camera="A")
    return tmp_path


@pytest.mark.parametrize("command", ["handover", "prep"])
def test_the_cover_says_who_signed_what_off_and_when(booked: Path, command: str) -> None:
    """Made from the book's job, the cover names each signature with its day, the note as text, and what lacks one."""
    out = booked / command
    assert run(command, "--job", "Harbour", "--out", out).exit_code == 0
    with pymupdf.open(out / "handover.pdf") as document:
        cover = plain(document[0].get_text())
        pages = [plain(page.get_text()) for page in document]
    day = datetime.now(tz=UTC)
    assert "Signed off by what when Anna Quist lens: N50" in cover
    assert "Ben flange: camera A" in cover
    assert f"{day:%b %Y}" in cover
    assert "N50, Anna Quist: =2+2 <b>soft</b> below 3'" in cover
    assert "Not signed off: 1 of 2 lenses, F35." in cover
    if command == "handover":
        assert any("Prep checklist" in page and " AQ " in page for page in pages)


def test_a_signature_older_than_a_reading_says_so(booked: Path) -> None:
    """Measured again after the signature: the cover marks it, and the checklist carries no initials for it."""
    with (booked / "my-job" / "readings.csv").open("a", encoding="utf-8") as rows:
        rows.write((booked / "my-job" / "readings.csv").read_text(encoding="utf-8").splitlines()[1] + "\n")
    assert run("book", "import", "my-job", "--write", "--by", "Cy").exit_code == 0
    assert run("handover", "--job", "Harbour", "--out", booked / "out").exit_code == 0
    with pymupdf.open(booked / "out" / "handover.pdf") as document:
        text = " ".join(plain(page.get_text()) for page in document)
    assert "lens: N50*" in text
    assert "measured again after it was signed off" in text
    assert " AQ " not in text


def test_a_folder_and_a_job_are_not_both_taken(tmp_path: Path) -> None:
    """Which of them would be printed nobody could tell."""
    job = write_small_job(tmp_path / "job")
    assert "not both" in refused("handover", job, "--job", "Harbour", "--out", tmp_path / "out")[0]


def test_the_planned_channel_stands_with_its_camera(tmp_path: Path) -> None:
    """A plan's file gives each camera its channel with its frequency, on its page and on the day player's."""
    job, plan = write_small_job(tmp_path / "job"), tmp_path / "plan.json"
    plan.write_text('{"networks": {"A": {"band": "2450", "channel": 15}}}', encoding="utf-8")
    assert run("handover", job, "--out", tmp_path / "out", "--radio", plan).exit_code == 0
    with pymupdf.open(tmp_path / "out" / "handover.pdf") as document:
        pages = [plain(page.get_text()) for page in document]
    # IEEE 802.15.4: channel 15 is at 2405 + 5 (15 - 11) MHz.
    said = "channel 15 of the 2450 MHz band is planned, 2425 MHz"
    assert sum(said in page for page in pages) == 2


def test_a_plan_for_another_job_is_refused(tmp_path: Path) -> None:
    """A camera that the job lacks, and a file that is no plan: named, and nothing is written."""
    job, plan = write_small_job(tmp_path / "job"), tmp_path / "plan.json"
    plan.write_text('{"networks": {"Q": {"band": "2450", "channel": 15}}}', encoding="utf-8")
    assert "--radio" in refused("handover", job, "--out", tmp_path / "out", "--radio", plan)[0]
    plan.write_text("no plan", encoding="utf-8")
    assert "plan.json" in refused("handover", job, "--out", tmp_path / "out", "--radio", plan)[0]
    assert not (tmp_path / "out").exists()


def test_photos_are_printed_or_told(booked: Path) -> None:
    """Those of a folder, and those of a job of the book where a folder is named; what cannot be shown is a finding."""
    folder, out = booked / "my-job", booked / "out"
    (folder / "photos").mkdir()
    (folder / "photos" / "a.jpg").write_bytes(a_jpeg())
    (folder / "photos" / "b.jpg").write_text("hello")
    named = "photos/a.jpg; photos/b.jpg; ../c.jpg"
    with (folder / "lenses.csv").open(newline="", encoding="utf-8-sig") as file:
        rows = list(csv.DictReader(file))
    rows[0]["photos_on_receipt"] = named
    with (folder / "lenses.csv").open("w", newline="", encoding="utf-8") as file:
        writer = csv.DictWriter(file, list(dict.fromkeys([*rows[0], *rows[1]])))
        writer.writeheader()
        writer.writerows(rows)
    found = run_json("handover", folder, "--out", out)
    assert list(misfits(found, schema("handover"))) == []
    assert [(one["photo"], one["when"]) for one in found["photos"]] == [("photos/a.jpg", "receipt")]
    assert [one["code"] for one in found["photos_not_shown"]] == ["photo_not_shown"]
    assert [one["photo"] for one in found["missing_photos"]] == ["../c.jpg"]
    said = run("handover", folder, "--out", out).stdout
    assert "The photo photos/b.jpg of lens" in said
    assert run("book", "import", "my-job", "--write", "--by", "Anna Quist").exit_code == 0
    assert run_json("handover", "--job", "Harbour", "--out", out)["photos"] == []
    again = run_json("handover", "--job", "Harbour", "--out", out, "--photos", folder)
    assert again["photos"] == found["photos"]
    assert refused("handover", folder, "--out", out, "--photos", folder / "none")[0].startswith("--photos")
