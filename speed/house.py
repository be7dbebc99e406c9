"""A rental house of any size, written straight into a book: lenses, jobs and readings as imports would have left them.

The rows are made as the book makes them, hashes and all, so that ``book check`` finds nothing; only the way in is
shorter. One number makes one lens, always the same, so that two books can share some of theirs.
"""

import hashlib
from collections.abc import Iterator, Sequence
from typing import Any

from tapehook.book import tables
from tapehook.book.engine import add_rows, bulk
from tapehook.book.ids import canonical
from tapehook.book.jobs import JobDocument, JobLens, document_id, job_id_of
from tapehook.book.lenses import FACTS, lens_id_of, plain_serial
from tapehook.book.measuring import fingerprint_of
from tapehook.book.search import index_lenses
from tapehook.book.store import Book, Writer
from tapehook.book.versions import version_digest

MODELS = ("Teasel", "Heddle", "Mattock", "Dibber", "Drawknife", "Harbour", "Linnet", "Pintle")
FOCALS = (18, 21, 25, 27, 32, 35, 40, 50, 65, 75, 85, 100, 135)
MARKS = ("inf", "20 m", "10 m", "6 m", "4 m", "3 m", "2.5 m", "2 m", "1.75 m", "1.5 m")
JOB_LENSES = 300
WRITTEN = "2026-01-01T00:00:00.000000Z"


def _id(kind: str, *numbers: int) -> bytes:
    """An id that the same numbers always give."""
    return hashlib.blake2b(f"{kind}{numbers}".encode(), digest_size=16).digest()


def lens_row(number: int) -> dict[str, Any]:
    """One lens as a row of a job folder."""
    focal = FOCALS[number % len(FOCALS)]
    model = f"{MODELS[number // len(FOCALS) % len(MODELS)]} {focal}"
    return {
        "id": f"L{number % JOB_LENSES:03d}",
        "focal_mm": float(focal),
        "t_stop": 1.5,
        "unit": "deg",
        "units_per_turn": 360.0,
        "close_focus_m": 1.5,
        "serial": f"{100_003 + 7 * number}",
        "model": model,
        "camera": "ABC"[number % 3],
    }


def readings_of(number: int) -> Iterator[dict[str, Any]]:
    """The readings of one lens: each mark both ways, with a little noise that its number decides."""
    for mark, text in enumerate(MARKS):
        distance_m = float("inf") if text == "inf" else float(text.split()[0])
        place = 0.0 if text == "inf" else 1.0 / (distance_m - 0.2)
        for way, approach in enumerate(("near_to_far", "far_to_near")):
            noise = ((number * 31 + mark * 17 + way * 7) % 23 - 11) / 60.0
            yield {
                "written": text,
                "value": distance_m,
                "position": round(10.0 + 300.0 * place + noise + 0.4 * way, 1),
                "approach": approach,
            }


def furnish(book: Book, numbers: Sequence[int], step: int = JOB_LENSES) -> None:
    """Write the lenses of these numbers, one job for each few hundred, into a book. Nothing is committed in between."""
    with book.writing(Writer("house", "speed")) as writing:
        bulk(writing.connection)
        for start in range(0, len(numbers), step):
            _furnish_job(writing.connection, numbers[start : start + step])


def _furnish_job(connection: Any, numbers: Sequence[int]) -> None:  # noqa: ANN401 - a connection
    name = f"Job {numbers[0] // JOB_LENSES}"
    job_id, entry_id = job_id_of(name), _id("entry", numbers[0])
    lenses, measured, versions, kit, order = [], [], [], [], []
    for number in numbers:
        row = lens_row(number)
        lens_id = lens_id_of(row["model"], row["serial"])
        lenses.append((lens_id, row["model"], row["serial"], plain_serial(row["serial"]), None))
        facts = {name: row[name] for name in FACTS if name in row}
        versions.append(_version(number, entry_id, "lens", lens_id, lens_id, None, facts, None))
        kit.append(JobLens(lens_id, row))
        for at, reading in enumerate(readings_of(number)):
            data = canonical(reading)
            fingerprint = fingerprint_of(job_id, row["id"], "reading", "deg", data, 0)
            order.append(fingerprint)
            measurement_id = _id("reading", number, at)
            own = (lens_id, measurement_id, entry_id, job_id, row["id"], "reading", "deg", "A", data, 0, fingerprint)
            measured.append(own)
    document = JobDocument(f'title = "{name}"\n', {}, tuple(kit), {"reading": tuple(order)})
    thing_id = document_id(job_id)
    versions.append(
        _version(numbers[0], entry_id, "job", thing_id, None, job_id, document.as_data(), document.packed())
    )
    entry = (entry_id, entry_id, "house", WRITTEN, None, None, None, "speed", None)
    add = _adder(connection)
    add(tables.entry, [entry])
    add(tables.lens, lenses)
    add(tables.job, [(job_id, name)])
    add(tables.measurement, sorted(measured))
    add(tables.version, versions)
    index_lenses(connection, [row[0] for row in lenses])


def _adder(connection: Any) -> Any:  # noqa: ANN401 - as above
    def add(table: Any, rows: Sequence[tuple[Any, ...]]) -> None:  # noqa: ANN401 - a table
        add_rows(connection, table, [column.name for column in table.c], rows, may_be_there=False)

    return add


def _version(
    number: int,
    entry_id: bytes,
    kind: str,
    thing_id: bytes,
    lens_id: bytes | None,
    job_id: bytes | None,
    data: dict[str, Any],
    rows: bytes | None,
) -> tuple[Any, ...]:
    said = canonical(data)
    content = version_digest(kind, data, rows)
    return (_id(kind, number), entry_id, kind, thing_id, lens_id, job_id, 1, said, rows, content)
