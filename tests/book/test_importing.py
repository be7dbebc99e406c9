"""Folders into the book: who is who, what is new, what only a person can answer, and what is never undone unasked."""

import json
from dataclasses import replace
from pathlib import Path

import pytest

from tapehook.book.exporting import export_job
from tapehook.book.folders import read_folder, read_sheet
from tapehook.book.importing import Folder, ImportPlan, carry_out, plan_import, plan_sheet
from tapehook.book.jobs import load_job, standing_of_job
from tapehook.book.lenses import SERIAL_NOT_READ, lens_id_of, lenses_of, read_serial, untie
from tapehook.book.matching import Answers
from tapehook.book.measuring import correct, in_force, of_lenses
from tapehook.book.merging import merge
from tapehook.book.store import Book, Writer
from tapehook.book.trouble import BookRefusal
from tapehook.book.working import measure, open_job, save_job
from tapehook.job import Job, Reading, write_job
from tests.book.fixtures import Books
from tests.book.kit import ANNA, BEN, as_folder, contents, demo, small, take_in


def plan(book: Book, folder: Folder | Job, **answers: object) -> ImportPlan:
    """What an import would do."""
    folder = as_folder(folder) if isinstance(folder, Job) else folder
    with book.reading() as connection:
        return plan_import(connection, folder, Answers(**answers))  # type: ignore[arg-type]


def positions(book: Book, name: str = "Harbour") -> list[float]:
    """The positions of a job of the book as it is now."""
    return [reading.position for reading in load_job(book, name).readings]


def test_a_plan_says_what_will_be_and_writes_nothing(book: Book) -> None:
    """All of the demo job is new to an empty book, and all of it known the second time."""
    first = plan(book, demo())
    assert {one.verdict for one in first.lenses} == {"new"}
    assert (first.added["reading"], first.added["chart"], sum(first.matched.values())) == (682, 44, 0)
    assert not any(contents(book).values())
    take_in(book, demo())
    second = plan(book, demo())
    assert {one.verdict for one in second.lenses} == {"matched"}
    assert (sum(second.added.values()), second.matched["reading"], second.gone) == (0, 682, ())


@pytest.mark.parametrize("serial", ["h 0211", "H0211", "H-0211 ", "h–0211"])
def test_a_serial_written_otherwise_is_offered_never_merged(book: Book, serial: str) -> None:
    """Case, spaces and dashes: a person says whether it is the same lens, and either answer is kept for next time."""
    take_in(book, small("One", serial="H-0211"))
    other = small("Two", serial=serial, positions=(11.0, 61.0))
    if serial.strip() == "H-0211":  # the space around a cell is no part of what was written
        other = other.model_copy(update={"lenses": (other.lenses[0].model_copy(update={"serial": "H-0211"}),)})
        assert plan(book, other).lenses[0].verdict == "matched"
        return
    asked = plan(book, other)
    assert asked.lenses[0].verdict == "question"
    assert "may be Harbour 50, serial H-0211" in asked.problems[0].sentence()
    before = contents(book)
    with pytest.raises(BookRefusal, match="--same L1"):
        take_in(book, other)
    assert contents(book) == before
    take_in(book, other, same=frozenset({"L1"}))
    with book.reading() as connection:
        one = lenses_of(connection, [lens_id_of("Harbour 50", "H-0211")])[lens_id_of("Harbour 50", "H-0211")]
        assert len(in_force(connection, one.ids)) == 4
    assert plan(book, replace_title(other, "Three")).problems == ()


def replace_title(job: Job, title: str) -> Job:
    """The job under another name."""
    return job.model_copy(update={"title": title})


def test_a_serial_written_otherwise_may_be_another_lens(book: Book) -> None:
    """Said to be apart, they stay apart."""
    take_in(book, small("One", serial="H-0211"))
    take_in(book, small("Two", serial="h 0211"), apart=frozenset({"L1"}))
    with book.reading() as connection:
        one = lenses_of(connection, [lens_id_of("Harbour 50", "h 0211")])[lens_id_of("Harbour 50", "h 0211")]
        assert one.ids == {lens_id_of("Harbour 50", "h 0211")}


def test_two_rows_of_one_folder_written_nearly_alike(book: Book) -> None:
    """They are asked about too."""
    job = small()
    twin = job.lenses[0].model_copy(update={"id": "L2", "serial": "47 11"})
    asked = plan(book, job.model_copy(update={"lenses": (*job.lenses, twin)}))
    assert [one.verdict for one in asked.lenses] == ["question", "question"]
    assert "nearly that of L2 in the same folder" in asked.problems[0].sentence()


def test_a_job_needs_a_name(book: Book) -> None:
    """Without a title, and no name given, there is nothing to find it by."""
    with pytest.raises(BookRefusal, match="no title"):
        take_in(book, Job(lenses=small().lenses))
    take_in(book, Job(lenses=small().lenses), name="Pier")
    assert load_job(book, "Pier").lenses[0].serial == "4711"


def test_a_reading_that_is_gone_is_withdrawn_and_kept(book: Book) -> None:
    """One changed is corrected by the one in its place, one removed withdrawn; both are in the history for good."""
    take_in(book, small(positions=(10.0, 60.0, 80.0)))
    with pytest.raises(BookRefusal, match="would undo what Anna wrote"):
        take_in(book, small(positions=(10.0, 61.0)), BEN)
    take_in(book, small(positions=(10.0, 61.0)), BEN, over=True)
    lens_id = lens_id_of("Harbour 50", "4711")
    with book.reading() as connection:
        assert [json.loads(one.data)["position"] for one in in_force(connection, [lens_id])] == [10.0, 61.0]
        assert len(of_lenses(connection, [lens_id])) == 4
    assert positions(book) == [10.0, 61.0]


def test_a_folder_from_the_book_goes_back_freely(book: Book, tmp_path: Path) -> None:
    """Exported, changed and imported: no question, as it came from what the book says; but not once that is old."""
    take_in(book, small())
    export_job(book, "Harbour", tmp_path / "a")
    folder = read_folder(tmp_path / "a")
    changed = folder.job.model_copy(update={"readings": folder.job.readings[:1]})
    assert plan(book, replace(folder, job=changed)).problems == ()
    with book.writing(BEN) as writing:
        measure(writing, "Harbour", "L1", [Reading(lens_id="L1", value=5.0, position=99.0)])
    (problem,) = plan(book, replace(folder, job=changed)).problems
    assert "would undo" in problem.sentence()


def test_the_same_folder_once_more_spares_what_the_bench_did(book: Book, tmp_path: Path) -> None:
    """A folder may undo what it said itself, without a question; never what was measured at the bench since."""
    write_job(small(), tmp_path / "a")
    take_in(book, read_folder(tmp_path / "a"))
    write_job(small(positions=(10.0, 62.0)), tmp_path / "a")
    take_in(book, read_folder(tmp_path / "a"))
    assert positions(book) == [10.0, 62.0]
    with book.writing(BEN) as writing:
        measure(writing, "Harbour", "L1", [Reading(lens_id="L1", value=5.0, position=99.0)])
    with pytest.raises(BookRefusal, match="1 measurements made or corrected since"):
        take_in(book, read_folder(tmp_path / "a"))
    assert positions(book) == [10.0, 62.0, 99.0]


# --- the bench ---------------------------------------------------------------------------------------------------


def test_a_correction_takes_the_place_of_what_it_corrects(book: Book) -> None:
    """In the job, in the lens, in what is exported; a second correction of the same is refused."""
    take_in(book, small(positions=(10.0, 60.0, 80.0)))
    lens_id = lens_id_of("Harbour 50", "4711")
    with book.reading() as connection:
        old = in_force(connection, [lens_id])[1]
    with book.writing(BEN) as writing:
        new_id = correct(writing, old.id, lens_id, Reading(lens_id="L1", value=2.0, position=61.5), "mistyped")
    assert positions(book) == [10.0, 61.5, 80.0]
    with pytest.raises(BookRefusal, match="corrected already"), book.writing(BEN) as writing:
        correct(writing, old.id, lens_id, None, "again")
    assert new_id is not None
    with book.writing(ANNA) as writing:
        correct(writing, new_id, lens_id, None, "withdrawn")
    assert positions(book) == [10.0, 80.0]
    with book.reading() as connection:
        assert len(of_lenses(connection, [lens_id])) == 4


def test_two_units_measure_one_job_without_a_conflict(books: Books) -> None:
    """Readings added on two laptops come together in one job, each once, and nobody has to decide anything."""
    a, b = books(), books()
    take_in(a, small())
    merge(b, a, ANNA)
    for book, position in ((a, 70.0), (b, 71.0)):
        with book.writing(Writer(book.name, "test")) as writing:
            measure(writing, "Harbour", "L1", [Reading(lens_id="L1", value=7.0, position=position)])
    assert merge(a, b, ANNA).conflicts == ()
    merge(b, a, ANNA)
    assert positions(a) == positions(b)
    assert sorted(positions(a)) == [10.0, 60.0, 70.0, 71.0]


def test_a_job_edited_on_a_page_keeps_its_measurements(book: Book) -> None:
    """Those measured while the page was open too; another unit for a lens that was read is refused."""
    take_in(book, small())
    opened = open_job(book, "Harbour")
    with book.writing(BEN) as writing:
        measure(writing, "Harbour", "L1", [Reading(lens_id="L1", value=7.0, position=70.0)])
    with book.writing(ANNA) as writing:
        save_job(writing, "Harbour", opened.job.model_copy(update={"region": "GB"}), seen=opened.seen)
    assert positions(book) == [10.0, 60.0, 70.0]
    assert load_job(book, "Harbour").region == "GB"
    again = open_job(book, "Harbour")
    counted = (again.job.lenses[0].model_copy(update={"unit": "count"}),)
    with pytest.raises(BookRefusal, match="was read in deg"), book.writing(ANNA) as writing:
        save_job(writing, "Harbour", again.job.model_copy(update={"lenses": counted}), seen=again.seen)


# --- serials nobody could read -----------------------------------------------------------------------------------


def test_a_provisional_serial_is_exchanged_with_all_its_history(book: Book) -> None:
    """Flagged until then; afterwards all that was measured before is that of the lens with the serial."""
    take_in(book, small(serial=None))
    with book.reading() as connection:
        (one,) = standing_of_job(connection, open_job(book, "Harbour").job_id)[:1]
        lens = lenses_of(connection, [one.lens_id])[one.lens_id]
    assert SERIAL_NOT_READ in lens.title
    assert lens.provisional == "Harbour: L1"
    with book.writing(BEN) as writing:
        real = read_serial(writing, lens.id, " 4711 ")
    with book.reading() as connection:
        found = lenses_of(connection, [lens.id])[lens.id]
        assert (found.id, found.serial, found.title) == (real, "4711", "Harbour 50, serial 4711")
        assert len(in_force(connection, found.ids)) == 2
    with pytest.raises(BookRefusal, match="only a lens whose serial was not read"), book.writing(BEN) as writing:
        read_serial(writing, lens.id, "4712")
    with book.writing(BEN) as writing:
        untie(writing, lens.id, real, "it was another one")
    with book.reading() as connection:
        assert lenses_of(connection, [lens.id])[lens.id].serial is None


def test_a_serial_read_in_the_folder_is_the_same_lens(book: Book) -> None:
    """The row that had no serial has one now: it is the same lens of the book."""
    take_in(book, small(serial=None))
    read = plan(book, small(serial="4711"), over=True)
    assert [one.verdict for one in read.lenses] == ["serial read"]
    take_in(book, small(serial="4711"), over=True)
    with book.reading() as connection:
        found = lenses_of(connection, [lens_id_of("Harbour 50", "4711")])[lens_id_of("Harbour 50", "4711")]
        assert len(found.ids) == 2
        assert len(in_force(connection, found.ids)) == 2


# --- sheets ------------------------------------------------------------------------------------------------------


def test_a_sheet_of_lenses(book: Book, tmp_path: Path) -> None:
    """Lenses without a job, CSV: those with a serial are taken in, one without is refused by name."""
    sheet = tmp_path / "house.csv"
    sheet.write_text("id,model,serial,focal_mm\nA1,Harbour 50,4711,50\nA2,Harbour 35,4712,35\n", encoding="utf-8")
    with book.writing(ANNA) as writing:
        carry_out(writing, plan_sheet(writing.connection, read_sheet(sheet), Answers()))
    with book.reading() as connection:
        facts = lenses_of(connection, [lens_id_of("Harbour 35", "4712")])[lens_id_of("Harbour 35", "4712")].facts
    assert facts is not None
    assert facts.data["focal_mm"] == 35.0
    sheet.write_text("id,model,serial,focal_mm\nA3,Harbour 50,,50\n", encoding="utf-8")
    with book.reading() as connection:
        (problem,) = plan_sheet(connection, read_sheet(sheet), Answers()).problems
    assert "lens A3 has no serial" in problem.sentence()
