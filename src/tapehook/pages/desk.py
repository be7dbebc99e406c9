"""The book as the pages see it: jobs as they stand now, prepared once for all who look, and what changed since.

Whatever is written through the server is known at once; what another program writes to the same book is looked for
once a second. Each change has a number; a page names the last one it saw and waits for the next.
"""

import asyncio
import secrets
import threading
import time
from collections import OrderedDict, defaultdict
from collections.abc import Callable, Iterable, Iterator, Sequence
from contextlib import contextmanager
from dataclasses import dataclass, replace
from functools import partial

from sqlalchemy import func, select

from tapehook.book import tables
from tapehook.book.jobs import JobDocument, document_id, on_cameras, rows_now, sign_offs_of
from tapehook.book.measuring import Measurement
from tapehook.book.shelving import starts_of
from tapehook.book.store import Book, Writer, Writing
from tapehook.book.versions import Thing, newest, thing
from tapehook.finding import sort_findings
from tapehook.job import ChartTest, Job, Lens, Reading
from tapehook.job.records import Axis
from tapehook.pages.remembered import MOST_JOBS, LensCache, Records, facts_of, singles_of
from tapehook.prep import LensPrep, Prep, prepare
from tapehook.prep.prepare import Batch, prepare_batch
from tapehook.prep.usual import usual_play

KNOWN_S = 5.0
SOON_S = 0.5
"""What is looked at while it is being written to may be so much behind, and says so by its stamp."""
SHOWN_S = 1.0
"""The same for what shows a whole job."""
FROM_OTHERS = ("twin.", "light.", "morning.", "job.out_of_range")
"""Findings on a lens that need others of the job beside it."""


@dataclass(frozen=True, slots=True)
class JobHead:
    """A job in a list: its key in an address, its name, who wrote to it last and when, and whether it is disputed."""

    key: str
    name: str
    who: str
    written_at: str
    in_conflict: bool


@dataclass(frozen=True)
class JobNow:
    """A job as it stands: records, the measurements behind them by kind, lenses of the book, cameras, sign-offs."""

    key: str
    id: bytes
    name: str
    thing: Thing
    job: Job
    rows: dict[str, list[Measurement]]
    lens_ids: dict[str, bytes]
    on_camera: dict[bytes, Thing]
    signed: tuple[Thing, ...]
    starts: dict[str, dict[bytes, bool]]
    """For each camera with a default shelf: the lenses that stand there, and whether they are pinned."""
    number: int
    read_at: float
    """When it was read, on the clock that only goes forward."""

    def lens_key(self, row_id: str) -> str:
        """The key of a lens in an address."""
        return self.lens_ids[row_id].hex()

    def row_of(self, key: str) -> str | None:
        """What the lens with that key is called in the job; None when it is not in it."""
        return next((row_id for row_id, lens_id in self.lens_ids.items() if lens_id.hex() == key), None)

    def lens(self, row_id: str) -> Lens:
        """The record of a lens."""
        return next(lens for lens in self.job.lenses if lens.id == row_id)

    def camera_of(self, row_id: str) -> str | None:
        """The camera a lens is on now, where somebody said so; else those that carry it, as the job has it."""
        return self.mounted_on(row_id) or self.lens(row_id).camera

    def mounted_on(self, row_id: str) -> str | None:
        """The camera a lens was put on, and not taken off since."""
        placed = self.on_camera.get(self.lens_ids[row_id])
        return placed.data.get("camera") if placed else None


class NotThere(Exception):
    """What was asked for is not in the book; the sentence says what."""


def _by_axis(readings: Iterable[Reading]) -> dict[str, dict[Axis, list[Reading]]]:
    found: dict[str, dict[Axis, list[Reading]]] = defaultdict(lambda: defaultdict(list))
    for reading in readings:
        found[reading.lens_id][reading.axis].append(reading)
    return found


def _same_rows(one: Job, other: Job, row_id: str) -> bool:
    """True when two states of a job say the same of a lens: by the very same records (see ``Records``)."""

    def rows(job: Job) -> list[int]:
        lists: tuple[Sequence[Reading | ChartTest], ...] = (job.readings, job.charts)
        measured = [id(record) for records in lists for record in records if record.lens_id == row_id]
        return [id(lens) for lens in job.lenses if lens.id == row_id] + measured

    return rows(one) == rows(other)


def _with_what_others_said(alone: LensPrep, before: LensPrep) -> LensPrep:
    """A lens prepared by itself, with the findings that came from other lenses when all were prepared last."""
    added = [one for one in before.findings if one.code.startswith(FROM_OTHERS)]
    return replace(alone, findings=tuple(sort_findings([*alone.findings, *added])), borrowed=before.borrowed)


class Desk:
    """One open book and what is kept of it in memory. Safe to be used from many threads."""

    def __init__(self, book: Book) -> None:
        self.book = book
        self.nonce = secrets.token_hex(4)
        self._number = 0
        self._changed: dict[str, int] = {}
        self._all_changed = 0
        self._known = self._records()
        self._jobs: OrderedDict[str, JobNow] = OrderedDict()
        self._preps: OrderedDict[str, tuple[int, Prep]] = OrderedDict()
        self._recent: OrderedDict[str, tuple[JobNow, Prep, float]] = OrderedDict()
        self._bytes: OrderedDict[tuple[str, str], tuple[int, bytes]] = OrderedDict()
        self._lenses = LensCache()
        self._done: dict[str, tuple[int, int]] = {}
        self._made = Records()
        self._lock = threading.RLock()
        self._making: dict[str, threading.Lock] = {}
        self._loop: asyncio.AbstractEventLoop | None = None
        self._bell: asyncio.Event | None = None

    # --- what changed ---

    def _records(self) -> tuple[bytes | None, int]:
        """The newest entry and how many there are: any writing by anybody changes one of both."""
        with self.book.reading() as connection:
            row = connection.execute(select(func.max(tables.entry.c.id), func.count())).one()
            return row[0], int(row[1])

    def touch(self, *topics: str) -> None:
        """Say that something changed: a job by its key, or "book" for lenses and shelves."""
        with self._lock:
            self._number += 1
            for topic in topics:
                self._changed[topic] = self._number
        self._ring()

    def look(self) -> None:
        """See whether another program wrote to the book; then everything may have changed."""
        found = self._records()
        with self._lock:
            if found == self._known:
                return
            self._known = found
            self._number += 1
            self._all_changed = self._number
        self._ring()

    def number_of(self, topics: Iterable[str]) -> int:
        """The number of the last change of any of these topics."""
        with self._lock:
            return max([self._all_changed, *(self._changed.get(topic, 0) for topic in topics)])

    def stamp(self) -> str:
        """The number of the last change of all, with the name of this server's run."""
        with self._lock:
            return f"{self.nonce}-{self._number}"

    def _ring(self) -> None:
        if self._loop is not None and self._bell is not None:
            self._loop.call_soon_threadsafe(self._wake)

    def _wake(self) -> None:
        bell, self._bell = self._bell, asyncio.Event()
        if bell is not None:
            bell.set()

    def listen(self) -> None:
        """Get ready to wake those who wait; called where the server's loop runs."""
        self._loop, self._bell = asyncio.get_running_loop(), asyncio.Event()

    async def changed(self, topics: Sequence[str], since: str, wait_s: float) -> bool:
        """Wait until one of the topics changed after ``since``, at most ``wait_s``; True when one did."""
        nonce, _, number = since.partition("-")
        if nonce != self.nonce or not number.isascii() or not number.isdigit():
            return True
        seen = int(number[:18])
        ends = asyncio.get_running_loop().time() + wait_s
        while self.number_of(topics) <= seen:
            left = ends - asyncio.get_running_loop().time()
            bell = self._bell
            if left <= 0 or bell is None:
                return False
            try:
                await asyncio.wait_for(bell.wait(), left)
            except TimeoutError:
                return False
        return True

    # --- jobs ---

    def heads(self) -> list[JobHead]:
        """All jobs, the one written to last first."""
        with self.book.reading() as connection:
            names = {row.id: row.name for row in connection.execute(select(tables.job))}
            found = newest(connection, tables.version.c.kind == "job")
        heads = [
            JobHead(job_id.hex(), names[job_id], one.now.who, one.now.written_at, one.in_conflict)
            for one in found.values()
            if (job_id := one.now.job_id) is not None and job_id in names
        ]
        return sorted(heads, key=lambda head: head.written_at, reverse=True)

    def job(self, key: str) -> JobNow:
        """A job as it stands now. Raises NotThere, BookRefusal and JobProblems."""
        number = self.number_of([key])
        with self._lock:
            kept = self._jobs.get(key)
        if kept is not None and kept.number == number:
            return kept
        with self._alone(f"job {key}"):
            with self._lock:
                kept = self._jobs.get(key)
            if kept is not None and kept.number == number:
                return kept
            made = self._read_job(key, number)
            with self._lock:
                self._jobs[key] = made
                self._jobs.move_to_end(key)
                while len(self._jobs) > MOST_JOBS:
                    self._jobs.popitem(last=False)
            return made

    def job_to_add_to(self, key: str, lens: str) -> JobNow:
        """A job that has a lens of that key, for a reading to be added: its measurements may be some seconds old.

        What a lens is does not change while it is measured, and the book itself sees to it that its unit does not.
        """
        with self._lock:
            kept = self._jobs.get(key)
        if kept is not None and time.monotonic() - kept.read_at < KNOWN_S and kept.row_of(lens) is not None:
            return kept
        return self.job(key)

    def _read_job(self, key: str, number: int) -> JobNow:
        try:
            job_id = bytes.fromhex(key)
        except ValueError:
            raise NotThere("There is no such job in this book.") from None
        with self.book.reading() as connection:
            name = connection.scalar(select(tables.job.c.name).where(tables.job.c.id == job_id))
            found = thing(connection, document_id(job_id))
            if name is None or found is None:
                raise NotThere("There is no such job in this book.")
            rows = rows_now(connection, found, found.now, self.book.name)
            lens_ids = {lens.row_id: lens.lens_id for lens in JobDocument.of(found.now).lenses}
            placed, signed = on_cameras(connection, job_id), sign_offs_of(connection, job_id)
            starts = starts_of(connection, job_id, set(lens_ids.values()))
        tables_ = {"readings": "reading", "charts": "chart", "tstops": "light", "morning": "morning"}
        measured = {field: tuple(map(self._made.of, rows[kind])) for field, kind in tables_.items()}
        job = self._made.job(found.now).model_copy(update={field: value for field, value in measured.items() if value})
        return JobNow(
            key, job_id, name, found, job, rows, lens_ids, placed, tuple(signed), starts, number, time.monotonic()
        )

    def prep(self, now: JobNow) -> Prep:
        """A job prepared; what is equal to an earlier time is not worked out again."""
        with self._lock:
            kept = self._preps.get(now.key)
        if kept is not None and kept[0] == now.number:
            return kept[1]
        with self._alone(f"prep {now.key}"):
            with self._lock:
                kept = self._preps.get(now.key)
            if kept is not None and kept[0] >= now.number:
                return kept[1]
            self._done[now.key] = (0, len(now.job.lenses))
            prep = prepare(now.job, run=partial(self._lenses.run, told=partial(self._count, now.key)))
            with self._lock:
                self._preps[now.key] = (now.number, prep)
                self._preps.move_to_end(now.key)
                while len(self._preps) > MOST_JOBS:
                    self._preps.popitem(last=False)
            return prep

    def _count(self, key: str, more: int) -> None:
        done, total = self._done[key]
        self._done[key] = (done + more, total)

    def progress(self, key: str) -> tuple[int, int]:
        """How many lenses of a job are worked out that is being prepared, and of how many; 0 of 0 before it begins."""
        return self._done.get(key, (0, 0))

    def is_prepared(self, key: str) -> bool:
        """True where a job is known and prepared as it stands now."""
        with self._lock:
            kept = self._preps.get(key)
        return kept is not None and kept[0] == self.number_of([key])

    def was_prepared(self, key: str) -> bool:
        """True where a job was prepared in this run, even if it was changed since."""
        with self._lock:
            return key in self._preps

    def known_job(self, key: str) -> JobNow | None:
        """A job as it was read last; None before that."""
        with self._lock:
            return self._jobs.get(key)

    def recent(self, key: str) -> tuple[JobNow, Prep]:
        """A job and what is known of it, both of one moment: now, or where it is written to all the time, just before.

        A page that shows the whole job need not follow each of ten readings a second; its stamp says how far it is.
        """
        now = self.job(key)
        with self._lock:
            kept = self._recent.get(key)
        if kept is not None and (kept[0].number == now.number or time.monotonic() - kept[2] < SHOWN_S):
            return kept[0], kept[1]
        prep = self.prep(now)
        with self._lock:
            self._recent[key] = (now, prep, time.monotonic())
            self._recent.move_to_end(key)
            while len(self._recent) > MOST_JOBS:
                self._recent.popitem(last=False)
        return now, prep

    def one_lens(self, now: JobNow, row_id: str) -> tuple[LensPrep, bool]:
        """One lens of a job, prepared, and whether all that other lenses say of it is in that already.

        Just after somebody typed it is worked out by itself, with what the others said of it before: so it is there at
        once, and all of it a moment later. A lens with chart tests waits for the others, as they share its budget.
        """
        with self._lock:
            kept = self._preps.get(now.key)
        if kept is None or kept[0] == now.number or time.monotonic() - now.read_at > SOON_S:
            return self.prep(now).lens(row_id), True
        before = next((entry for entry in kept[1].lenses if entry.lens.id == row_id), None)
        if before is not None and _same_rows(now.job, kept[1].job, row_id):
            return before, False
        if before is None or any(test.lens_id == row_id for test in now.job.charts):
            return self.prep(now).lens(row_id), True
        return _with_what_others_said(self._alone_prepared(now, row_id), before), False

    def _alone_prepared(self, now: JobNow, row_id: str) -> LensPrep:
        usual = usual_play(now.job.lenses, _by_axis(now.job.readings))
        whole = Batch(now.job, usual, any(lens.serial for lens in now.job.lenses), brief=False)
        single = next(one for one in singles_of(whole) if one.job.lenses[0].id == row_id)
        return self._lenses.one(prepare_batch, single, facts_of(whole))

    def made(self, what: str, now: JobNow, make: Callable[[], bytes]) -> bytes:
        """Bytes made of a job at one moment, made once for all who ask."""
        with self._lock:
            kept = self._bytes.get((what, now.key))
        if kept is not None and kept[0] == now.number:
            return kept[1]
        with self._alone(f"{what} {now.key}"):
            with self._lock:
                kept = self._bytes.get((what, now.key))
            if kept is not None and kept[0] == now.number:
                return kept[1]
            data = make()
            with self._lock:
                self._bytes[what, now.key] = (now.number, data)
                while len(self._bytes) > 3 * MOST_JOBS:
                    self._bytes.popitem(last=False)
            return data

    def stamp_of(self, now: JobNow) -> str:
        """The stamp of a job as it was at that moment."""
        return f"{self.nonce}-{now.number}"

    @contextmanager
    def _alone(self, what: str) -> Iterator[None]:
        """Only one thread at a time does the same piece of work; the others wait and find it done."""
        with self._lock:
            lock = self._making.setdefault(what, threading.Lock())
        with lock:
            yield

    # --- writing ---

    @contextmanager
    def writing(
        self, who: str, *topics: str, source: str = "pages", added: Sequence[Measurement] = ()
    ) -> Iterator[Writing]:
        """Write to the book as ``who``; when it is done, whoever looks at one of ``topics`` is told.

        ``added`` is a list that the writer fills when all it does is to add measurements to the job that is the first
        topic: then the job on the desk is gone on with, and not read anew.
        """
        with self.book.writing(Writer(who, source)) as writing:
            yield writing
        with self._lock:
            self._known = self._records()
            kept = self._jobs.get(topics[0]) if added else None
            is_newest = kept is not None and kept.number == self.number_of(topics[:1])
            self.touch(*topics)
            if kept is not None and is_newest:
                self._jobs[topics[0]] = self._grown(kept, added, self.number_of(topics[:1]))

    def _grown(self, kept: JobNow, added: Sequence[Measurement], number: int) -> JobNow:
        """The job with measurements more; those that somebody read from the book already are in it."""
        there = {one.fingerprint for listed in kept.rows.values() for one in listed}
        new = [one for one in added if one.fingerprint not in there]
        rows = {kind: [*listed, *(one for one in new if one.kind == kind)] for kind, listed in kept.rows.items()}
        fields = {"readings": "reading", "charts": "chart", "tstops": "light", "morning": "morning"}
        update = {field: tuple(map(self._made.of, rows[kind])) for field, kind in fields.items() if rows[kind]}
        job = kept.job.model_copy(update=update)
        return replace(kept, job=job, rows=rows, number=number, read_at=time.monotonic())
