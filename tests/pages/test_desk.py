"""What the server keeps in memory is what the book says: quick where somebody waits, and never another figure."""

import asyncio
import threading
import time
from collections.abc import Iterator, Sequence
from pathlib import Path

import pytest

from tapehook.book.jobs import load_job
from tapehook.book.store import new_book
from tapehook.book.working import measure
from tapehook.job import ChartTest, Reading
from tapehook.pages import desk as desk_module
from tapehook.pages.actions import Acts
from tapehook.pages.desk import Desk, JobNow, NotThere
from tapehook.pages.remembered import LensCache
from tapehook.prep import LensPrep, prep_as_json, prepare
from tapehook.prep.prepare import Batch, prepare_batch
from tests.pages.conftest import take_in_demo

TITLE = "Ninety Herons, prep"
WITH_CHARTS, WITHOUT = "L01", "L06"


@pytest.fixture
def desk(tmp_path: Path) -> Iterator[Desk]:
    """A desk with the demo job on it, prepared."""
    with new_book(str(tmp_path / "demo.book")) as book:
        take_in_demo(book)
        desk = Desk(book)
        desk.prep(_now(desk))
        yield desk


def _now(desk: Desk) -> JobNow:
    return desk.job(desk.heads()[0].key)


def _type(desk: Desk, row_id: str, distance_m: float, position: float) -> None:
    reading = Reading(lens_id=row_id, written=f"{distance_m} m", value=distance_m, position=position)
    with desk.writing("Ben", _now(desk).key) as writing:
        measure(writing, TITLE, row_id, [reading])


def test_a_job_on_the_desk_is_the_job_of_the_book(desk: Desk) -> None:
    """Before and after a reading: the same records, and the same findings as prepared from nothing."""
    for _ in range(2):
        job = load_job(desk.book, TITLE)
        assert _now(desk).job == job
        assert prep_as_json(desk.prep(_now(desk))) == prep_as_json(prepare(job))
        _type(desk, WITHOUT, 2.0, 77.0)


def test_a_job_gone_on_with_is_the_job_read_anew(desk: Desk) -> None:
    """Readings and chart tests added one by one by the desk's own acts: the job as the book gives it, in its order."""
    acts = Acts(desk)
    for at in range(4):
        reading = Reading(lens_id=WITHOUT, written=f"{2 + at} m", value=2.0 + at, position=77.0 - at)
        acts.add("Ben", _now(desk), WITHOUT, [reading], None)
        test = ChartTest(lens_id=WITHOUT, chart_distance_m=3.0, position=50.0 + at)
        acts.add("Ben", _now(desk), WITHOUT, [test], None)
        now = _now(desk)
        assert now.job == load_job(desk.book, TITLE)
        assert now.number == desk.number_of([now.key])
    again = Desk(desk.book).job(now.key)
    assert (again.job, again.rows) == (now.job, now.rows)


def test_one_lens_at_once_is_the_lens_of_the_whole(desk: Desk) -> None:
    """Just typed, a lens without charts is worked out by itself: marks, budgets and findings as with all others."""
    _type(desk, WITHOUT, 2.0, 77.0)
    now = _now(desk)
    quick, whole = desk.one_lens(now, WITHOUT)
    assert not whole
    exact = desk.prep(now).lens(WITHOUT)
    assert quick.marks == exact.marks
    assert quick.findings == exact.findings
    assert quick.assumptions == exact.assumptions
    assert [(view.stop, view.worst_text, view.budget.worst_own) for view in quick.budgets] == [
        (view.stop, view.worst_text, view.budget.worst_own) for view in exact.budgets
    ]


def test_a_lens_with_charts_waits_for_the_others(desk: Desk) -> None:
    """Its budget has the flange in it, which the tests of all lenses tell together."""
    _type(desk, WITH_CHARTS, 2.0, 30.0)
    now = _now(desk)
    entry, whole = desk.one_lens(now, WITH_CHARTS)
    assert whole
    assert entry is desk.prep(now).lens(WITH_CHARTS)


def test_a_lens_nobody_wrote_to_is_the_same_object(desk: Desk) -> None:
    """A reading of another lens works nothing of this one out anew."""
    before, _ = desk.one_lens(_now(desk), WITH_CHARTS)
    _type(desk, WITHOUT, 2.0, 77.0)
    after, _ = desk.one_lens(_now(desk), WITH_CHARTS)
    assert after is before


def test_what_is_a_moment_behind_says_so_and_catches_up(desk: Desk, monkeypatch: pytest.MonkeyPatch) -> None:
    """Written to all the time, the whole job is shown as it was just before, under the stamp of then; then as it is."""
    key = _now(desk).key
    desk.recent(key)
    _type(desk, WITHOUT, 2.0, 77.0)
    behind, prep = desk.recent(key)
    assert behind.number < _now(desk).number
    assert len(prep.job.readings) == len(behind.job.readings)
    monkeypatch.setattr(desk_module, "SHOWN_S", 0.0)
    caught_up, prep = desk.recent(key)
    assert caught_up.number == _now(desk).number
    assert prep.job.readings[-1].position == 77.0


def test_who_waits_is_woken_by_a_change(desk: Desk) -> None:
    """Of its own topic at once, from another thread; of another topic not; and for an old or odd stamp at once."""
    key = _now(desk).key

    async def wait() -> tuple[bool, bool, bool, float]:
        desk.listen()
        stamp = desk.stamp()
        idle = await desk.changed([key], stamp, 0.05)
        threading.Timer(0.05, desk.touch, ["other"]).start()
        other = await desk.changed([key], stamp, 0.2)
        threading.Timer(0.05, desk.touch, [key]).start()
        started = time.monotonic()
        own = await desk.changed([key], stamp, 5.0)
        return idle, other, own, time.monotonic() - started

    idle, other, own, waited_s = asyncio.run(wait())
    assert (idle, other, own) == (False, False, True)
    assert waited_s < 2.0
    for odd in ("", "x", "x-1", f"{desk.nonce}-", f"{desk.nonce}--1", f"{desk.nonce}-0"):
        assert asyncio.run(desk.changed([key], odd, 0.0))


def test_what_is_not_there_is_said(desk: Desk) -> None:
    """Keys of nothing, and keys that are none."""
    for key in ("0" * 32, "", "zz", "é"):
        with pytest.raises(NotThere):
            desk.job(key)


def test_lenses_worked_out_together_are_those_worked_out_alone(desk: Desk) -> None:
    """In portions or one by one, each lens comes out the same; what is known is not worked out again."""
    now = _now(desk)
    cache, told, asked = LensCache(), list[int](), list[int]()

    def work(batch: Batch) -> list[LensPrep]:
        asked.append(len(batch.job.lenses))
        return prepare_batch(batch)

    def run(_: object, batches: Sequence[Batch]) -> Iterator[list[LensPrep]]:
        return cache.run(work, batches, told.append)

    together, again, alone = prepare(now.job, run=run), prepare(now.job, run=run), prepare(now.job)
    assert (asked, told) == ([20, 4], [20, 4, 20, 4])
    assert [one.findings for one in together.lenses] == [one.findings for one in alone.lenses]
    assert [one.findings for one in again.lenses] == [one.findings for one in alone.lenses]
