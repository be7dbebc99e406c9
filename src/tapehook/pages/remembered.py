"""What the desk remembers of what it worked out: lenses by the records they come from, and those records themselves."""

import hashlib
import threading
from collections import OrderedDict, defaultdict
from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass, field, replace

from tapehook.book.jobs import JobDocument, job_in
from tapehook.book.measuring import Measured, Measurement
from tapehook.book.versions import Version
from tapehook.job import ChartTest, Job, Reading
from tapehook.prep import LensPrep
from tapehook.prep.prepare import Batch

MOST_LENSES = 2_000
"""Prepared lenses kept in memory; one is some tens of kilobytes."""
AT_A_TIME = 20
"""Lenses worked out together: so many that it is quick, so few that a page can say how far it is."""
MOST_JOBS = 20
MOST_MEASURED = 50_000


@dataclass
class LensCache:
    """Prepared lenses by all they depend on.

    Records are the same objects as long as they say the same (see ``Records``), so which objects a lens was prepared
    from tells whether it would come out the same; they are kept with it, so that none is taken for another.
    """

    kept: OrderedDict[tuple[object, ...], tuple[Batch, LensPrep]] = field(default_factory=OrderedDict)
    lock: threading.Lock = field(default_factory=threading.Lock)

    def run(
        self, work: Callable[[Batch], list[LensPrep]], batches: Sequence[Batch], told: Callable[[int], object] = abs
    ) -> Iterator[list[LensPrep]]:
        """Like ``map``, each lens worked out only where nothing equal was before; ``told`` how many are done at a time.

        Several that are to be worked out are so together, which is quicker than one by one.
        """
        for batch in batches:
            facts, singles, found = facts_of(batch), list(singles_of(batch)), list[LensPrep]()
            for at in range(0, len(singles), AT_A_TIME):
                some = singles[at : at + AT_A_TIME]
                found += self._several(work, some, facts)
                told(len(some))
            yield found

    def _several(
        self, work: Callable[[Batch], list[LensPrep]], singles: Sequence[Batch], facts: bytes
    ) -> list[LensPrep]:
        with self.lock:
            new = [one for one in singles if _key_of(one, facts) not in self.kept]
        if len(new) > 1:
            for single, made in zip(new, work(_together(new)), strict=True):
                self._keep(_key_of(single, facts), single, made)
        return [self.one(work, single, facts) for single in singles]

    def _keep(self, key: tuple[object, ...], single: Batch, made: LensPrep) -> None:
        with self.lock:
            self.kept[key] = (single, made)
            while len(self.kept) > MOST_LENSES:
                self.kept.popitem(last=False)

    def one(self, work: Callable[[Batch], list[LensPrep]], single: Batch, facts: bytes) -> LensPrep:
        """One lens of a batch whose ``facts`` are known."""
        key = _key_of(single, facts)
        with self.lock:
            found = self.kept.get(key)
            if found is not None:
                self.kept.move_to_end(key)
                return found[1]
        made = work(single)[0]
        self._keep(key, single, made)
        return made


def _key_of(single: Batch, facts: bytes) -> tuple[object, ...]:
    """What a prepared lens is kept under: the very records it comes from, and a hash of all else."""
    return (facts, *map(id, (*single.job.lenses, *single.job.readings, *single.job.charts)))


def _together(singles: Sequence[Batch]) -> Batch:
    """Lenses that were parted, as one batch again."""
    job = singles[0].job
    rows = {
        "lenses": tuple(lens for one in singles for lens in one.job.lenses),
        "readings": tuple(reading for one in singles for reading in one.job.readings),
        "charts": tuple(test for one in singles for test in one.job.charts),
    }
    return replace(singles[0], job=job.model_copy(update=rows))


def singles_of(batch: Batch) -> Iterator[Batch]:
    """The lenses of a batch one by one, each with its own rows alone, as a batch of many has them together."""
    readings: dict[str, list[Reading]] = defaultdict(list)
    charts: dict[str, list[ChartTest]] = defaultdict(list)
    for reading in batch.job.readings:
        readings[reading.lens_id].append(reading)
    for test in batch.job.charts:
        charts[test.lens_id].append(test)
    for lens in batch.job.lenses:
        own = {"lenses": (lens,), "readings": tuple(readings[lens.id]), "charts": tuple(charts[lens.id])}
        yield Batch(batch.job.model_copy(update=own), batch.usual, batch.serials_read, batch.brief)


def facts_of(batch: Batch) -> bytes:
    """A hash of all that a batch says beside its lenses and their rows."""
    rest = batch.job.model_copy(update={"lenses": (), "readings": (), "charts": ()})
    said = f"{rest!r}\0{batch.usual!r}\0{batch.serials_read}\0{batch.brief}"
    return hashlib.sha256(said.encode("utf-8", "surrogatepass")).digest()


class Records:
    """Records of measurements and documents, which never change in a book: made once, the same objects ever after."""

    def __init__(self) -> None:
        self._measured: OrderedDict[bytes, Measured] = OrderedDict()
        self._documents: OrderedDict[bytes, Job] = OrderedDict()
        self._lock = threading.Lock()

    def of(self, one: Measurement) -> Measured:
        """The record of a measurement."""
        with self._lock:
            found = self._measured.get(one.id)
            if found is None:
                found = self._measured[one.id] = one.record()
                while len(self._measured) > MOST_MEASURED:
                    self._measured.popitem(last=False)
            return found

    def job(self, version: Version) -> Job:
        """What a version of a job's document says, without measurements. Raises JobProblems."""
        with self._lock:
            found = self._documents.get(version.id)
        if found is None:
            found = job_in(JobDocument.of(version))
            with self._lock:
                found = self._documents.setdefault(version.id, found)
                while len(self._documents) > MOST_JOBS:
                    self._documents.popitem(last=False)
        return found
