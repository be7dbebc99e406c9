"""In and out without loss: export, import into an empty book, export again, and every byte is the same."""

import shutil
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import replace
from pathlib import Path
from tempfile import TemporaryDirectory

import pytest
from hypothesis import HealthCheck, assume, given, settings

from tapehook.book.exporting import MARKER, export_job
from tapehook.book.folders import read_folder
from tapehook.book.importing import Folder
from tapehook.book.jobs import JobDocument, find_job, job_names, load_job
from tapehook.book.store import Book, open_book
from tapehook.book.trouble import BookRefusal
from tapehook.book.working import open_job, save_job
from tapehook.job import Job, JobProblems, write_job
from tests.book.fixtures import Books, another_id
from tests.book.kit import ANNA, DEMO, demo, take_in
from tests.strategies import MEMORY, jobs


def files(folder: Path) -> dict[str, bytes]:
    """The contents of all files of a folder and those in it, by name."""
    found = (path for path in folder.rglob("*") if path.is_file())
    return {path.relative_to(folder).as_posix(): path.read_bytes() for path in found}


def test_the_demo_job_goes_round(books: Books, tmp_path: Path) -> None:
    """The demo job, on both engines: the second export is the first, byte for byte, its comments kept."""
    first, second = books(), books()
    take_in(first, demo())
    export_job(first, demo().job.title, tmp_path / "one")
    take_in(second, read_folder(tmp_path / "one"))
    export_job(second, demo().job.title, tmp_path / "two")
    assert files(tmp_path / "one") == files(tmp_path / "two")
    assert (tmp_path / "one" / "job.toml").read_bytes() == (DEMO / "job.toml").read_bytes()
    shots = {f"shots/{path.name}" for path in (DEMO / "shots").glob("*.toml")}
    assert shots
    tables = {"charts.csv", "morning.csv", "job.toml", "lenses.csv", "readings.csv", MARKER}
    assert set(files(tmp_path / "one")) == tables | shots
    for shot in shots:
        assert (tmp_path / "two" / shot).read_bytes() == (DEMO / shot).read_bytes()


def test_a_job_of_the_book_is_the_job_of_its_folder(book: Book) -> None:
    """What ``prepare`` is given is the same, wherever the job lies."""
    take_in(book, demo())
    loaded, read = load_job(book, demo().job.title), demo().job
    rows = {"lenses", "readings", "charts", "tstops", "morning"}
    assert loaded.model_dump(exclude=rows) == read.model_dump(exclude=rows)
    for table in rows:
        without = [one.model_dump(exclude={"row"}) for one in getattr(read, table)]
        assert [one.model_dump(exclude={"row"}) for one in getattr(loaded, table)] == without


@contextmanager
def empty_book(empty: Path) -> Iterator[tuple[Book, Path]]:
    """An empty book in a folder of its own, in memory where there is such a place."""
    with TemporaryDirectory(dir=MEMORY) as folder:
        shutil.copy(empty, Path(folder) / "a.book")
        another_id(str(Path(folder) / "a.book"))
        with open_book(str(Path(folder) / "a.book")) as book:
            yield book, Path(folder)


TRIES = settings.default.max_examples if settings.default else 100


@settings(max_examples=TRIES // 5, suppress_health_check=[HealthCheck.function_scoped_fixture, HealthCheck.too_slow])
@given(job=jobs())
def test_any_job_goes_round(empty_file: Path, job: Job) -> None:
    """Any job a folder can hold, awkward texts and unknown columns among them."""
    with empty_book(empty_file) as (first, folder), empty_book(empty_file) as (second, _):
        try:
            write_job(job, folder / "source")
        except JobProblems:
            assume(False)  # a job no folder can hold
        source = read_folder(folder / "source")
        take_in_apart(first, source)
        (name,) = _names(first)
        export_job(first, name, folder / "one")
        take_in_apart(second, read_folder(folder / "one"), name)
        export_job(second, name, folder / "two")
        assert files(folder / "one") == files(folder / "two")
        again = read_folder(folder / "two").job
        for table in ("lenses", "readings", "charts", "tstops", "morning"):
            rows = [one.model_dump(exclude={"row"}) for one in getattr(source.job, table)]
            assert repr([one.model_dump(exclude={"row"}) for one in getattr(again, table)]) == repr(rows)


def take_in_apart(book: Book, folder: Folder, name: str | None = None) -> None:
    """Import a folder whose lenses are all taken for different ones, under a name the book takes."""
    title = folder.job.title
    take_in(book, folder, name=name or (title if title.strip() not in {"", "Untitled job"} else "x"), all_apart=True)


def _names(book: Book) -> list[str]:
    with book.reading() as connection:
        return job_names(connection)


def test_an_export_leaves_what_is_there(book: Book, tmp_path: Path) -> None:
    """A folder with something in it is left alone, until somebody says otherwise."""
    take_in(book, demo())
    folder = tmp_path / "mine"
    folder.mkdir()
    (folder / "notes.txt").write_text("mine", encoding="utf-8")
    with pytest.raises(BookRefusal, match="already"):
        export_job(book, demo().job.title, folder)
    assert set(files(folder)) == {"notes.txt"}
    export_job(book, demo().job.title, folder, over=True)
    assert (folder / "notes.txt").read_text(encoding="utf-8") == "mine"


def test_a_shot_is_part_of_the_job(book: Book) -> None:
    """Another course of it is another version; a folder without it would undo it; nothing but shots is ever written."""
    take_in(book, demo())
    names = sorted(demo().files)
    name = names[0]
    with pytest.raises(BookRefusal, match=f"shots are not in it or say something else .{names[0]}, .*{names[-1]}"):
        take_in(book, replace(demo(), files={}))
    take_in(book, replace(demo(), files={name: "x = 1\n", "shots/two.toml": "y = 2\n"}), over=True)
    with book.reading() as connection:
        _, found = find_job(connection, demo().job.title, book.name)
    assert JobDocument.of(found.now).files == {name: "x = 1\n", "shots/two.toml": "y = 2\n"}
    opened = open_job(book, demo().job.title)
    with book.writing(ANNA) as writing:
        save_job(writing, opened.name, opened.job.model_copy(update={"region": "FR"}), seen=opened.seen)
    with book.reading() as connection:
        _, found = find_job(connection, demo().job.title, book.name)
    assert len(JobDocument.of(found.now).files) == 2
    evil = replace(
        found.now, data={**found.now.data, "files": {"../x.toml": "", "shots/../../x.toml": "", "a.csv": ""}}
    )
    assert JobDocument.of(evil).files == {}


def test_an_unknown_job_is_answered_with_one_that_is_near(book: Book, tmp_path: Path) -> None:
    """Its name may have been mistyped."""
    take_in(book, demo())
    with pytest.raises(BookRefusal, match=r"there is 'Ninety Herons, prep'"):
        export_job(book, "Ninty Herons", tmp_path / "x")


def test_what_a_page_changes_leaves_the_comments(book: Book) -> None:
    """One key of ``job.toml`` changed on a page: that line differs, every other stands as it stood in the folder."""
    before = demo().toml or ""
    take_in(book, demo())
    opened = open_job(book, demo().job.title)
    with book.writing(ANNA) as writing:
        save_job(writing, opened.name, opened.job.model_copy(update={"region": "FR"}), seen=opened.seen)
    with book.reading() as connection:
        _, found = find_job(connection, demo().job.title, book.name)
    after = JobDocument.of(found.now).toml or ""
    assert "#" in before
    changed = [(one, other) for one, other in zip(before.splitlines(), after.splitlines(), strict=True) if one != other]
    assert changed == [('region = "GB"', 'region = "FR"')]
