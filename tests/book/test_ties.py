"""What ties a lens together is shown, and taken back: each lens has its own history again, in every book."""

import pytest

from tapehook.book.checking import check
from tapehook.book.conflicts import conflicts
from tapehook.book.history import lens_history
from tapehook.book.lenses import add_lens, lenses_of, read_serial, tie, untie
from tapehook.book.merging import merge
from tapehook.book.search import find_lenses
from tapehook.book.settling import say_apart, say_same
from tapehook.book.store import Book, Writer
from tapehook.book.ties import take_back, ties_of
from tapehook.book.trouble import BookRefusal
from tests.book.fixtures import Books
from tests.book.kit import ANNA, BEN, small, take_in

CLEO = Writer("Cleo", "untied")


def three(book: Book) -> list[bytes]:
    """Three lenses in the book, the first tied to the second and that to the third."""
    with book.writing(ANNA) as writing:
        ids = [add_lens(writing, "Harbour 50", serial) for serial in ("4711", "4712", "4713")]
        tie(writing, ids[0], ids[1], "looks alike")
        tie(writing, ids[2], ids[1], "looks alike too")
    return ids


def titles(book: Book) -> list[str]:
    """The lenses that a search finds."""
    return sorted(one.lens.title for one in find_lenses(book, "harbour", 10).lenses)


def test_a_misread_serial_is_taken_back(book: Book) -> None:
    """The tie is shown with who, why and both names; taken back, the readings are those of the lens without a serial,
    and the book is whole."""
    take_in(book, small(serial=None))
    (lens_id,) = [one.lens.id for one in find_lenses(book, "not read", 5).lenses]
    with book.writing(BEN) as writing:
        real = read_serial(writing, lens_id, "4711")
    with book.reading() as connection:
        (shown,) = ties_of(connection, real)
    assert (shown.who, shown.reason) == ("Ben", "its serial was read")
    assert {shown.one, shown.other} == {"Harbour 50, serial not read (Harbour: L1)", "Harbour 50, serial 4711"}
    with book.writing(CLEO) as writing:
        taken, lenses = take_back(writing, real, shown.id.hex()[-8:], "it was 4717")
    assert taken == shown
    assert {one.title for one in lenses} == {shown.one, shown.other}
    with book.reading() as connection:
        assert ties_of(connection, real) == ties_of(connection, lens_id) == ()
    assert sum(len(one.measurements) for one in lens_history(book, lens_id).sessions) > 0
    assert lens_history(book, real).sessions == ()
    assert len(titles(book)) == 2
    assert check(book).faults == ()
    with book.writing(BEN) as writing:
        right = read_serial(writing, lens_id, "4717")
        assert lenses_of(writing.connection, [lens_id])[lens_id].id == right


def test_a_lens_of_three_falls_apart_where_it_is_cut(book: Book) -> None:
    """One tie of two is taken back: the two others stay one, the words of all are right, whoever said it which way."""
    ids = three(book)
    with book.reading() as connection:
        listed = ties_of(connection, ids[0])
    assert [one.reason for one in listed] == ["looks alike", "looks alike too"]
    assert len(titles(book)) == 1
    with book.writing(CLEO) as writing:
        untie(writing, ids[1], ids[0], "named the other way round")
    with book.reading() as connection:
        assert ties_of(connection, ids[0]) == ()
        assert [one.reason for one in ties_of(connection, ids[1])] == ["looks alike too"]
    assert len(titles(book)) == 2
    assert check(book).faults == ()


def test_another_tie_holds_them_still(books: Books) -> None:
    """Three tied round, by two people apart: one tie less, and they are one lens as before."""
    one, other = books(), books()
    ids = three(one)
    with other.writing(BEN) as writing:
        for serial in ("4711", "4713"):
            add_lens(writing, "Harbour 50", serial)
        tie(writing, ids[0], ids[2], "one engraving")
    merge(one, other, ANNA)
    with one.reading() as connection:
        listed = ties_of(connection, ids[1])
    assert len(listed) == 3
    with one.writing(CLEO) as writing:
        _, lenses = take_back(writing, ids[0], listed[0].id.hex(), "no")
    assert [lens.ids for lens in lenses] == [frozenset(ids)]


def test_what_names_no_tie_is_refused(book: Book) -> None:
    """A wrong id, none, and that of both: refused with those there are, and nothing is written."""
    ids = three(book)
    for ending in ("zz", "", "ffffffffffffffff"):
        with pytest.raises(BookRefusal, match=r"no tie ends in .* There is .*4711"), book.writing(CLEO) as writing:
            take_back(writing, ids[0], ending, "no")
    with book.reading() as connection:
        assert len(ties_of(connection, ids[0])) == 2


def test_lenses_said_to_be_one_wait_again(books: Books) -> None:
    """One provisional serial in two books, said to be one lens, then taken back: they wait for a decision again, after
    a merge in the other book too, and can be said to be two."""
    one, other = books(), books()
    for book in (one, other):
        take_in(book, small(serial=None))
    merge(one, other, ANNA)
    with one.reading() as connection:
        (waiting,) = conflicts(connection)
    with one.writing(ANNA) as writing:
        say_same(writing, waiting)
    with one.reading() as connection:
        assert conflicts(connection) == []
        (said,) = ties_of(connection, waiting.ids[0])
    with one.writing(CLEO) as writing:
        take_back(writing, waiting.ids[0], said.id.hex(), "two after all")
    merge(other, one, BEN)
    for book in (one, other):
        with book.reading() as connection:
            assert [again.id for again in conflicts(connection)] == [waiting.id]
    with one.writing(ANNA) as writing:
        say_apart(writing, waiting)
    with one.reading() as connection:
        assert conflicts(connection) == []
