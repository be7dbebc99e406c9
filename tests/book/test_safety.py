"""Backups, restores, checks and migrations; and a lens opened with its map and its history."""

import json
from dataclasses import replace
from pathlib import Path

import pytest
from sqlalchemy import create_engine, insert, inspect, text, update

from tapehook.book import migrating, tables
from tapehook.book.backup import backup, restore, restore_at
from tapehook.book.checking import check, mend_derived
from tapehook.book.engine import engine_of, transaction
from tapehook.book.history import lens_history
from tapehook.book.ids import named_id
from tapehook.book.lenses import lens_id_of
from tapehook.book.maps import open_lens
from tapehook.book.measuring import correct, in_force
from tapehook.book.merging import merge
from tapehook.book.migrating import HEAD, REVISIONS, make_tables
from tapehook.book.place import place_of
from tapehook.book.search import find_lenses, index_lenses
from tapehook.book.store import Book, new_book, open_book
from tapehook.book.trouble import BookRefusal
from tapehook.book.working import measure
from tapehook.job import Job, Reading, read_job
from tapehook.prep import maps_as_json, prepare
from tests.book.fixtures import Books
from tests.book.kit import ANNA, DEMO, at, contents, demo, small, take_in

TEASEL = lens_id_of("Teasel 50", "50417")


def test_a_backup_is_a_book_of_its_own(books: Books, tmp_path: Path) -> None:
    """Whatever the engine, a file that opens, is sound, is found in, and has every record."""
    book = books()
    take_in(book, demo())
    copy = backup(book, tmp_path / "copy.book")
    with open_book(str(copy)) as opened:
        assert contents(opened) == contents(book)
        assert check(opened).faults == ()
        assert len(find_lenses(opened, "50 mm").lenses) == 2
    assert [path.name for path in tmp_path.glob("copy*")] == ["copy.book"]
    with pytest.raises(BookRefusal, match="already"):
        backup(book, copy)


def test_a_live_book_is_backed_up_as_it_was_at_one_moment(book: Book, tmp_path: Path) -> None:
    """While somebody is in the middle of writing, whose work is not in it by half."""
    take_in(book, small())
    before = contents(book)
    with book.writing(ANNA) as writing:
        measure(writing, "Harbour", "L1", [Reading(lens_id="L1", value=3.0, position=70.0)])
        copy = backup(book, tmp_path / "copy.book")
    with open_book(str(copy)) as opened:
        assert contents(opened) == before


def test_a_restore_keeps_the_book_before_it(books: Books, tmp_path: Path) -> None:
    """It asks before records are given up, keeps what was there in a file, and leaves a sound book."""
    book = books()
    take_in(book, small())
    copy = backup(book, tmp_path / "copy.book")
    wanted = contents(book)
    take_in(book, small("Pier"))
    with pytest.raises(BookRefusal, match=r"has what this backup has not \(1 act of writing, 1 job"):
        restore(book, copy)
    later = contents(book)
    restored = restore(book, copy, drop=True)
    assert contents(book) == wanted
    assert check(book).faults == ()
    assert restored.kept is not None
    with open_book(str(restored.kept)) as kept:
        assert contents(kept) == later
        merge(book, kept, ANNA)
    assert contents(book) == later
    restored.kept.unlink()


def test_a_backup_becomes_the_book_where_there_is_none(book: Book, tmp_path: Path) -> None:
    """On a new laptop."""
    take_in(book, small())
    copy = backup(book, tmp_path / "copy.book")
    restored = restore_at(str(tmp_path / "new" / "a.book"), copy)
    assert restored.kept is None
    with open_book(restored.name) as opened:
        assert contents(opened) == contents(book)


# --- migrations --------------------------------------------------------------------------------------------------


def test_the_steps_are_those_of_the_folder() -> None:
    """The list in the code names every module, in order."""
    folder = Path(migrating.__file__).parent / "migrations" / "versions"
    found = sorted(path.stem.rpartition("_")[2] for path in folder.glob("*_[0-9]*.py"))
    assert tuple(found) == REVISIONS


def test_an_older_book_is_backed_up_then_brought_up_to_date(tmp_path: Path) -> None:
    """A book of the first step: its records are there afterwards, it can be searched, and the backup is as it was."""
    path = tmp_path / "old.book"
    _old_book(path)
    with pytest.raises(BookRefusal, match="older version"):
        open_book(str(path), may_migrate=False)
    with open_book(str(path)) as book:
        assert check(book).faults == ()
        assert len(find_lenses(book, "4711").lenses) == 1
        with book.reading() as connection:
            assert connection.execute(text("SELECT version_num FROM alembic_version")).scalar_one() == HEAD
    (kept,) = tmp_path.glob("old.book.before-step-0001.*.backup")
    engine = engine_of(place_of(str(kept)))
    with transaction(engine, "kept", writes=False) as connection:
        assert not inspect(connection).has_table("word")
        assert connection.execute(text("SELECT serial FROM lens")).scalars().all() == ["4711"]
    engine.dispose()


def test_a_book_of_the_second_step_is_brought_up_to_date(
    books: Books, tmp_path: Path, monkeypatch: pytest.MonkeyPatch, request: pytest.FixtureRequest
) -> None:
    """On both engines: its lens is found as before, the backup opens, and a measurement of no lens is refused."""
    monkeypatch.setattr("tapehook.book.backup.data_folder", lambda: tmp_path)
    where = str(tmp_path / "old.book")
    if books.engine == "postgresql":
        where = request.getfixturevalue("server").make("second_step")
    else:
        new_book(where).close()
    engine = engine_of(place_of(where))
    with transaction(engine, where, writes=True) as connection:
        for table in inspect(connection).get_table_names():
            connection.execute(text(f"DROP TABLE {table}"))
    with transaction(engine, where, writes=True) as connection:
        make_tables(connection, where, "0002")
        connection.execute(insert(tables.book), {"key": "id", "value": "00" * 16})
        lens_id = lens_id_of("Harbour 50", "4711")
        lens = {"id": lens_id, "model": "Harbour 50", "serial": "4711", "serial_plain": "4711"}
        connection.execute(insert(tables.lens), {**lens, "provisional": None})
        index_lenses(connection, [lens_id])
    engine.dispose()
    with open_book(where) as book:
        assert len(find_lenses(book, "4711").lenses) == 1
        assert check(book).faults == ()
        take_in(book, small())
        row = (b"?" * 16, *next(iter(contents(book)["measurement"]))[1:])
        lost = dict(zip((column.name for column in tables.measurement.c), row, strict=True))
        with pytest.raises(BookRefusal), book.writing(ANNA) as writing:
            writing.connection.execute(insert(tables.measurement), lost)
    (kept,) = tmp_path.rglob("*.before-step-0002.*.backup")
    with open_book(str(kept)) as old:
        assert [one.lens.serial for one in find_lenses(old, "4711").lenses] == ["4711"]


def _old_book(path: Path) -> None:
    """A book as the first step left it, with a lens in it."""
    new_book(str(path)).close()
    engine = engine_of(place_of(str(path)))
    with transaction(engine, str(path), writes=True) as connection:
        for table in inspect(connection).get_table_names():
            connection.execute(text(f"DROP TABLE {table}"))
    with transaction(engine, str(path), writes=True) as connection:
        make_tables(connection, str(path), "0001")
        connection.execute(insert(tables.book), {"key": "id", "value": "00" * 16})
        lens = {"id": lens_id_of("Harbour 50", "4711"), "model": "Harbour 50", "serial": "4711", "serial_plain": "4711"}
        connection.execute(insert(tables.lens), {**lens, "provisional": None})
    engine.dispose()


def test_a_migration_that_fails_changes_nothing(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """All of it is taken back, and the backup is there all the same."""
    path = tmp_path / "old.book"
    _old_book(path)

    def fail(*_: object) -> None:
        raise OSError(28, "No space left on device")

    monkeypatch.setattr("tapehook.book.search.index_all", fail)
    with pytest.raises(BookRefusal, match="No space left"):
        open_book(str(path))
    engine = engine_of(place_of(str(path)))
    with transaction(engine, "old", writes=False) as connection:
        assert not inspect(connection).has_table("word")
    engine.dispose()


# --- checks ------------------------------------------------------------------------------------------------------


def test_a_search_or_map_out_of_step_is_found_and_mended(book: Book) -> None:
    """Both are caches: made anew without a record being touched."""
    take_in(book, demo())
    open_lens(book, TEASEL)
    before = contents(book)
    assert check(book).faults == ()
    with transaction(book.engine, book.name, writes=True) as connection:
        connection.execute(tables.lens_word.delete().where(tables.lens_word.c.lens_id == TEASEL))
        connection.execute(update(tables.map_cache).values(data=tables.map_cache.c.data.concat(" ")))
    assert {fault.code for fault in check(book).faults} == {"book.search", "book.map"}
    assert open_lens(book, TEASEL).map is not None
    mend_derived(book)
    assert check(book).faults == ()
    assert contents(book) == before


def test_rows_without_their_parents_are_found(book: Book) -> None:
    """A measurement of no lens, a version of no job: only a damaged file can have them."""
    take_in(book, small())
    row = {"id": b"x" * 16, "entry_id": b"y" * 16, "lens_id": b"z" * 16, "old_id": b"o" * 16}
    statement = insert(tables.correction).values(**row, fingerprint=b"f" * 16, reason="test")
    if book.place.path is None:
        with transaction(book.engine, book.name, writes=True) as connection:
            connection.execute(text("SET LOCAL session_replication_role = replica"))
            connection.execute(statement)
    else:
        engine = create_engine(f"sqlite:///{book.place.path}")  # one that does not look at references
        with engine.begin() as connection:
            connection.execute(statement)
        engine.dispose()
    assert "book.orphan" in {fault.code for fault in check(book).faults}


# --- maps and history --------------------------------------------------------------------------------------------


def test_a_lens_opens_with_the_map_that_prep_makes(book: Book) -> None:
    """The same figures as ``tapehook map`` on the folder, worked out once and kept."""
    take_in(book, demo())
    job = read_job(DEMO)
    lens = next(one for one in job.lenses if one.serial == "50417")
    rows = tuple(one for one in job.readings if one.lens_id == lens.id)
    alone = job.model_copy(update={"lenses": (lens,), "readings": rows})
    wanted = maps_as_json(prepare(alone))["lenses"][lens.id]
    first, second = open_lens(book, TEASEL), open_lens(book, TEASEL)
    for view in (first, second):
        assert view.map is not None
        assert view.map["grid"] == json.loads(json.dumps(wanted["grid"]))
        assert view.lens.title == "Teasel 50, serial 50417"
        assert [session.name for session in view.sessions] == ["Ninety Herons, prep"]
    assert first.findings == second.findings
    with book.reading() as connection:
        assert len(connection.execute(tables.map_cache.select()).all()) == 1


def test_a_map_follows_its_readings(book: Book) -> None:
    """A correction gives another map at once: what is kept is known by what it rests on."""
    take_in(book, demo())
    before = open_lens(book, TEASEL)
    with book.reading() as connection:
        old = next(one for one in in_force(connection, [TEASEL]) if one.kind == "reading")
    with book.writing(ANNA) as writing:
        record = old.record("x")
        assert isinstance(record, Reading)
        correct(writing, old.id, TEASEL, record.model_copy(update={"position": record.position + 0.3}), "read again")
    after = open_lens(book, TEASEL)
    assert before.map is not None
    assert after.map is not None
    assert before.map["grid"] != after.map["grid"]
    assert check(book).faults == ()


def years(book: Book) -> None:
    """The demo job three years running: the map scaled by 0.6 % and the play up by 0.6 deg in the last."""
    job = read_job(DEMO)
    for year, scale, play in ((2023, 1.0, 0.0), (2024, 1.0, 0.0), (2026, 1.006, 0.6)):
        rows = tuple(_moved(one, scale, play, index=3.0 * (year - 2023)) for one in job.readings)
        again = job.model_copy(update={"title": f"Job {year}", "readings": rows, "charts": ()})
        take_in(book, again, replace(ANNA, measured_at=at(year)))


def _moved(reading: Reading, scale: float, play: float, index: float) -> Reading:
    late = play if reading.approach == "far_to_near" else 0.0
    return reading.model_copy(update={"position": round(index + scale * reading.position + late, 2)})


def test_a_history_tells_what_changed_and_nothing_else(book: Book) -> None:
    """Drift and backlash of the third year are findings with their figures; a motor put on anew is none."""
    years(book)
    history = lens_history(book, TEASEL)
    assert [session.title for session in history.sessions] == [f"{y}-03-01, Job {y}" for y in (2023, 2024, 2026)]
    told = {(one.code, one.message.partition(" its ")[0]) for one in history.findings}
    quiet, grown = "Between 2023-03-01, Job 2023 and 2024-03-01, Job 2024", "and 2026-03-01, Job 2026"
    assert not [said for _, said in told if said.startswith(quiet)]
    assert {code for code, said in told if said.endswith(grown)} == {"history.map", "history.backlash"}
    same, changed, _ = history.changes
    assert same.copy is not None
    assert same.copy.offset == pytest.approx(3.0, abs=0.05)
    assert same.copy.after_offset[0] < same.copy.after_offset[1]
    assert changed.play is not None
    assert changed.play[0] == pytest.approx(0.6, abs=changed.play[1])
    assert all(one.subject == "Teasel 50, serial 50417" for one in history.findings)
    picture = history.picture()
    assert picture is not None
    assert "2023-03-01, Job 2023" in picture


def test_a_history_keeps_what_was_corrected(book: Book) -> None:
    """With who, when and why."""
    take_in(book, small())
    take_in(book, small(positions=(10.0, 61.0)), over=True)
    history = lens_history(book, lens_id_of("Harbour 50", "4711"))
    assert len(history.measurements) == 3
    (correction,) = history.corrections.values()
    assert (correction.who, correction.reason) == ("Anna", "the folder imported says otherwise")
    assert history.picture() is None


def test_no_such_lens(book: Book) -> None:
    """Said in words."""
    for look in (open_lens, lens_history):
        with pytest.raises(BookRefusal, match="no such lens"):
            look(book, named_id("nothing"))


def test_a_lens_that_was_never_measured(book: Book) -> None:
    """Opens without a map."""
    take_in(book, Job(title="Harbour", lenses=small().lenses))
    view = open_lens(book, lens_id_of("Harbour 50", "4711"))
    assert (view.session, view.map, view.sessions) == (None, None, ())
