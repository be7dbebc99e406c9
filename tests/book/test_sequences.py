"""Any sequence of add, correct, withdraw, merge, export and import keeps every reading; merges are a union."""

import itertools
import shutil
from collections.abc import Callable, Iterator, Sequence
from contextlib import ExitStack, contextmanager
from dataclasses import dataclass, field
from pathlib import Path
from tempfile import TemporaryDirectory

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from tapehook.book.checking import check
from tapehook.book.conflicts import conflicts
from tapehook.book.exporting import export_job
from tapehook.book.folders import read_folder
from tapehook.book.importing import carry_out, plan_import
from tapehook.book.lenses import add_lens, group_of, lens_id_of, mark_lens, read_serial, tie
from tapehook.book.lenses import lenses_of as book_lenses
from tapehook.book.matching import Answers
from tapehook.book.measuring import add_measurements, correct, in_force, of_lenses
from tapehook.book.merging import merge
from tapehook.book.shelves import new_shelf, put_on_shelf, where_shelved
from tapehook.book.store import Book, Writer, open_book
from tapehook.book.trouble import BookRefusal, StaleEdit
from tapehook.book.working import measure, open_job, save_job
from tapehook.job import Reading
from tests.book.fixtures import Books, another_id
from tests.book.kit import ANNA, as_folder, contents, small, take_in
from tests.strategies import MEMORY

BOOKS = 3
TRIES = settings.default.max_examples if settings.default else 100
JOB = "Harbour"

ACTIONS = ("bench", "measure", "correct", "withdraw", "merge", "travel", "title", "serial", "shelf", "mark", "tie")
MAY_BE_REFUSED = {"travel", "title", "serial", "withdraw", "correct"}
"""A job in conflict, a serial that was read, a reading corrected already under another id."""
steps = st.tuples(st.sampled_from(ACTIONS), st.integers(0, BOOKS - 1), st.integers(0, BOOKS - 1), st.integers(0, 9))


@dataclass
class World:
    """Three books of three people, and every measurement that was ever acknowledged in each."""

    books: Sequence[Book]
    folder: Path
    written: list[set[bytes]] = field(default_factory=lambda: [set() for _ in range(BOOKS)])
    count: Iterator[int] = field(default_factory=itertools.count)

    def run(self, action: str, here: int, there: int, number: int) -> None:
        """One step; what the book refuses in words is refused, and changes nothing."""
        book, by = self.books[here], Writer(f"person {here}", "test")
        before = contents(book)
        refused = False
        try:
            getattr(self, action)(book, by, here, there, number)
        except BookRefusal:
            refused = True
        after = contents(book)
        assert not refused or (action in MAY_BE_REFUSED and after == before)
        for table, rows in before.items():
            assert rows <= after[table], f"{action} lost records of {table}"
        self.written[here] |= ids(book)
        assert self.written[here] == ids(book)

    def reading(self, number: int) -> Reading:
        return Reading(lens_id="L1", value=1.0 + number, position=10.0 * number + 0.1)

    def bench(self, book: Book, by: Writer, _here: int, _there: int, number: int) -> None:
        with book.writing(by) as writing:
            add_measurements(writing, add_lens(writing, "Harbour 50", f"47-{number % 3}"), [self.reading(number)])

    def measure(self, book: Book, by: Writer, _here: int, _there: int, number: int) -> None:
        with book.writing(by) as writing:
            (made,) = measure(writing, JOB, "L1", [self.reading(number)])
        assert made in ids(book)
        rows = open_job(book, JOB).job.readings if not in_conflict(book) else ()
        assert not rows or self.reading(number).position in {row.position for row in rows}

    def _one(self, book: Book, number: int) -> tuple[bytes, bytes] | None:
        with book.reading() as connection:
            lens_ids = [row[0] for row in connection.exec_driver_sql("SELECT id FROM lens ORDER BY id").all()]
            found = in_force(connection, [bytes(one) for one in lens_ids])
        return (found[number % len(found)].id, found[number % len(found)].lens_id) if found else None

    def correct(self, book: Book, by: Writer, _here: int, _there: int, number: int) -> None:
        self._correct(book, by, number, self.reading(number))

    def withdraw(self, book: Book, by: Writer, _here: int, _there: int, number: int) -> None:
        self._correct(book, by, number, None)

    def _correct(self, book: Book, by: Writer, number: int, new: Reading | None) -> None:
        chosen = self._one(book, number)
        if chosen is not None:
            with book.writing(by) as writing:
                correct(writing, *chosen, new, "test")
            with book.reading() as connection:
                assert chosen[0] not in {one.id for one in in_force(connection, [chosen[1]])}
                assert chosen[0] in {one.id for one in of_lenses(connection, [chosen[1]])}

    def merge(self, book: Book, by: Writer, here: int, there: int, _number: int) -> None:
        if here != there:
            merge(book, self.books[there], by)
            assert self.written[there] <= ids(book)
            self.written[here] |= self.written[there]
            assert merge(book, self.books[there], by).total == 0

    def travel(self, book: Book, by: Writer, _here: int, there: int, number: int) -> None:
        """Export from here, change a row, and import over there, or here again."""
        folder = self.folder / str(next(self.count))
        export_job(book, JOB, folder)
        lines = (folder / "readings.csv").read_text(encoding="utf-8").splitlines(keepends=True)
        if len(lines) > 2 and number % 2:
            lines.pop()
        (folder / "readings.csv").write_text("".join(lines), encoding="utf-8")
        read = read_folder(folder)
        target = self.books[there]
        before = contents(target)
        try:
            with target.writing(by) as writing:
                plan = plan_import(writing.connection, read, Answers(over=number > 5, all_apart=True), name=JOB)
                carry_out(writing, plan, read)
        except BookRefusal:
            assert contents(target) == before
        for table, rows in before.items():
            assert rows <= contents(target)[table]
        self.written[there] |= ids(target)

    def title(self, book: Book, by: Writer, _here: int, _there: int, number: int) -> None:
        opened = open_job(book, JOB)
        with book.writing(by) as writing:
            job = opened.job.model_copy(update={"region": f"R{number % 2}"})
            save_job(writing, JOB, job, seen=opened.seen, answers=Answers(all_apart=True))
        rows = [reading.position for reading in opened.job.readings]
        assert [reading.position for reading in open_job(book, JOB).job.readings] == rows

    def serial(self, book: Book, by: Writer, _here: int, _there: int, number: int) -> None:
        with book.reading() as connection:
            found = connection.exec_driver_sql("SELECT id FROM lens WHERE serial IS NULL ORDER BY id").all()
        if found:
            with book.writing(by) as writing:
                read_serial(writing, bytes(found[number % len(found)][0]), f"47-{number % 3}")

    def shelf(self, book: Book, by: Writer, _here: int, _there: int, number: int) -> None:
        with book.writing(by) as writing:
            lens = add_lens(writing, "Harbour 50", f"47-{number % 3}")
            there = where_shelved(writing.connection, "lens", lens)
            put_on_shelf(writing, "lens", lens, new_shelf(writing, f"S{number}"), seen=there.seen if there else ())

    def mark(self, book: Book, by: Writer, _here: int, _there: int, number: int) -> None:
        with book.writing(by) as writing:
            lens_id = add_lens(writing, "Harbour 50", f"47-{number % 3}")
            lens = book_lenses(writing.connection, [lens_id])[lens_id]
            mark_lens(writing, lens, needs_work=bool(number % 2), why=by.who)

    def tie(self, book: Book, by: Writer, _here: int, _there: int, number: int) -> None:
        with book.writing(by) as writing:
            one, other = (add_lens(writing, "Harbour 50", f"47-{(number + k) % 3}") for k in range(2))
            tie(writing, one, other, "test")


def ids(book: Book) -> set[bytes]:
    """Ids of all measurements of a book."""
    with book.reading() as connection:
        return {bytes(row[0]) for row in connection.exec_driver_sql("SELECT id FROM measurement").all()}


def in_conflict(book: Book) -> bool:
    """True when something waits for a person."""
    with book.reading() as connection:
        return bool(conflicts(connection))


def go_through(books: Sequence[Book], folder: Path, sequence: Sequence[tuple[str, int, int, int]]) -> None:
    """Run a sequence, then hold all that must hold of the three books at the end."""
    world = World(books, folder)
    take_in(books[0], as_folder(small(JOB, serial=None)))
    for k in (1, 2):
        merge(books[k], books[0], ANNA)
    world.written = [ids(book) for book in books]
    for step in sequence:
        world.run(*step)
    for book in books:
        assert check(book).faults == ()


@settings(max_examples=TRIES // 7, suppress_health_check=[HealthCheck.function_scoped_fixture, HealthCheck.too_slow])
@given(sequence=st.lists(steps, max_size=10))
def test_any_sequence_keeps_every_reading(empty_file: Path, sequence: list[tuple[str, int, int, int]]) -> None:
    """On SQLite: no record is ever lost, what is refused changes nothing, and every book stays sound."""
    with three_books(empty_file) as (books, folder, _):
        go_through(books, folder, sequence)


@settings(
    max_examples=max(3, TRIES // 40), suppress_health_check=[HealthCheck.function_scoped_fixture, HealthCheck.too_slow]
)
@given(sequence=st.lists(steps, min_size=4, max_size=10))
def test_any_sequence_keeps_every_reading_on_both(
    books: Books, tmp_path: Path, sequence: list[tuple[str, int, int, int]]
) -> None:
    """The same on both engines, fewer times."""
    with TemporaryDirectory(dir=tmp_path) as folder:
        go_through([books() for _ in range(BOOKS)], Path(folder), sequence)


@settings(max_examples=TRIES // 10, suppress_health_check=[HealthCheck.function_scoped_fixture, HealthCheck.too_slow])
@given(sequence=st.lists(steps, min_size=3, max_size=8))
def test_merges_are_a_union(empty_file: Path, sequence: list[tuple[str, int, int, int]]) -> None:
    """Commutative, associative, idempotent: whoever merges whom, in whatever order, ends with the same book."""
    with three_books(empty_file) as (books, folder, copy):
        go_through(books, folder, [step for step in sequence if step[0] != "merge"])
        a, b, c = books
        merged = [
            _merged(copy, a, b, c),
            _merged(copy, b, a, c),
            _merged(copy, c, b, a),
            _merged(copy, a, _merged(copy, b, c)),
            _merged(copy, _merged(copy, a, b), c, a, b),
        ]
        wanted = {table: set().union(*(contents(book)[table] for book in books)) for table in contents(a)}
        for book in merged:
            assert contents(book) == wanted
            assert check(book).faults == ()
        said = []
        for book in merged:
            with book.reading() as connection:
                said.append([one.as_json() for one in conflicts(connection)])
        assert all(one == said[0] for one in said)


def _merged(copy: Callable[[Book], Book], first: Book, *others: Book) -> Book:
    made = copy(first)
    for other in others:
        merge(made, other, ANNA)
        assert merge(made, other, ANNA).total == 0
    return made


@contextmanager
def three_books(empty: Path) -> Iterator[tuple[list[Book], Path, Callable[[Book], Book]]]:
    """Three empty books in memory, a folder, and a way to copy one as it is."""
    with TemporaryDirectory(dir=MEMORY) as name, ExitStack() as stack:
        count = itertools.count()

        def another() -> Book:
            path = Path(name) / f"{next(count)}.book"
            shutil.copy(empty, path)
            another_id(str(path))
            return stack.enter_context(open_book(str(path)))

        def copy(book: Book) -> Book:
            made = another()
            merge(made, book, ANNA)
            return made

        yield [another() for _ in range(BOOKS)], Path(name), copy


def test_two_books_with_one_lens_are_two_for_one(books: Books) -> None:
    """A lens, by model and serial, has the same id in books that never met."""
    first, second = books(), books()
    for book in (first, second):
        take_in(book, small())
    assert merge(first, second, ANNA).added["lens"] == 0
    with first.reading() as connection:
        assert group_of(connection, lens_id_of("Harbour 50", "4711")) == {lens_id_of("Harbour 50", "4711")}


def test_an_edit_of_what_changed_meanwhile_is_told(books: Books) -> None:
    """Two people open one job; the second to save is told who was quicker, and nothing of theirs is written."""
    book = books()
    take_in(book, small())
    one, other = open_job(book, JOB), open_job(book, JOB)
    with book.writing(ANNA) as writing:
        save_job(writing, JOB, one.job.model_copy(update={"region": "GB"}), seen=one.seen)
    before = contents(book)
    with pytest.raises(StaleEdit, match="Anna"), book.writing(Writer("Ben", "test")) as writing:
        save_job(writing, JOB, other.job.model_copy(update={"region": "FR"}), seen=other.seen)
    assert contents(book) == before
    assert open_job(book, JOB).job.region == "GB"
