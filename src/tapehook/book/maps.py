"""A lens of the book with its map: worked out by ``prep``, and kept as long as what it rests on stays the same.

The map is that of the newest session whose readings give one. Nothing of it is ever typed, and all of it may be thrown
away: it is a cache, beside a hash of the records, facts and version of the program that it came from.
"""

import json
from collections.abc import Collection, Sequence
from dataclasses import dataclass
from typing import Any

from sqlalchemy import Connection, delete, insert, select

from tapehook import __version__
from tapehook.book import tables
from tapehook.book.engine import transaction
from tapehook.book.ids import canonical, digest
from tapehook.book.lenses import BookLens, lenses_of
from tapehook.book.sessions import LENS, Session, sessions_of
from tapehook.book.shelves import shelf_names
from tapehook.book.store import Book
from tapehook.book.trouble import BookRefusal, refusal
from tapehook.finding import Figure, Finding

FEWEST_MARKS = 3
_METHOD = "1"
"""Changed by hand when maps come out otherwise within one version of the program."""


@dataclass(frozen=True, slots=True)
class LensView:
    """One lens of the book, opened: who it is, its sessions, and what the newest one with a map says.

    ``session`` is the one worked out, None where nothing was measured. ``map`` has the shape of one lens in
    ``tapehook map --json`` and ``prep`` that of one in ``tapehook prep --json``; both None without a session.
    """

    lens: BookLens
    sessions: tuple[Session, ...]
    shelves: tuple[str, ...]
    session: Session | None
    map: dict[str, Any] | None
    prep: dict[str, Any] | None
    findings: tuple[Finding, ...]


def open_lens(book: Book, lens_id: bytes) -> LensView:
    """One lens with its map, from the cache where that still holds. Raises BookRefusal when there is no such lens."""
    with book.reading() as connection:
        lens = lenses_of(connection, [lens_id]).get(lens_id)
        if lens is None:
            raise refusal(book.name, "there is no such lens in it", "a lens of the book")
        sessions = sessions_of(connection, lens)
        shelves = tuple(sorted({name for names in shelf_names(connection, lens.ids).values() for name in names}))
        kept = _kept(connection, lens)
    chosen = session_shown(sessions)
    if chosen is None:
        return LensView(lens, tuple(sessions), shelves, None, None, None, ())
    basis = basis_of(lens, chosen)
    content = kept[1] if kept and kept[0] == basis else None
    if content is None:
        content = _worked_out(lens, chosen)
        _keep(book, lens, basis, content)
    return _view(lens, sessions, shelves, chosen, content)


def session_shown(sessions: Sequence[Session]) -> Session | None:
    """The newest session with enough focus marks for a map, else the newest."""
    for session in reversed(sessions):
        if _marks(session) >= FEWEST_MARKS:
            return session
    return sessions[-1] if sessions else None


def _marks(session: Session) -> int:
    said = [json.loads(one.data) for one in session.measurements if one.kind == "reading"]
    return len({reading["value"] for reading in said if reading.get("axis", "focus") == "focus"})


def basis_of(lens: BookLens, session: Session) -> bytes:
    """Hash of all that the map of a session rests on."""
    facts = canonical(lens.facts.data) if lens.facts else ""
    own = sorted((one.kind, one.unit or "", one.data, one.ordinal) for one in session.measurements)
    rows = [part for row in own for part in map(str, row)]
    said = (facts, lens.model or "", lens.serial or "", session.unit, session.title)
    return digest("map", _METHOD, __version__, *said, *rows)[:16]


def _worked_out(lens: BookLens, session: Session) -> dict[str, Any]:
    from tapehook.prep import maps_as_json, prep_as_json, prepare

    prep = prepare(session.as_job(lens))
    return {
        "map": maps_as_json(prep)["lenses"][LENS],
        "prep": prep_as_json(prep)["lenses"][LENS],
        "findings": [finding.as_json() for finding in prep.lens(LENS).findings],
    }


def _view(
    lens: BookLens, sessions: Sequence[Session], shelves: tuple[str, ...], session: Session, content: dict[str, Any]
) -> LensView:
    findings = tuple(_finding(one, lens) for one in content["findings"])
    return LensView(lens, tuple(sessions), shelves, session, content["map"], content["prep"], findings)


def _finding(said: dict[str, Any], lens: BookLens) -> Finding:
    figure = Figure(**said["figure"]) if said["figure"] and said["figure"]["value"] is not None else None
    return Finding(**{**said, "subject": lens.title, "figure": figure})


# --- the cache ---------------------------------------------------------------------------------------------------


def _kept(connection: Connection, lens: BookLens) -> tuple[bytes, dict[str, Any] | None] | None:
    """What is kept for a lens: its basis, and the content unless that was damaged."""
    row = connection.execute(select(tables.map_cache).where(tables.map_cache.c.lens_id == lens.id)).first()
    return None if row is None else (row.basis, unsealed(row.data))


def sealed(content: dict[str, Any]) -> str:
    """Content as it is kept: its hash, then itself."""
    text = json.dumps(content, separators=(",", ":"), allow_nan=False)
    return f"{digest(text).hex()[:32]}{text}"


def unsealed(data: str) -> dict[str, Any] | None:
    """The content that was kept; None where it is not what its hash was made of."""
    seal, text = data[:32], data[32:]
    if seal != digest(text).hex()[:32]:
        return None
    content: dict[str, Any] = json.loads(text)
    return content


def _keep(book: Book, lens: BookLens, basis: bytes, content: dict[str, Any]) -> None:
    """Keep what was worked out, where nobody else writes just now: a cache is not worth a wait."""
    if book.read_only:
        return
    cache = tables.map_cache
    try:
        with transaction(book.engine, book.name, writes=True, waits=False) as connection:
            connection.execute(delete(cache).where(cache.c.lens_id == lens.id))
            connection.execute(insert(cache), {"lens_id": lens.id, "basis": basis, "data": sealed(content)})
    except BookRefusal:
        return  # somebody is writing, or the disk is full: it will be worked out again


def forget_maps(connection: Connection, lens_ids: Collection[bytes] | None = None) -> None:
    """Throw maps away: all, or those of some lenses."""
    cache = tables.map_cache
    chosen = delete(cache)
    connection.execute(chosen if lens_ids is None else chosen.where(cache.c.lens_id.in_(list(lens_ids))))
