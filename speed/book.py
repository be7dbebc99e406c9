"""The book of a large rental house, on both engines: opening a lens, searching, importing, and two houses made one.

Each house has 100,000 lenses and 2 million readings, 6 GB on disk with everything that is made of it here; they are
written when the first case asks for them (some minutes), and gone when the run ends. The server of PostgreSQL waits for
its disk, as one in earnest does.
"""

import atexit
import itertools
import shutil
import statistics
import tempfile
import time
from collections.abc import Callable, Iterator
from functools import cache
from pathlib import Path

from speed.harness import Case, Contender, Seconds, case
from speed.house import JOB_LENSES, furnish, lens_row, readings_of
from speed.searches import KINDS, typed
from tapehook.book.folders import read_folder, source_of
from tapehook.book.importing import carry_out, plan_import
from tapehook.book.lenses import lens_id_of
from tapehook.book.maps import open_lens
from tapehook.book.matching import Answers
from tapehook.book.merging import merge
from tapehook.book.search import find_lenses
from tapehook.book.store import Book, Writer, new_book, open_book
from tapehook.job import Job, Lens, Reading, write_job
from tests.book.servers import Server

LENSES = 100_000
READINGS = 20 * LENSES
MARKET = 10 * LENSES
"""Numbers of lenses from here on belong to folders that nobody imported yet."""
SETTINGS = "-c shared_buffers=256MB -c maintenance_work_mem=256MB -c max_wal_size=1GB"
SEARCHES = 16 * len(KINDS)
"""Searches of which the 95th percentile is taken."""
BY = Writer("speed", "speed")


@cache
def _folder() -> Path:
    """A folder for all houses, removed at the end."""
    folder = Path(tempfile.mkdtemp(prefix="tapehook-speed-"))
    atexit.register(shutil.rmtree, folder, ignore_errors=True)
    return folder


@cache
def _house(number: int) -> Path:
    """The file of one house, its lenses all its own."""
    path = _folder() / f"house-{number}.book"
    with new_book(str(path)) as book:
        furnish(book, range(number * LENSES, (number + 1) * LENSES))
    return path


@cache
def _server() -> Server:
    folder = _folder() / "server"
    folder.mkdir()
    folder.chmod(0o755)
    _folder().chmod(0o755)
    server = Server(str(folder), SETTINGS)
    atexit.register(server.stop)
    return server


@cache
def _book(engine: str) -> Book:
    """The first house on an engine, open."""
    if engine == "SQLite":
        return open_book(str(_house(0)))
    book = new_book(_server().make("house"))
    with open_book(str(_house(0))) as source:
        merge(book, source, BY)
    with book.engine.connect().execution_options(isolation_level="AUTOCOMMIT") as connection:
        connection.exec_driver_sql("VACUUM ANALYZE")  # a server does so by itself, some minutes later
    return book


def _lens_ids() -> Iterator[bytes]:
    """Lenses from all over the house, none twice for a long time."""
    for number in itertools.cycle(range(0, LENSES, 7)):
        row = lens_row(number)
        yield lens_id_of(row["model"], row["serial"])


def _opening(engine: str) -> Case:
    book, fresh = _book(engine), _lens_ids()
    kept = [next(fresh) for _ in range(100)]
    for lens_id in kept:
        open_lens(book, lens_id)
    again = itertools.cycle(kept)
    return Case(
        ours=Contender("open a lens, its map kept", lambda: open_lens(book, next(again))),
        peers=(
            Contender(
                "open a lens for the first time: its map worked out and kept", lambda: open_lens(book, next(fresh))
            ),
        ),
        rounds=100,
        at_most_s=0.05,
        note=f"{LENSES:,} lenses, {READINGS:,} readings; another lens each time, with its readings, sessions, shelves, "
        "map and findings.",
    )


def _searching(engine: str) -> Case:
    book, words = _book(engine), typed(LENSES, 1)

    def search() -> Seconds:
        """The 95th percentile of many searches, one after the other."""
        seconds = []
        for text in itertools.islice(words, SEARCHES):
            start = time.perf_counter()
            find_lenses(book, text)
            seconds.append(time.perf_counter() - start)
        return Seconds(statistics.quantiles(seconds, n=20)[-1])

    return Case(
        ours=Contender("a search, 95th percentile", search),
        rounds=5,
        at_most_s=0.05,
        note=f"{LENSES:,} lenses; {SEARCHES} searches a round, as many of each kind: {', '.join(KINDS)}.",
    )


def _importing(engine: str) -> Case:
    book, rounds = _book(engine), 3
    folders = iter([_write_folder(engine, turn) for turn in range(rounds + 1)])

    def take_in() -> None:
        path = next(folders)
        folder = read_folder(path)
        with book.writing(Writer("speed", source_of(path))) as writing:
            carry_out(writing, plan_import(writing.connection, folder, Answers()), folder)

    return Case(
        ours=Contender(f"import a folder of {JOB_LENSES} new lenses", take_in),
        rounds=rounds,
        at_most_s=5.0,
        note=f"From reading the files, {20 * JOB_LENSES:,} readings among them, to the last record on the disk, into a "
        f"book of {LENSES:,} lenses.",
    )


def _write_folder(engine: str, turn: int) -> Path:
    """A job folder of lenses that no house has."""
    start = MARKET + JOB_LENSES * turn
    numbers = range(start, start + JOB_LENSES)
    lenses = tuple(Lens.model_validate(lens_row(number)) for number in numbers)
    readings = tuple(
        Reading.model_validate({**reading, "lens_id": lens.id})
        for number, lens in zip(numbers, lenses, strict=True)
        for reading in readings_of(number)
    )
    path = _folder() / f"job-{engine}-{turn}"
    write_job(Job(title=f"Fresh job {turn}", lenses=lenses, readings=readings), path)
    return path


def _merging(engine: str) -> Case:
    (_folder() / "both.book").unlink(missing_ok=True)
    book = _book(engine)
    if engine == "SQLite":
        book.close()
        path = _folder() / "both.book"
        shutil.copy(_house(0), path)
        book = open_book(str(path))

    def run() -> None:
        with open_book(str(_house(1))) as other:
            merge(book, other, BY)

    _house(1)
    return Case(
        ours=Contender("merge a second house into the first", _second_time(run)),
        rounds=1,
        at_most_s=60.0,
        note=f"Two books of {LENSES:,} lenses and {READINGS:,} readings each, none in both. Done once: a second time "
        "there is nothing to add.",
    )


def _second_time(run: Callable[[], None]) -> Callable[[], None]:
    """What does nothing the first time, which is not counted: the work can be done only once."""
    turns = itertools.count()

    def called() -> None:
        if next(turns):
            run()

    return called


CASES = (
    ("open a lens", _opening),
    ("search", _searching),
    ("import a folder", _importing),
    ("merge two houses", _merging),
)


def _register() -> None:
    for what, build in CASES:
        for engine in ("SQLite", "PostgreSQL"):
            case(f"The book on {engine}: {what}")(lambda engine=engine, build=build: build(engine))  # type: ignore[misc]


_register()
