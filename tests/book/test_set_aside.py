"""A book written before the limits of today opens, lists and loads; what is out of range is told, and never lost."""

from dataclasses import replace
from pathlib import Path
from typing import Any

import pytest

from tapehook.book.exporting import export_job
from tapehook.book.folders import read_folder
from tapehook.book.importing import Folder
from tapehook.book.jobs import job_names, load_job
from tapehook.book.store import Book
from tapehook.book.working import open_job, save_job
from tapehook.job import JobProblems, read_job
from tapehook.job.records import Job
from tapehook.job.set_aside import kept_toml, set_aside
from tapehook.prep import prepare
from tests.book.kit import ANNA, BEN, contents, take_in
from tests.book.old_books import OUT_OF_RANGE, old_folder


@pytest.fixture
def old_book(book: Book, tmp_path: Path) -> Book:
    """A book whose job holds figures that no record may hold now, in every table that has such a field."""
    take_in(book, old_folder(tmp_path / "old"))
    return book


def _held(job: Job) -> set[tuple[str, str, float]]:
    return {(one.table, one.field, float(one.held)) for one in set_aside(job)}


def test_such_a_job_is_listed_and_loads(old_book: Book) -> None:
    """All rows are there; each figure out of range is set aside with what is held."""
    with old_book.reading() as connection:
        assert job_names(connection) == ["Harbour"]
    job = load_job(old_book, "Harbour")
    assert (len(job.lenses), len(job.readings), len(job.charts), len(job.tstops)) == (1, 3, 1, 1)
    assert _held(job) == OUT_OF_RANGE


def test_each_is_a_finding_that_says_what_is_held_and_expected(old_book: Book) -> None:
    """By lens or camera, field, held and expected; nothing is worked out from a measurement that lacks its figure."""
    prep = prepare(load_job(old_book, "Harbour"))
    told = [one for one in prep.findings if one.code == "job.out_of_range"]
    assert {one.severity for one in told} == {"fix"}
    messages = "\n".join(one.message for one in told)
    for said in (
        "Lens L1: focal_mm is held as 0.05, kept by an earlier version; expected at least 1, so it is not used.",
        "Chart test 1 of lens L1: t_stop is held as 0.2, kept by an earlier version; expected at least 0.5",
        "Light test 1 of lens L1: t_stop is held as 0.3",
        "Reading 3 of lens L1: focal_mm is held as 0.035",
        "Camera A: sensor_width_mm is held as 0.5",
        "Criterion: coc_mm is held as 25.0",
    ):
        assert said in messages
    assert (prep.job.charts, prep.job.tstops, len(prep.job.readings)) == ((), (), 2)


def test_an_export_keeps_every_figure_and_comes_back_as_the_same_rows(old_book: Book, tmp_path: Path) -> None:
    """The folder reads, holds all figures, and an import of it changes no row of the book."""
    export_job(old_book, "Harbour", tmp_path / "out")
    assert _held(read_job(tmp_path / "out")) == OUT_OF_RANGE
    there = contents(old_book)
    imported = take_in(old_book, read_folder(tmp_path / "out"), BEN)
    assert (sum(imported.plan.added.values()), imported.plan.gone) == (0, ())
    assert contents(old_book)["measurement"] == there["measurement"]
    assert _held(load_job(old_book, "Harbour")) == OUT_OF_RANGE


def test_an_edit_of_something_else_loses_none(old_book: Book) -> None:
    """The shooting stop is changed; no measurement is added or corrected, and every figure is still held."""
    opened = open_job(old_book, "Harbour")
    there = contents(old_book)
    with old_book.writing(ANNA) as writing:
        changed = opened.job.model_copy(update={"shooting_stop": "T4"})
        save_job(writing, "Harbour", changed, seen=opened.seen)
    now = contents(old_book)
    assert (now["measurement"], now["correction"]) == (there["measurement"], there["correction"])
    job = load_job(old_book, "Harbour")
    assert (job.shooting_stop, _held(job)) == ("T4", OUT_OF_RANGE)


def test_a_corrected_folder_puts_it_right(old_book: Book, tmp_path: Path) -> None:
    """Figures written into their columns of an export count after the import; what was held is in the history."""
    out = tmp_path / "out"
    export_job(old_book, "Harbour", out)
    _write(out / "lenses.csv", ",,1.4,A", ",50,1.4,A")
    _write(out / "charts.csv", ",30,,0.2", ",30,2,0.2")
    _write(out / "tstops.csv", "0.3 (out of range)", "2.8")
    take_in(old_book, read_folder(out), BEN)
    job = load_job(old_book, "Harbour")
    assert (job.lenses[0].focal_mm, job.charts[0].t_stop, job.tstops[0].t_stop) == (50.0, 2.0, 2.8)
    assert {table for table, _, _ in _held(job)} == {"readings", "cameras", "criterion"}
    assert len(contents(old_book)["correction"]) == 2
    assert any('"t_stop":0.2' in str(row) for row in contents(old_book)["measurement"])


def _write(path: Path, *pairs: str) -> None:
    text = path.read_text()
    for was, now in zip(pairs[::2], pairs[1::2], strict=True):
        assert was in text
        text = text.replace(was, now)
    path.write_text(text)


@pytest.mark.parametrize(
    "table, was, now, said",
    [
        ("lenses.csv", ",50,", ",0.05,", 'lenses.csv row 2, focal_mm: read "0.05"'),
        ("charts.csv", ",2\n", ",0.2\n", 'charts.csv row 2, t_stop: read "0.2"'),
        ("tstops.csv", ",2.8,", ",0.3,", 'tstops.csv row 2, t_stop: read "0.3"'),
    ],
)
def test_a_folder_written_before_is_refused_by_file_row_and_field(
    table: str, was: str, now: str, said: str, tmp_path: Path
) -> None:
    """A person can put a file right; so it is refused, and says where."""
    old_folder(tmp_path / "old")
    _write(tmp_path / "old" / table, was, now)
    with pytest.raises(JobProblems, match=said.replace("(", r"\(")):
        read_job(tmp_path / "old")


def test_a_job_toml_without_such_figures_is_left_as_it_is() -> None:
    """Its text is not touched, nor is one that is no TOML."""
    for text in ('title = "Harbour" # ours\n', "title = = 2"):
        assert kept_toml(text) == text


def test_a_figure_that_may_be_held_now_is_none_set_aside(book: Book, tmp_path: Path) -> None:
    """A column of that name typed by hand, with a good figure or none in it, is kept as any other, and never read."""
    folder = old_folder(tmp_path / "old")
    lens = folder.job.lenses[0].model_copy(update={"focal_mm": None, "extra": {"focal_mm (out of range)": "50"}})
    given: dict[str, Any] = {"lenses": (lens,), "charts": (), "tstops": (), "readings": (), "cameras": ()}
    take_in(book, replace(folder, job=Job(title="Harbour", **given), toml='title = "Harbour"\n'))
    job = load_job(book, "Harbour")
    assert (job.lenses[0].focal_mm, job.lenses[0].extra, _held(job)) == (
        None,
        {"focal_mm (out of range)": "50"},
        set(),
    )
    assert isinstance(folder, Folder)
