"""Conflicts are settled by a person: one version stands, lenses are one or two; and everybody has it after a merge."""

import pytest

from tapehook.book.checking import check
from tapehook.book.conflicts import Conflict, conflicts
from tapehook.book.history import lens_history
from tapehook.book.jobs import job_id_of, sign_off, sign_offs_of
from tapehook.book.lenses import add_lens, lens_id_of, mark_lens
from tapehook.book.lenses import lenses_of as book_lenses
from tapehook.book.merging import merge
from tapehook.book.search import find_lenses
from tapehook.book.settling import choices, exchange_serial, find_conflict, keep_version, say_apart, say_same
from tapehook.book.shelves import new_shelf, put_on_shelf
from tapehook.book.store import Book, Writer
from tapehook.book.trouble import BookRefusal
from tapehook.book.versions import all_versions
from tests.book.fixtures import Books
from tests.book.kit import ANNA, BEN, contents, small, take_in

JOB = job_id_of("Harbour")
LENS = lens_id_of("Harbour 50", "4711")
CLEO = Writer("Cleo", "settled")


def waiting(book: Book) -> list[Conflict]:
    """The conflicts of a book."""
    with book.reading() as connection:
        return conflicts(connection)


def only(book: Book) -> Conflict:
    """The one conflict of a book."""
    (found,) = waiting(book)
    return found


@pytest.fixture
def signed_twice(books: Books) -> tuple[Book, Book]:
    """Two books whose people signed off one lens apart, merged both ways."""
    a, b = books(), books()
    take_in(a, small())
    merge(b, a, ANNA)
    for book, by, outcome in ((a, ANNA, "good"), (b, BEN, "doubtful")):
        with book.writing(by) as writing:
            sign_off(writing, JOB, "map", lens_id=LENS, outcome=outcome)
    merge(a, b, ANNA)
    merge(b, a, BEN)
    return a, b


def test_a_sign_off_is_kept_and_still_says_who_signed(signed_twice: tuple[Book, Book]) -> None:
    """The one chosen stands in both books, signed by whom it was; who settled it is in the history, with the other."""
    a, b = signed_twice
    conflict = only(a)
    with a.reading() as connection:
        listed = {one.who: one for one in choices(connection, conflict)}
    assert "outcome: doubtful" in listed["Ben"].said
    assert "outcome: good" in listed["Anna"].said
    with a.writing(CLEO) as writing:
        keep_version(writing, find_conflict(writing.connection, conflict.id.hex()[-8:], "a"), listed["Ben"].id)
    merge(b, a, BEN)
    for book in (a, b):
        assert waiting(book) == []
        with book.reading() as connection:
            (now,) = sign_offs_of(connection, JOB)
            history = all_versions(connection, now.now.thing_id)
        assert (now.data["by"], now.data["outcome"]) == ("Ben", "doubtful")
        assert [one.who for one in history][-1] == "Cleo"
        assert {one.who for one in history} == {"Anna", "Ben", "Cleo"}
    assert check(a).faults == ()


def test_two_people_settle_one_conflict(signed_twice: tuple[Book, Book]) -> None:
    """Alike, and it is settled after a merge; otherwise, they are asked once more."""
    a, b = signed_twice
    with a.reading() as connection:
        kept = {one.who: one.id for one in choices(connection, only(a))}
    for book, who in ((a, "Anna"), (b, "Ben")):
        with book.writing(CLEO) as writing:
            keep_version(writing, only(book), kept[who])
        assert waiting(book) == []
    merge(a, b, CLEO)
    merge(b, a, CLEO)
    assert only(a) == only(b)
    for book in (a, b):
        with book.writing(CLEO) as writing:
            version = next(one for one in choices(writing.connection, only(book)) if "outcome: good" in one.said)
            keep_version(writing, only(book), version.id)
    merge(a, b, CLEO)
    merge(b, a, CLEO)
    assert waiting(a) == waiting(b) == []


def test_where_a_lens_stands_is_chosen_by_the_shelf(books: Books) -> None:
    """The choices name the shelf, not its id; the lens is found by the words of the one kept."""
    a, b = books(), books()
    take_in(a, small())
    merge(b, a, ANNA)
    for book, by, name in ((a, ANNA, "Truck"), (b, BEN, "Stage")):
        with book.writing(by) as writing:
            put_on_shelf(writing, "lens", LENS, new_shelf(writing, name))
    merge(a, b, ANNA)
    with a.reading() as connection:
        listed = {one.said: one.id for one in choices(connection, only(a))}
    assert set(listed) == {"shelf: Truck", "shelf: Stage"}
    with a.writing(CLEO) as writing:
        keep_version(writing, only(a), listed["shelf: Truck"])
    assert len(find_lenses(a, "truck").lenses) == 1
    assert find_lenses(a, "stage").lenses == ()


def test_a_job_is_put_together_in_a_folder(books: Books) -> None:
    """Keeping one version would drop readings: refused, with what to do, and nothing is written."""
    a, b = books(), books()
    for book, positions in ((a, (10.0, 60.0)), (b, (10.0, 61.0))):
        take_in(book, small(positions=positions))
    merge(a, b, ANNA)
    conflict = next(one for one in waiting(a) if one.subject.startswith("job"))
    with a.reading() as connection:
        version = choices(connection, conflict)[0]
    assert "2 readings" in version.said
    before = contents(a)
    with pytest.raises(BookRefusal, match=r"would drop readings.*--join"), a.writing(CLEO) as writing:
        keep_version(writing, conflict, version.id)
    assert contents(a) == before


@pytest.fixture
def unread_twice(books: Books) -> tuple[Book, Book]:
    """Two books with a lens under one provisional serial, merged both ways."""
    a, b = books(), books()
    for book, by in ((a, ANNA), (b, BEN)):
        take_in(book, small(serial=None), by)
    merge(a, b, ANNA)
    merge(b, a, BEN)
    return a, b


def test_one_provisional_serial_is_one_lens(unread_twice: tuple[Book, Book]) -> None:
    """Said once, it holds in both books: one history, one serial for it later."""
    a, b = unread_twice
    with a.reading() as connection:
        listed = choices(connection, only(a))
    assert [("2 readings" in one.said, one.who) for one in listed] == [(True, None)] * 2
    with a.writing(CLEO) as writing:
        say_same(writing, only(a))
    merge(b, a, BEN)
    assert waiting(a) == waiting(b) == []
    with b.writing(CLEO) as writing:
        lens = exchange_serial(writing, bytes.fromhex(listed[1].id), "4711").lens
    assert lens.ids >= {bytes.fromhex(one.id) for one in listed}
    assert {one.who for one in lens_history(b, lens.id).measurements} == {"Anna", "Ben"}


def test_one_provisional_serial_on_lenses_that_are_two(unread_twice: tuple[Book, Book], books: Books) -> None:
    """Apart in both books, also when both say so; a third lens of that label is a question of its own."""
    a, b = unread_twice
    for book in (a, b):
        with book.writing(CLEO) as writing:
            say_apart(writing, only(book))
        assert waiting(book) == []
    merge(a, b, ANNA)
    merge(b, a, BEN)
    assert waiting(a) == waiting(b) == []
    assert len(find_lenses(a, "serial not read").lenses) == 2
    third = books()
    take_in(third, small(serial=None))
    assert [one.code for one in merge(a, third, ANNA).conflicts].count("same_provisional_serial") == 1
    assert check(a).faults == ()


def test_a_decision_must_fit_the_conflict(signed_twice: tuple[Book, Book], unread_twice: tuple[Book, Book]) -> None:
    """Versions are kept, lenses are one or two; no such conflict, and no such version, is told; nothing is written."""
    signed, unread = signed_twice[0], unread_twice[0]
    before = contents(signed), contents(unread)
    with pytest.raises(BookRefusal, match="which one stands"), signed.writing(CLEO) as writing:
        say_same(writing, only(signed))
    with pytest.raises(BookRefusal, match="no versions"), unread.writing(CLEO) as writing:
        keep_version(writing, only(unread), "00")
    with pytest.raises(BookRefusal, match="no newest version"), signed.writing(CLEO) as writing:
        keep_version(writing, only(signed), "zz")
    with pytest.raises(BookRefusal, match=r"no conflict ends in zz.*sign-off, map"), signed.reading() as connection:
        find_conflict(connection, "zz", "book")
    assert (contents(signed), contents(unread)) == before


# --- a serial that was read --------------------------------------------------------------------------------------


def test_a_serial_is_exchanged_with_all_its_history(book: Book) -> None:
    """Readings, state and shelves of the lens are those of the one with the serial; a second time is refused."""
    take_in(book, small(serial=None))
    (found,) = find_lenses(book, "serial not read").lenses
    with book.writing(BEN) as writing:
        mark_lens(writing, found.lens, needs_work=True, why="rattles")
        put_on_shelf(writing, "lens", found.lens.id, new_shelf(writing, "Truck"))
        exchanged = exchange_serial(writing, found.lens.id, " 4711 ")
    assert (exchanged.lens.title, exchanged.joined) == ("Harbour 50, serial 4711", False)
    assert [one.lens.serial for one in find_lenses(book, "truck rattles 4711").lenses] == ["4711"]
    assert len(lens_history(book, exchanged.lens.id).measurements) == 2
    with pytest.raises(BookRefusal, match="read already"), book.writing(BEN) as writing:
        exchange_serial(writing, found.lens.id, "4712")


def test_a_serial_that_another_lens_has(book: Book) -> None:
    """Written alike, it is that lens; written otherwise a person is asked, and may say that it is another."""
    take_in(book, small("Pier"))
    take_in(book, small(serial=None))
    take_in(book, small("Quay", serial=None))
    unread = {one.lens.provisional: one.lens.id for one in find_lenses(book, "serial not read").lenses}
    before = contents(book)
    with pytest.raises(BookRefusal, match="serial 4711 of the book, written otherwise"), book.writing(BEN) as writing:
        exchange_serial(writing, unread["Harbour: L1"], "47-11")
    assert contents(book) == before
    with book.writing(BEN) as writing:
        assert exchange_serial(writing, unread["Harbour: L1"], "4711").joined
        assert not exchange_serial(writing, unread["Quay: L1"], "47-11", apart=True).joined
        add_lens(writing, "Harbour 50", "4711")
        known = book_lenses(writing.connection, [unread["Quay: L1"], LENS])
    assert {lens.serial for lens in known.values()} == {"4711", "47-11"}
    assert len(lens_history(book, LENS).measurements) == 4
