"""What people edit: lenses on cameras, camera builds, sign-offs, shelves and pins; and finding things again."""

import pytest

from tapehook.book.conflicts import conflicts
from tapehook.book.jobs import (
    BuildMotor,
    CameraBuild,
    builds_of,
    copy_builds,
    job_id_of,
    on_cameras,
    put_on_camera,
    save_build,
    sign_off,
    sign_offs_of,
)
from tapehook.book.lenses import lens_id_of, lenses_of, mark_lens, read_serial, tie
from tapehook.book.merging import merge
from tapehook.book.search import find_lenses, slips
from tapehook.book.shelves import (
    camera_shelf,
    change_shelf,
    new_shelf,
    on_shelf,
    put_on_shelf,
    set_camera_shelf,
    shelf_names,
    shelves,
    where_shelved,
)
from tapehook.book.store import Book
from tapehook.book.trouble import BookRefusal, StaleEdit
from tapehook.job import Motor
from tests.book.fixtures import Books
from tests.book.kit import ANNA, BEN, at, contents, demo, small, take_in

LENS = lens_id_of("Harbour 50", "4711")
JOB = job_id_of("Harbour")


@pytest.fixture
def harbour(book: Book) -> Book:
    """A book with a small job in it."""
    take_in(book, small())
    return book


def test_which_lens_is_on_which_camera_since_when(harbour: Book) -> None:
    """Put on, moved, taken off; whoever looked before the last move is told."""
    with harbour.writing(ANNA) as writing:
        first = put_on_camera(writing, JOB, LENS, "A", since=at(2026, 3, 1))
    with harbour.writing(BEN) as writing:
        put_on_camera(writing, JOB, LENS, "B", since=at(2026, 3, 2), seen=[first])
    with pytest.raises(StaleEdit, match="Ben"), harbour.writing(ANNA) as writing:
        put_on_camera(writing, JOB, LENS, None, seen=[first])
    with harbour.reading() as connection:
        now = on_cameras(connection, JOB)[LENS]
    assert now.data == {"camera": "B", "since": "2026-03-02T09:00:00.000000Z"}


def build(name: str = "Handheld", camera: str = "A") -> CameraBuild:
    """A camera build with a focus motor and an extra one."""
    slider = Motor(id="M4", camera=camera, axis="extra")
    motors = (
        BuildMotor(motor=Motor(id="M1", camera=camera)),
        BuildMotor(motor=slider, positions={"in": 0, "out": 87.5}),
    )
    return CameraBuild(name=name, camera=camera, body="A body", motors=motors, parts=("matte box",))


def test_last_jobs_builds_are_copied_to_a_new_one(harbour: Book) -> None:
    """With motors and named positions; what is there already is left alone, and copying again copies nothing."""
    take_in(harbour, small("Pier"))
    with harbour.writing(ANNA) as writing:
        save_build(writing, JOB, build())
        save_build(writing, JOB, build("Crane"))
        save_build(writing, job_id_of("Pier"), build("Crane").model_copy(update={"body": "another"}))
        assert copy_builds(writing, JOB, job_id_of("Pier")) == ["Handheld"]
        assert copy_builds(writing, JOB, job_id_of("Pier")) == []
    with harbour.reading() as connection:
        found = {one.name: one for one, _ in builds_of(connection, job_id_of("Pier"))}
    assert found["Handheld"] == build()
    assert found["Crane"].body == "another"


def test_only_an_extra_motor_has_named_positions(harbour: Book) -> None:
    """The rings have marks instead."""
    wrong = CameraBuild(name="X", camera="A", motors=(BuildMotor(motor=Motor(id="M1"), positions={"in": 1}),))
    with pytest.raises(BookRefusal, match="M1 drives focus, iris or zoom"), harbour.writing(ANNA) as writing:
        save_build(writing, JOB, wrong)


def test_a_sign_off_says_who_and_when(harbour: Book) -> None:
    """Of one check of one lens by one person at a time."""
    with harbour.writing(ANNA) as writing:
        sign_off(writing, JOB, "map", lens_id=LENS)
    with pytest.raises(StaleEdit, match="Anna"), harbour.writing(BEN) as writing:
        sign_off(writing, JOB, "map", lens_id=LENS)
    with harbour.reading() as connection:
        (found,) = sign_offs_of(connection, JOB)
    assert (found.data["check"], found.data["by"], found.data["outcome"]) == ("map", "Anna", "good")


def test_a_lens_signed_off_by_both_is_a_conflict_until_somebody_decides(books: Books) -> None:
    """Shown in both books alike, resolved by neither; a sign-off that has seen both ends it everywhere."""
    a, b = books(), books()
    take_in(a, small())
    merge(b, a, ANNA)
    for book, by in ((a, ANNA), (b, BEN)):
        with book.writing(by) as writing:
            sign_off(writing, JOB, "map", lens_id=LENS, outcome="good" if by is ANNA else "doubtful")
    (conflict,) = merge(a, b, ANNA).conflicts
    assert merge(b, a, BEN).conflicts == (conflict,)
    assert conflict.subject == "sign-off, map, Harbour 50, serial 4711, job Harbour"
    assert "Anna" in conflict.message
    assert "Ben" in conflict.message
    assert merge(a, b, ANNA).total == 0
    with a.reading() as connection:
        (both,) = sign_offs_of(connection, JOB)
    assert both.in_conflict
    with a.writing(ANNA) as writing:
        sign_off(writing, JOB, "map", lens_id=LENS, seen=both.seen)
    for book, other in ((a, b), (b, a)):
        merge(book, other, ANNA)
        with book.reading() as connection:
            assert conflicts(connection) == []


def test_one_provisional_serial_on_two_lenses_is_a_conflict(books: Books) -> None:
    """Two units had a lens nobody could read; whether it is one, a person says."""
    a, b = books(), books()
    for book in (a, b):
        take_in(book, small(serial=None))
    (conflict,) = merge(a, b, ANNA).conflicts
    assert conflict.code == "same_provisional_serial"
    assert "Harbour: L1" in conflict.subject
    one, other = conflict.ids
    with a.writing(ANNA) as writing:
        tie(writing, one, other, "same lens")
    with a.reading() as connection:
        assert conflicts(connection) == []


# --- shelves -----------------------------------------------------------------------------------------------------


def test_shelves_stand_in_shelves_and_pins_come_first(harbour: Book) -> None:
    """A lens, a strip and a build on nested shelves; found by the name of any shelf around it, also once renamed."""
    with harbour.writing(ANNA) as writing:
        room = new_shelf(writing, "Vault")
        case = new_shelf(writing, "Case 7", room)
        put_on_shelf(writing, "lens", LENS, case)
        put_on_shelf(writing, "strip", b"s" * 16, case, pinned=True)
        put_on_shelf(writing, "build", b"b" * 16, case)
    with harbour.reading() as connection:
        assert [one.item for one in on_shelf(connection, case)] == ["strip", "build", "lens"]
        assert shelf_names(connection, [LENS]) == {LENS: ["Vault / Case 7"]}
        vault = shelves(connection)[room]
    assert [one.lens.id for one in find_lenses(harbour, "vault").lenses] == [LENS]
    with harbour.writing(BEN) as writing:
        change_shelf(writing, vault, name="Cellar")
    assert [one.shelves for one in find_lenses(harbour, "cellar").lenses] == [("Cellar / Case 7",)]
    assert find_lenses(harbour, "vault").lenses == ()
    with harbour.writing(BEN) as writing:
        there = where_shelved(writing.connection, "lens", LENS)
        assert there is not None
        put_on_shelf(writing, "lens", LENS, None, seen=there.seen)
    assert find_lenses(harbour, "cellar").lenses == ()


def test_a_shelf_cannot_stand_in_itself(harbour: Book) -> None:
    """Nor in one that stands in it."""
    with harbour.writing(ANNA) as writing:
        outer = new_shelf(writing, "Outer")
        inner = new_shelf(writing, "Inner", outer)
        with pytest.raises(BookRefusal, match="in itself"):
            change_shelf(writing, shelves(writing.connection)[outer], parent=inner)


def test_two_books_may_move_two_shelves_into_each_other(books: Books) -> None:
    """After the merge the ring is cut where it closes, and everything on it is still found."""
    a, b = books(), books()
    with a.writing(ANNA) as writing:
        one, other = new_shelf(writing, "One"), new_shelf(writing, "Other")
    merge(b, a, ANNA)
    for book, moved, into in ((a, one, other), (b, other, one)):
        with book.writing(ANNA) as writing:
            change_shelf(writing, shelves(writing.connection)[moved], parent=into)
    merge(a, b, ANNA)
    with a.reading() as connection:
        assert {found.path for found in shelves(connection).values()} == {"Other / One", "One / Other"}


def test_a_camera_has_a_default_shelf(harbour: Book) -> None:
    """The next change of lens starts there."""
    with harbour.writing(ANNA) as writing:
        shelf = new_shelf(writing, "A cart")
        set_camera_shelf(writing, JOB, "A", shelf)
    with harbour.reading() as connection:
        found = camera_shelf(connection, JOB, "A")
        assert camera_shelf(connection, JOB, "B") is None
    assert found is not None
    assert found.data["shelf"] == shelf.hex()


# --- search ------------------------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    "typed, serials",
    [
        ("50 mm", {"50417", "50422"}),
        ("T1.3 50mm", {"50417", "50422"}),
        ("Heddle 21", {"H-0211"}),
        ("hedle 21", {"H-0211"}),
        ("ehddle 21", {"H-0211"}),
        ("h0211", {"H-0211"}),
        ("H 0211", {"H-0211"}),
        ("5041", {"50417"}),
        ("50471", {"50417"}),
        ("nothing of the kind", set()),
        ("", set()),
        ("serial not read", {None}),
    ],
)
def test_lenses_are_found_by_anything_said_of_them(book: Book, typed: str, serials: set[str | None]) -> None:
    """Focal length, stop, model, serial; a letter too many, too few, wrong or swapped is forgiven."""
    take_in(book, demo())
    assert {one.lens.serial for one in find_lenses(book, typed).lenses} == serials


def test_needs_work_is_found_and_no_longer_found_when_done(harbour: Book) -> None:
    """By the words for it, and by why."""
    for needs_work in (True, False):
        with harbour.writing(ANNA) as writing:
            mark_lens(writing, lenses_of(writing.connection, [LENS])[LENS], needs_work=needs_work, why="loose collar")
        for typed in ("needs work", "collar"):
            assert len(find_lenses(harbour, typed).lenses) == int(needs_work)


def test_a_lens_is_found_by_its_old_and_new_serial(book: Book) -> None:
    """Once, under the name it goes by now."""
    take_in(book, small(serial=None))
    (found,) = find_lenses(book, "serial not read").lenses
    with book.writing(BEN) as writing:
        read_serial(writing, found.lens.id, "4711")
    assert [one.lens.serial for one in find_lenses(book, "4711").lenses] == ["4711"]
    assert find_lenses(book, "serial not read").lenses == ()
    assert len(find_lenses(book, "harbour").lenses) == 1


@pytest.mark.parametrize(
    "one, other, count",
    [("harbour", "harbour", 0), ("harbour", "harbor", 1), ("harbour", "habrour", 1), ("harbour", "xarbour", 1),
     ("harbour", "harbourx", 1), ("harbour", "harbxux", 2), ("", "ab", 2), ("ab", "ba", 1)],
)  # fmt: skip
def test_slips_are_counted(one: str, other: str, count: int) -> None:
    """None, one, or two for more, whichever word comes first."""
    assert slips(one, other) == slips(other, one) == count


def test_a_search_changes_nothing(harbour: Book) -> None:
    """Looking is not an act of writing."""
    before = contents(harbour)
    find_lenses(harbour, "harbour")
    assert contents(harbour) == before
