"""The book when things go wrong: killed writers, many at once, a full disk, files that are cut, foreign or newer.

What was acknowledged is there, nothing is there by half, and whoever is refused is told why in words.
"""

import os
import resource
import shutil
import signal
import sqlite3
import subprocess
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from pathlib import Path
from random import Random
from tempfile import TemporaryDirectory

import pytest
from sqlalchemy import text

from speed.house import furnish
from tapehook.book.backup import backup, restore_at
from tapehook.book.checking import check
from tapehook.book.engine import APPLICATION_ID
from tapehook.book.ids import named_id
from tapehook.book.importing import carry_out, plan_import
from tapehook.book.jobs import find_job, job_names, load_job, rows_now
from tapehook.book.lenses import add_lens, lens_id_of
from tapehook.book.matching import Answers
from tapehook.book.measuring import add_measurements, of_lenses
from tapehook.book.merging import merge
from tapehook.book.store import Book, Writer, new_book, open_book
from tapehook.book.trouble import BookRefusal, StaleEdit
from tapehook.book.versions import edit, thing
from tapehook.job import Job, Lens, Reading
from tests.book.fixtures import Books, book, books, empty_file, server
from tests.book.kit import ANNA, BEN, as_folder, contents, small, take_in
from tests.cli.running import refused
from tests.faults.forked import NOBODY, Child, Tell, answer, fork, soon

__all__ = ["book", "books", "empty_file", "server"]

LENSES, MARKS = 12, 8
WRITERS, EACH = 20, 4
HOUSE = 150


def reading(number: int) -> Reading:
    """A reading like no other of the lens."""
    return Reading(lens_id="L1", value=1.0 + number / 1e3, position=number / 10.0)


def job_of_many(name: str) -> Job:
    """A job that takes some time to import."""
    ids = [f"L{k:02d}" for k in range(LENSES)]
    lenses = tuple(Lens(id=one, model="Harbour 50", serial=f"{name}-{one}", focal_mm=50.0) for one in ids)
    marks = tuple(Reading(lens_id=one, value=1.0 + k, position=10.0 * k) for one in ids for k in range(MARKS))
    return Job(title=name, lenses=lenses, readings=marks)


def write_on(where: str, name: str, tell: Tell) -> None:
    """Add readings and import jobs, one after the other, without end; tell each once it is acknowledged.

    All numbers are equally long: serials that differ by a space alone would be taken for one lens written otherwise.
    """
    with open_book(where) as found:
        tell("open")
        for number in range(10_000):
            with found.writing(Writer(name, "test")) as writing:
                lens_id = add_lens(writing, "Harbour 50", "4711")
                (made,) = add_measurements(writing, lens_id, [reading(number)])
            tell(f"reading {made.hex()}")
            take_in(found, job_of_many(f"{name} {number:04}"), Writer(name, "test"))
            tell(f"job {name} {number:04}")


def kill_writers(where: str, times: int, seed: int, fewest: int) -> int:
    """Kill a writer ``times`` times at a random moment; hold what it had told against the book. How much it told.

    On a busy machine a writer gets little done in its moment: until ``fewest`` things were told it goes on, eight times
    as often at most, and each writer lives longer.
    """
    chance, told = Random(seed), 0  # noqa: S311 - a test's dice
    for turn in range(8 * times):
        if turn >= times and told >= fewest:
            break
        child = fork(lambda tell, turn=turn: write_on(where, f"W{turn:03}", tell))  # type: ignore[misc]
        started = child.lines(end="open")
        assert started[:1] == ["open"], started
        soon(chance.uniform(0.0, 0.2) * (1 + turn // times))
        lines = [*started[1:], *child.kill()]
        assert not [line for line in lines if line.startswith("failed:")]
        told += len(lines)
        with open_book(where) as found:
            hold(found, lines)
            if turn % 8 == 7 or turn >= times - 1:
                assert check(found).faults == ()
    return told


def hold(found: Book, lines: list[str]) -> None:
    """Every acknowledged reading and job is there, and each job that is there is there as a whole."""
    with found.reading() as connection:
        there = {one.id.hex() for one in of_lenses(connection, [lens_id_of("Harbour 50", "4711")])}
        names = job_names(connection)
        newest = names[-3:]
        jobs = {name: find_job(connection, name, found.name)[1] for name in newest}
        rows = {name: rows_now(connection, one, one.now, name)["reading"] for name, one in jobs.items()}
        counted = connection.execute(text("SELECT count(*) FROM measurement WHERE job_id IS NOT NULL")).scalar_one()
    assert {line.split()[1] for line in lines if line.startswith("reading")} <= there
    assert {line.partition(" ")[2] for line in lines if line.startswith("job")} <= set(names)
    assert all(len(listed) == LENSES * MARKS for listed in rows.values())
    assert counted == LENSES * MARKS * len(names)


def test_writers_killed(books: Books) -> None:
    """25 writers killed in mid-write and mid-import (SQLite, and by their connection PostgreSQL)."""
    assert kill_writers(books.place(), 25 if books.engine == "sqlite" else 10, seed=1, fewest=5) >= 5


@pytest.mark.slow
def test_writers_killed_two_hundred_times(books: Books) -> None:
    """The same 200 times."""
    assert kill_writers(books.place(), 200, seed=2, fewest=25) >= 25


def merge_in(where: str, other: str, tell: Tell) -> None:
    """Merge one book into another; told when it begins and when it is acknowledged."""
    with open_book(where) as ours, open_book(other) as theirs:
        tell("open")
        merge(ours, theirs, BEN)
        tell("merged")


def test_merges_killed(books: Books) -> None:
    """Merges killed at a random moment, ever later: all of the other book is there or nothing; the next succeeds."""
    where, other = books.place(), books.place()
    with open_book(other) as theirs:
        furnish(theirs, range(HOUSE))
    with open_book(where) as ours:
        take_in(ours, small())
        before = {table: len(rows) for table, rows in contents(ours).items()}
    chance, killed = Random(3), 0  # noqa: S311 - a test's dice
    for turn in range(8):
        child = fork(lambda tell: merge_in(where, other, tell))
        assert child.lines(end="open")[:1] == ["open"]
        soon(0.05 * turn * chance.random())
        lines = child.kill()
        assert not [line for line in lines if line.startswith("failed:")]
        with open_book(where) as ours:
            now = {table: len(rows) for table, rows in contents(ours).items()}
            assert now["lens"] in {1, HOUSE + 1}
            assert (now == before) == (now["lens"] == 1)
            assert "merged" not in lines or now["lens"] == HOUSE + 1
            assert now["measurement"] == before["measurement"] + (20 * HOUSE if now["lens"] == HOUSE + 1 else 0)
            assert check(ours).faults == ()
        killed += now["lens"] == 1
        if now["lens"] == HOUSE + 1:
            break
    with open_book(where) as ours, open_book(other) as theirs:
        merge(ours, theirs, BEN)
        assert merge(ours, theirs, BEN).total == 0
        assert all(rows <= contents(ours)[table] for table, rows in contents(theirs).items())
        assert check(ours).faults == ()
    assert killed


def test_twenty_writers_at_once(books: Books) -> None:
    """20 processes on one book: every write is there, no edit lost, and each that came too late was told so."""
    where = books.place()
    counter, contested = named_id("counter"), named_id("contested")
    with open_book(where) as found, found.writing(ANNA) as writing:
        edit(writing, "lens_state", counter, {"count": 0})
        first = edit(writing, "lens_state", contested, {"by": "nobody"})

    def work(k: int, tell: Tell) -> None:
        with open_book(where) as own:
            for number in range(EACH):
                with own.writing(Writer(f"W{k}", "test")) as writing:
                    (made,) = add_measurements(writing, add_lens(writing, "Harbour 50", "4711"), [reading(number)])
                    now = thing(writing.connection, counter)
                    assert now is not None
                    edit(writing, "lens_state", counter, {"count": now.data["count"] + 1}, seen=now.seen)
                tell(f"reading {made.hex()}")
            try:
                with own.writing(Writer(f"W{k}", "test")) as writing:
                    edit(writing, "lens_state", contested, {"by": f"W{k}"}, seen=[first])
                tell("quickest")
            except StaleEdit as stale:
                tell("told" if "changed meanwhile by W" in str(stale) else f"failed: {stale}")

    children = [fork(lambda tell, k=k: work(k, tell)) for k in range(WRITERS)]  # type: ignore[misc]
    lines = [line for child in children for line in child.wait()]
    assert not [line for line in lines if line.startswith("failed:")]
    with open_book(where) as found:
        with found.reading() as connection:
            there = {one.id.hex() for one in of_lenses(connection, [lens_id_of("Harbour 50", "4711")])}
            count = thing(connection, counter)
        assert check(found).faults == ()
    assert {line.split()[1] for line in lines if line.startswith("reading")} == there
    assert len(there) == WRITERS * EACH
    assert count is not None
    assert (count.data["count"], len(count.versions)) == (WRITERS * EACH, 1)
    assert (lines.count("quickest"), lines.count("told")) == (1, WRITERS - 1)


# --- disks -------------------------------------------------------------------------------------------------------


def until_refused(where: str) -> tuple[str, int]:
    """Write until the book refuses: what it said, and how many jobs were acknowledged."""
    with open_book(where) as found:
        for number in range(1_000):
            try:
                take_in(found, job_of_many(f"J{number}"))
            except BookRefusal as refusal:
                return str(refusal), number
    return "never refused", 0


def assert_kept(where: str, acknowledged: int) -> None:
    """All that was acknowledged is there, the book is sound, and takes more once it can."""
    with open_book(where) as found:
        with found.reading() as connection:
            assert len(job_names(connection)) == acknowledged
        assert check(found).faults == ()
        take_in(found, job_of_many("once more"))


def test_a_limit_on_the_file(empty_file: Path, tmp_path: Path) -> None:
    """No file may grow beyond half a megabyte: what was acknowledged stays, what comes after is refused in words."""
    where = str(tmp_path / "a.book")
    shutil.copy(empty_file, where)

    def work() -> tuple[str, int]:
        signal.signal(signal.SIGXFSZ, signal.SIG_IGN)
        resource.setrlimit(resource.RLIMIT_FSIZE, (600_000, 600_000))
        return until_refused(where)

    said, acknowledged = answer(work)
    assert "nothing was written" in said
    assert acknowledged > 0
    assert_kept(where, acknowledged)


@contextmanager
def small_disk(folder: Path) -> Iterator[Path]:
    """A disk of two megabytes; a quota is as good, but only root may make either."""
    folder.mkdir()
    command = ["mount", "-t", "tmpfs", "-o", "size=2m,mode=777", "none", str(folder)]
    if subprocess.run(command, check=False, stderr=subprocess.DEVNULL).returncode:
        pytest.skip("this machine lets not even root mount a small disk; the limit above is tried all the same")
    try:
        yield folder
    finally:
        subprocess.run(["umount", folder], check=True)


@pytest.mark.skipif(os.geteuid() != 0, reason="only root may mount a small disk; the limit above is tried by anyone")
def test_a_full_disk(empty_file: Path, tmp_path: Path) -> None:
    """Refused with words; all that was acknowledged can be read from the full disk, and goes on once there is room."""
    with small_disk(tmp_path / "disk") as disk:
        where = str(disk / "a.book")
        shutil.copy(empty_file, where)
        said, acknowledged = answer(lambda: until_refused(where))
        assert "the disk is full: nothing was written, what is in the book is safe" in said
        (disk / "filler").write_bytes(b"")
        with (disk / "filler").open("wb", buffering=0) as filler:
            try:
                while True:
                    filler.write(b"x" * 4096)
            except OSError:
                pass

        def read() -> int:
            with open_book(where) as found, found.reading() as connection:
                return len(job_names(connection))

        assert answer(read) == acknowledged
        with pytest.raises(BookRefusal, match="nothing was written"), open_book(where) as found:
            take_in(found, job_of_many("no room"))
        with open_book(where) as found, pytest.raises(BookRefusal, match=r"No space left|full"):
            backup(found, disk / "copy.book")
        assert not (disk / "copy.book").exists()
        (disk / "filler").unlink()
        subprocess.run(["mount", "-o", "remount,size=8m", disk], check=True)
        assert_kept(where, acknowledged)


def test_a_file_that_may_only_be_read(empty_file: Path) -> None:
    """It is opened for reading and says so; nothing can be written, and not a byte of it changes."""
    with TemporaryDirectory() as name:
        folder = Path(name)
        where = folder / "a.book"
        shutil.copy(empty_file, where)
        with open_book(str(where)) as found:
            take_in(found, small())
            load_job(found, "Harbour")  # whoever may read nothing else cannot load what Python loads late
        folder.chmod(0o555)
        where.chmod(0o444)
        before = where.read_bytes()

        def work() -> tuple[str, str, int]:
            with open_book(str(where)) as found:
                job = load_job(found, "Harbour")
                try:
                    take_in(found, small("Another"))
                except BookRefusal as refusal:
                    return found.read_only, str(refusal), len(job.readings)
            return "", "", 0

        said, refusal, readings = answer(work, user=NOBODY)
        assert "may only be read" in said
        assert "opened for reading only, and nothing was written" in refusal
        assert readings == 2
        assert where.read_bytes() == before
        assert [path.name for path in folder.iterdir()] == ["a.book"]
        folder.chmod(0o755)


# --- files that are no book, or no longer ------------------------------------------------------------------------


@pytest.fixture
def full(empty_file: Path, tmp_path: Path) -> Path:
    """A book with something in it."""
    path = tmp_path / "full.book"
    shutil.copy(empty_file, path)
    with open_book(str(path)) as found:
        take_in(found, job_of_many("A"))
    return path


def _truncated(path: Path) -> None:
    path.write_bytes(path.read_bytes()[: path.stat().st_size // 2])


def _foreign(path: Path) -> None:
    path.unlink()
    connection = sqlite3.connect(path)
    connection.execute("CREATE TABLE song (name TEXT)")
    connection.commit()
    connection.close()


def _newer(path: Path) -> None:
    connection = sqlite3.connect(path)
    connection.execute("UPDATE alembic_version SET version_num = '9999'")
    connection.commit()
    connection.execute("PRAGMA wal_checkpoint(TRUNCATE)")
    connection.close()


def _text(path: Path) -> None:
    path.write_text("lens,serial\nL1,4711\n", encoding="utf-8")


def _empty(path: Path) -> None:
    path.write_bytes(b"")


def _folder(path: Path) -> None:
    path.unlink()
    path.mkdir()


DAMAGES: tuple[tuple[Callable[[Path], None], str], ...] = (
    (_truncated, "is cut short: it has"),
    (_foreign, "the database of another program"),
    (_newer, "written by a newer version of this program"),
    (_text, "this file is no book"),
    (_empty, "this file is no book"),
    (_folder, "cannot be opened"),
)


@pytest.mark.parametrize("damage, said", DAMAGES, ids=lambda one: getattr(one, "__name__", ""))
def test_what_is_no_book_is_refused(full: Path, tmp_path: Path, damage: Callable[[Path], None], said: str) -> None:
    """By each command, in words and exit code 2, and not a byte of it is changed."""
    damage(full)
    before = full.read_bytes() if full.is_file() else b""
    other = str(tmp_path / "good.book")
    new_book(other).close()
    asked: list[list[str | Path]] = [["find", "50"], ["check"], ["history", "50"], ["backup", tmp_path / "b"]]
    asked.append(["export", "A", tmp_path / "e"])
    for args in asked:
        (sentence,) = refused("book", *args, "--book", full)
        assert said in sentence
    for verb in ("merge", "restore"):
        (sentence,) = refused("book", verb, full, "--book", other)
        assert said in sentence
    assert (full.read_bytes() if full.is_file() else b"") == before
    with open_book(other) as found:
        assert not any(contents(found).values())


def test_a_byte_that_flipped_is_found(full: Path) -> None:
    """A reading that says something else than when it was written is found by its hash."""
    connection = sqlite3.connect(full)
    connection.execute("PRAGMA writable_schema=ON")
    connection.execute("DROP TRIGGER measurement_kept_update")
    connection.execute("UPDATE measurement SET data = replace(data, '\"position\":10.0', '\"position\":11.0')")
    connection.commit()
    connection.close()
    with open_book(str(full)) as found:
        (fault,) = check(found).faults
    assert fault.code == "book.fingerprint"
    assert f"{LENSES} measurements do not say what they said when written" in fault.message


def test_pages_overwritten_are_told(full: Path) -> None:
    """A stretch of the file overwritten by something else ends in words, whatever is asked."""
    with open_book(str(full)) as found, found.engine.connect() as connection:
        connection.exec_driver_sql("PRAGMA wal_checkpoint(TRUNCATE)")
    data = bytearray(full.read_bytes())
    for at in range(3 * 4096, len(data) - 4096, 2 * 4096):
        data[at : at + 4096] = b"\xa5" * 4096
    full.write_bytes(bytes(data))

    def look() -> bool:
        try:
            with open_book(str(full)) as found:
                return bool(check(found).faults)
        except BookRefusal as refusal:
            return "damaged" in str(refusal) or "no book" in str(refusal)

    assert look()


def test_a_damaged_book_gives_way_to_its_backup(full: Path, tmp_path: Path) -> None:
    """Only when that is said, as what it had beyond cannot be told; and the damaged file is kept."""
    with open_book(str(full)) as found:
        backup(found, tmp_path / "backup.book")
        wanted = contents(found)
    _truncated(full)
    for ending in ("-wal", "-shm"):
        Path(f"{full}{ending}").unlink(missing_ok=True)
    damaged = full.read_bytes()
    with pytest.raises(BookRefusal, match="say --drop"):
        restore_at(str(full), tmp_path / "backup.book")
    assert full.read_bytes() == damaged
    restored = restore_at(str(full), tmp_path / "backup.book", drop=True)
    assert restored.kept is not None
    assert restored.kept.read_bytes() == damaged
    with open_book(str(full)) as found:
        assert contents(found) == wanted


def test_a_damaged_backup_replaces_nothing(full: Path, tmp_path: Path) -> None:
    """The book stays as it was."""
    with open_book(str(full)) as found:
        copy = backup(found, tmp_path / "backup.book")
        wanted = contents(found)
    _truncated(copy)
    for drop in (False, True):
        with pytest.raises(BookRefusal, match="cut short"):
            restore_at(str(full), copy, drop=drop)
    with open_book(str(full)) as found:
        assert contents(found) == wanted


def test_the_header_tells_a_book(full: Path) -> None:
    """The id in the file's header is ours."""
    assert int.from_bytes(full.read_bytes()[68:72], "big") == APPLICATION_ID


def test_a_plan_is_refused_when_it_is_old(books: Books) -> None:
    """Somebody who imports what somebody else imported meanwhile under the same name is told, and nothing is lost."""
    found = books()
    take_in(found, small())
    with found.reading() as connection:
        folder = as_folder(small(positions=(10.0, 70.0)))
        plan = plan_import(connection, folder, Answers(over=True))
    take_in(found, small(positions=(11.0, 60.0)), over=True)
    before = contents(found)
    with pytest.raises(BookRefusal), found.writing(ANNA) as writing:
        carry_out(writing, plan, folder)
    assert contents(found) == before


def test_child_processes_are_told_of_their_failures() -> None:
    """A failure in a copied process is no success here."""
    child: Child = fork(lambda _: 1 / 0)  # type: ignore[arg-type]
    assert child.wait() == ["failed: ZeroDivisionError: division by zero"]
