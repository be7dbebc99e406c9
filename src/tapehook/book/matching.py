"""Who is who: which lens of the book each lens of a folder is, and what only a person can answer.

A lens is known by model and serial as written. One whose serial differs in case, spaces or dashes only is offered as
the same lens.
"""

from collections import defaultdict
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from typing import Literal

from sqlalchemy import Connection, select

from tapehook.book import tables
from tapehook.book.lenses import BookLens, facts_of, lens_id_of, lenses_of, plain_serial
from tapehook.book.trouble import BookProblem
from tapehook.job.records import Lens

Verdict = Literal["new", "matched", "serial read", "question"]


@dataclass(frozen=True, slots=True)
class Answers:
    """What a person says to the questions of an import; lenses by what they are called in the folder.

    ``same``: it is the lens it looks like; ``apart``: it is another. ``over``: the folder stands in place of what the
    book says of the job; ``join``: it stands in place of two versions that were in conflict.
    """

    same: frozenset[str] = frozenset()
    apart: frozenset[str] = frozenset()
    all_apart: bool = False
    over: bool = False
    join: bool = False


@dataclass(frozen=True, slots=True)
class LensPlan:
    """What becomes of one lens of the folder.

    ``like`` are lenses it may be the same as; ``differs`` the fields that the book says otherwise, with what it says
    and what the folder says: the book's stay as they are.
    """

    row: Lens
    verdict: Verdict
    lens_id: bytes | None
    like: tuple[BookLens, ...] = ()
    differs: tuple[tuple[str, str, str], ...] = ()
    beside: tuple[str, ...] = ()
    """Other rows of the folder with nearly the same serial."""


def plan_lenses(
    connection: Connection, rows: Sequence[Lens], known: Mapping[str, bytes], answers: Answers
) -> tuple[LensPlan, ...]:
    """Who is who, for all lenses of a folder."""
    named = {row.id: lens_id_of(row.model, row.serial) for row in rows if row.serial}
    book = lenses_of(connection, {*named.values(), *known.values()})
    alike = _alike(connection, [row.serial for row in rows if row.serial])
    plans = [_plan_lens(row, named.get(row.id), known.get(row.id), book, alike, answers) for row in rows]
    return tuple(_beside(plans, answers))


def _beside(plans: Sequence[LensPlan], answers: Answers) -> Iterator[LensPlan]:
    """The plans, with a question where two new lenses of the folder have serials that are written nearly alike."""
    written: dict[str, list[Lens]] = defaultdict(list)
    for one in plans:
        if one.verdict == "new" and one.row.serial:
            written[plain_serial(one.row.serial)].append(one.row)
    for one in plans:
        beside = [
            other.id
            for other in written.get(plain_serial(one.row.serial or ""), ())
            if other.serial != one.row.serial and _same_model(other.model, one.row.model)
        ]
        asked = one.verdict == "new" and beside and one.row.id not in answers.apart and not answers.all_apart
        yield replace(one, verdict="question", beside=tuple(beside)) if asked else one


def _alike(connection: Connection, serials: Sequence[str]) -> dict[str, list[BookLens]]:
    """Lenses of the book by their serial without case, spaces and dashes, for the serials asked for."""
    wanted = sorted({plain_serial(serial) for serial in serials})
    ids: dict[bytes, str] = {}
    for start in range(0, len(wanted), 500):
        where = tables.lens.c.serial_plain.in_(wanted[start : start + 500])
        ids |= {row.id: row.serial_plain for row in connection.execute(select(tables.lens).where(where))}
    found: dict[str, list[BookLens]] = defaultdict(list)
    lenses = lenses_of(connection, ids)
    for lens_id in sorted(ids):
        found[ids[lens_id]].append(lenses[lens_id])
    return found


def _plan_lens(
    row: Lens,
    named: bytes | None,
    known: bytes | None,
    book: Mapping[bytes, BookLens],
    alike: Mapping[str, list[BookLens]],
    answers: Answers,
) -> LensPlan:
    before = book.get(known) if known else None
    if named is None:
        # Nobody could read the serial: it is the lens of this row as long as that has none either.
        if before is not None and (before.serial is None or before.provisional):
            return LensPlan(row, "matched", before.id, differs=_differs(row, before))
        return LensPlan(row, "new", None)
    if named in book:
        found = book[named]
        if before is not None and before.serial is None:
            return LensPlan(row, "serial read", found.id, (before,), _differs(row, found))
        return LensPlan(row, "matched", found.id, differs=_differs(row, found))
    like = [one for one in alike.get(plain_serial(row.serial or ""), ()) if _same_model(row.model, one.model)]
    if before is not None and before.id in {one.id for one in like}:
        return LensPlan(row, "matched", before.id, (before,), _differs(row, before))
    if like and row.id in answers.same and len({one.id for one in like}) == 1:
        return LensPlan(row, "matched", like[0].id, tuple(like), _differs(row, like[0]))
    if like and row.id not in answers.apart and not answers.all_apart:
        return LensPlan(row, "question", None, tuple(like))
    if before is not None and before.serial is None:
        return LensPlan(row, "serial read", None, (before,))
    return LensPlan(row, "new", None)


def _same_model(one: str | None, other: str | None) -> bool:
    """True unless both models are known and differ by more than case, spaces and dashes."""
    return not one or not other or plain_serial(one) == plain_serial(other)


def _differs(row: Lens, found: BookLens) -> tuple[tuple[str, str, str], ...]:
    """Fields of the lens itself that the folder says otherwise than the book."""
    said = dict(found.facts.data) if found.facts else {}
    given = facts_of(row)
    return tuple(
        (name, str(said[name]), str(given[name]))
        for name in given
        if name in said and said[name] != given[name] and name not in {"unit", "reading_step", "units_per_turn"}
    )


def questions(plans: Sequence[LensPlan]) -> Iterator[BookProblem]:
    """One problem for each lens a person has to say something of."""
    for one in plans:
        if one.beside:
            said = (
                f"serial {one.row.serial} is nearly that of {', '.join(one.beside)} in the same folder. If it is one "
                f"lens, write the serial alike; if they are two: --apart {one.row.id}"
            )
            yield BookProblem(f"lens {one.row.id}", said, "serials that say which lens it is", read=one.row.serial)
        elif one.verdict == "question":
            like = " or ".join(dict.fromkeys(lens.title for lens in one.like))
            said = (
                f"serial {one.row.serial} may be {like} of the book, written otherwise. If it is: --same {one.row.id}; "
                f"if it is another lens: --apart {one.row.id}"
            )
            yield BookProblem(f"lens {one.row.id}", said, "one of both said", read=one.row.serial)
