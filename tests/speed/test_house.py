"""The house that `make speed` measures is a book like any other."""

import itertools

from speed.house import JOB_LENSES, furnish, lens_row, readings_of
from speed.searches import KINDS, typed
from tapehook.book.checking import check
from tapehook.book.jobs import load_job
from tapehook.book.lenses import lens_id_of
from tapehook.book.maps import open_lens
from tapehook.book.search import find_lenses
from tests.book.fixtures import Books, books, empty_file, server

__all__ = ["books", "empty_file", "server"]


def test_a_house_is_a_sound_book(books: Books) -> None:
    """On both engines: nothing for the check to find, jobs that load, lenses that are found and have a map."""
    book = books()
    furnish(book, range(40))
    found = check(book)
    assert found.faults == ()
    assert (found.records["lens"], found.records["measurement"], found.records["job"]) == (40, 800, 1)
    assert len(find_lenses(book, "teasel 50").lenses) == len(
        [n for n in range(40) if lens_row(n)["model"] == "Teasel 50"]
    )
    row = lens_row(39)
    view = open_lens(book, lens_id_of(row["model"], row["serial"]))
    assert view.map is not None
    assert view.map["monotone"]


def test_every_kind_of_search_has_its_share(books: Books) -> None:
    """The same for the same seed; each finds something in a house, but for what no lens has."""
    book = books()
    furnish(book, range(40))
    words = list(itertools.islice(typed(40, 1), 4 * len(KINDS)))
    assert words == list(itertools.islice(typed(40, 1), 4 * len(KINDS)))
    found = dict.fromkeys(KINDS, 0)
    for kind, text in zip(itertools.cycle(KINDS), words, strict=False):
        found[kind] += len(find_lenses(book, text).lenses)
    never = {"a word that no lens has", "a model and another lens's serial"}
    by_chance = {"any two digits", "a job"}
    assert {kind for kind, count in found.items() if not count} - by_chance == never


def test_numbers_make_lenses_always_the_same() -> None:
    """So that two houses can share some."""
    assert lens_row(7) == lens_row(7)
    assert list(readings_of(7)) == list(readings_of(7))
    assert lens_row(7)["serial"] != lens_row(8)["serial"]
    assert JOB_LENSES == 300


def test_a_whole_job_of_a_house_loads(books: Books) -> None:
    """With its readings in order."""
    book = books()
    furnish(book, range(12))
    job = load_job(book, "Job 0")
    assert len(job.lenses) == 12
    assert [reading.position for reading in job.readings] == [
        one["position"] for n in range(12) for one in readings_of(n)
    ]
