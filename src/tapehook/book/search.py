"""Finding a lens by anything said of it, typing mistakes forgiven.

Each lens has words: its model, serial, focal length, widest stop, shelves, jobs and state. A word typed finds those
that are equal, that begin with it, or that are one slip away: a letter too many, too few, wrong, or two swapped. The
index keeps, for each word, hashes of it and of it with each one letter left out; two words a slip apart have one in
common (the deletion neighbourhood of T. Bocek, E. Hunt and B. Stiller, Fast similarity search in large dictionaries,
2007).
"""

import hashlib
import re
from collections import defaultdict
from collections.abc import Collection, Iterable, Iterator, Mapping, Sequence
from collections.abc import Set as AbstractSet
from dataclasses import dataclass

from sqlalchemy import Connection, Select, delete, exists, func, literal, select, union_all

from tapehook.book import tables
from tapehook.book.engine import insert_new
from tapehook.book.lenses import BookLens, groups_of, lenses_of, plain_serial
from tapehook.book.shelves import shelf_names, shelves, standing_in
from tapehook.book.store import Book
from tapehook.book.versions import newest, parts
from tapehook.notation import NotationError, parse_focal_length

FEWEST_LETTERS = 4
"""Shorter words are not forgiven a slip: 35 and 25 are two focal lengths."""
MOST_LETTERS = 40
MOST_FOUND = 50
_MOST_PREFIXED = 300
_CANDIDATES_EACH = 4
"""Lenses looked at for each that is shown, so that the nearest are among them."""
_COUNTED_TO = 2_000
_FEW_WORDS = 12
_FEWEST_BEGUN = 3
"""A shorter word that is one already is not taken for the beginning of another: 50 is a focal length, not a serial."""
_BATCH = 2_000
_WORD = re.compile(r"[^\W_]+(?:[.\-'][^\W_]+)*")
_EXACT = re.compile(r"\d+(?:\.\d+)?mm|t\d+(?:\.\d+)?")
"""Focal lengths and stops: another figure is another lens, and no slip."""


@dataclass(frozen=True, slots=True)
class FoundLens:
    """A lens found, ``slips`` away from what was typed, and the shelves it stands on."""

    lens: BookLens
    slips: int
    shelves: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class Found:
    """What was found, nearest first; ``more`` when there was too much to show all."""

    lenses: tuple[FoundLens, ...]
    more: bool


def words_in(text: str) -> Iterator[str]:
    """The words of a text: letters and digits, folded; a word with a point or dash in it also without."""
    for found in _WORD.findall(text):
        word = found.casefold()[:MOST_LETTERS]
        yield word
        bare = re.sub(r"[.\-']", "", word)
        if bare != word and not re.fullmatch(r"\d+\.\d+", word):
            yield bare
            yield from (part for part in re.split(r"[.\-']", word) if part)


def words_of(lens: BookLens, shelves: Iterable[str], jobs: Iterable[str]) -> set[str]:
    """All words a lens is found by."""
    facts = lens.facts.data if lens.facts else {}
    texts = [lens.model or "", lens.serial or "", lens.provisional or "", *shelves, *jobs]
    texts += ["serial not read provisional"] if not lens.serial else []
    texts += [f"needs work {lens.state.data.get('why', '')}"] if lens.needs_work and lens.state else []
    words = {word for text in texts for word in words_in(text)}
    if lens.serial:
        words.add(plain_serial(lens.serial)[:MOST_LETTERS])
    for name, unit in (("focal_mm", "mm"), ("focal_min_mm", "mm")):
        if facts.get(name):
            words |= {f"{facts[name]:g}", f"{facts[name]:g}{unit}"}
    if facts.get("focal_min_mm"):
        words.add(f"{facts['focal_min_mm']:g}-{facts['focal_mm']:g}")
    if facts.get("t_stop"):
        words.add(f"t{facts['t_stop']:g}")
    words.add(str(facts.get("kind", "prime")))
    return {word for word in words if word}


def word_id(word: str) -> int:
    """63 bits of a hash of a word."""
    return int.from_bytes(hashlib.blake2b(word.encode(), digest_size=8).digest(), "big") >> 1


def near_ids(word: str) -> set[int]:
    """Hashes of a word and, where a slip is forgiven, of it with each one letter left out."""
    found = {word_id(word)}
    if len(word) >= FEWEST_LETTERS and not _EXACT.fullmatch(word):
        found |= {word_id(word[:at] + word[at + 1 :]) for at in range(len(word))}
    return found


def slips(one: str, other: str) -> int:
    """Letters too many, too few, wrong or swapped with their neighbour, between two words: 0, 1, or 2 for more."""
    if one == other:
        return 0
    if abs(len(one) - len(other)) > 1:
        return 2
    at = next((i for i, (a, b) in enumerate(zip(one, other, strict=False)) if a != b), min(len(one), len(other)))
    one, other = one[at:], other[at:]
    swapped = one[:2] == other[1::-1] and len(one) > 1 and one[2:] == other[2:]
    return 1 if swapped or one[1:] == other[1:] or one[1:] == other or one == other[1:] else 2


# --- the index ---------------------------------------------------------------------------------------------------


def index_lenses(connection: Connection, lens_ids: Collection[bytes]) -> None:
    """Work out anew the words of lenses and of all ids tied to them."""
    groups = groups_of(connection, lens_ids)
    members = {member for group in groups.values() for member in group}
    for some in parts(members):
        connection.execute(delete(tables.lens_word).where(tables.lens_word.c.lens_id.in_(some)))
    for start in range(0, len(members), _BATCH):
        _index(connection, sorted(members)[start : start + _BATCH])


def index_all(connection: Connection) -> None:
    """Work out the words of all lenses anew."""
    for table in (tables.lens_word, tables.word_near, tables.word):
        connection.execute(delete(table))
    ids = sorted(connection.execute(select(tables.lens.c.id)).scalars())
    for start in range(0, len(ids), _BATCH):
        _index(connection, ids[start : start + _BATCH])


def _index(connection: Connection, lens_ids: Collection[bytes]) -> None:
    words: set[str] = set()
    pairs: list[dict[str, object]] = []
    for lens, own in all_words(connection, lens_ids):
        words |= own
        pairs += [{"word_id": word_id(word), "lens_id": lens.id} for word in own]
    insert_new(connection, tables.word, [{"id": word_id(word), "text": word} for word in words])
    near = [{"near": key, "word_id": word_id(word)} for word in words for key in near_ids(word)]
    insert_new(connection, tables.word_near, near)
    insert_new(connection, tables.lens_word, pairs)


def all_words(connection: Connection, lens_ids: Collection[bytes]) -> list[tuple[BookLens, set[str]]]:
    """The lenses that go by these ids, with the words the records give them now."""
    lenses = {lens.id: lens for lens in lenses_of(connection, lens_ids).values()}
    members = {member: lens.id for lens in lenses.values() for member in lens.ids}
    names = shelf_names(connection, members)
    jobs = _jobs_of(connection, members)
    found = []
    for lens in lenses.values():
        on = {name for member in lens.ids for name in names.get(member, ())}
        used = {name for member in lens.ids for name in jobs.get(member, ())}
        found.append((lens, words_of(lens, on, used)))
    return found


def _jobs_of(connection: Connection, lens_ids: Collection[bytes]) -> Mapping[bytes, set[str]]:
    """Names of the jobs that lenses were measured in."""
    found: dict[bytes, set[bytes | None]] = defaultdict(set)
    measured, job = tables.measurement, tables.job
    for some in parts(lens_ids):
        # Two statements, not a join: each can use one key only, whatever the engine thinks of the tables' sizes.
        chosen = select(measured.c.lens_id, measured.c.job_id).where(measured.c.lens_id.in_(some))
        for lens_id, job_id in connection.execute(chosen.distinct()):
            found[lens_id].add(job_id)
    names: dict[bytes | None, str] = {}
    for some in parts({one for listed in found.values() for one in listed if one is not None}):
        names |= {
            row.id: row.name for row in connection.execute(select(job.c.id, job.c.name).where(job.c.id.in_(some)))
        }
    return {lens_id: {names[one] for one in listed if one in names} for lens_id, listed in found.items()}


# --- finding -----------------------------------------------------------------------------------------------------


def find_lenses(book: Book, text: str, limit: int = MOST_FOUND) -> Found:
    """Lenses that have every word typed, nearest first. Nothing typed finds nothing."""
    terms = list(dict.fromkeys(found.casefold()[:MOST_LETTERS] for found in _WORD.findall(_with_focal(text))))
    with book.reading() as connection:
        candidates = _candidates(connection, terms) if terms else []
        if not terms or not all(candidates):
            return Found((), more=False)
        most = _CANDIDATES_EACH * limit
        scores = _matching(connection, candidates, most)
        ranked = _ranked(connection, scores)
        lenses = lenses_of(connection, [lens_id for _, lens_id in ranked[:limit]])
        shown = [(lenses[lens_id], rank) for rank, lens_id in ranked[:limit]]
        names = shelf_names(connection, {member for lens, _ in shown for member in lens.ids})
        found = tuple(
            FoundLens(lens, rank, tuple(sorted({name for one in lens.ids for name in names.get(one, ())})))
            for lens, rank in shown
        )
        return Found(found, more=len(ranked) > limit or len(scores) >= most)


def _with_focal(text: str) -> str:
    """The text, a focal length with its unit as one word: "50 mm" is "50mm"."""
    try:
        parse_focal_length(text)
    except NotationError:
        pass
    else:
        text = text.replace(" ", "")
    return re.sub(r"(?<=\d)\s+mm\b", "mm", text)


def _candidates(connection: Connection, terms: Sequence[str]) -> list[dict[int, int]]:
    """For each term the words it may mean, by id, with how far off: equal, then beginning with it, then a slip away."""
    found = _near_words(connection, terms)
    begun = _begun_words(
        connection,
        [term for term in terms if len(term) >= _FEWEST_BEGUN or 0 not in found[term].values()],
    )
    for term, word_ids in begun.items():
        for word in word_ids:
            found[term][word] = min(1, found[term].get(word, 1))
    return [found[term] for term in terms]


def _near_words(connection: Connection, terms: Sequence[str]) -> dict[str, dict[int, int]]:
    """Words that are a term (0) or a slip away from it (2), for each term; all looked up at once."""
    keys: dict[int, list[str]] = defaultdict(list)
    for term in terms:
        for key in near_ids(term):
            keys[key].append(term)
    found: dict[str, dict[int, int]] = {term: {} for term in terms}
    word, near = tables.word, tables.word_near
    joined = near.join(word, word.c.id == near.c.word_id)
    for row in connection.execute(
        select(near.c.near, word.c.id, word.c.text).select_from(joined).where(near.c.near.in_(keys))
    ):
        for term in keys[row.near]:
            off = slips(term, row.text)
            if off < 2:
                found[term][row.id] = 0 if off == 0 else 2
    return found


def _begun_words(connection: Connection, terms: Sequence[str]) -> dict[str, list[int]]:
    """Words that begin with a term, up to a limit, for each term; all looked up at once."""
    if not terms:
        return {}
    word, each = tables.word, []
    for at, term in enumerate(terms):
        some = select(literal(at).label("at"), word.c.id).where(word.c.text >= term, word.c.text < term + "\U0010ffff")
        each.append(select(some.limit(_MOST_PREFIXED).subquery()))
    found: dict[str, list[int]] = {term: [] for term in terms}
    for row in connection.execute(union_all(*each)):
        found[terms[row.at]].append(row.id)
    return found


def _matching(connection: Connection, candidates: list[dict[int, int]], most: int) -> dict[bytes, list[int]]:
    """Lenses with a word for every term, with how far each term is off; the rarest term is looked up first.

    Of very many only some are looked at, those with that term as it was typed before any others.
    """
    counts = _counts(connection, candidates) if len(candidates) > 1 else [0]
    order = sorted(range(len(candidates)), key=counts.__getitem__)
    first, rest = candidates[order[0]], [candidates[at] for at in order[1:]]
    scores: dict[bytes, list[int]] = {}
    for off in (0, 1, 2):
        words = [word for word, far in first.items() if far == off]
        if words and len(scores) < most:
            for lens_id in _with_all(connection, [words, *rest], most):
                scores.setdefault(lens_id, [off])
    if rest:
        own = _words_among(connection, scores, {word for others in rest for word in others})
        for lens_id, offs in scores.items():
            offs += [min(others[word] for word in own[lens_id] if word in others) for others in rest]
    return scores


def _words_among(
    connection: Connection, lens_ids: Collection[bytes], words: Collection[int]
) -> Mapping[bytes, list[int]]:
    """Which of some words each lens has."""
    own: dict[bytes, list[int]] = defaultdict(list)
    lens_word = tables.lens_word
    for some in parts(lens_ids):
        # As a sum no index fits the word: the few words of each lens are looked at.
        where = (lens_word.c.lens_id.in_(some), (lens_word.c.word_id + 0).in_(words))
        for pair in connection.execute(select(lens_word.c.lens_id, lens_word.c.word_id).where(*where)):
            own[pair.lens_id].append(pair.word_id)
    return own


def _with_all(connection: Connection, terms: Sequence[Collection[int]], most: int) -> list[bytes]:
    """Lenses that have one of the words of each term, up to a limit."""
    lens_word = tables.lens_word
    chosen: Select[bytes] = select(lens_word.c.lens_id).where(lens_word.c.word_id.in_(terms[0]))
    for others in terms[1:]:
        also = lens_word.alias()
        # As a sum no index fits the word: the few words of the lens are looked at, not the many words of the term.
        word = also.c.word_id if len(others) < _FEW_WORDS else also.c.word_id + 0
        chosen = chosen.where(exists().where(also.c.lens_id == lens_word.c.lens_id, word.in_(others)))
    return [row[0] for row in connection.execute(chosen.limit(most))]


def _ranked(connection: Connection, scores: Mapping[bytes, Sequence[int]]) -> list[tuple[int, bytes]]:
    """Lenses with how far they are off, the nearest first, then by model and serial."""
    lens = tables.lens
    chosen = select(lens.c.id, lens.c.model, lens.c.serial)
    found = [
        (sum(scores[row.id]), row.model or "", row.serial or "", row.id)
        for some in parts(scores)
        for row in connection.execute(chosen.where(lens.c.id.in_(some)))
    ]
    return [(rank, lens_id) for rank, _, _, lens_id in sorted(found)]


def _counts(connection: Connection, candidates: Sequence[Mapping[int, int]]) -> list[int]:
    """For each term, how many lenses have one of its words, counted up to a limit; all at once."""
    lens_word, each = tables.lens_word, []
    for words in candidates:
        some = select(lens_word.c.lens_id).where(lens_word.c.word_id.in_(words)).limit(_COUNTED_TO).subquery()
        each.append(select(func.count()).select_from(some).scalar_subquery())
    return list(connection.execute(select(*each)).one())


def shelf_changed(connection: Connection, shelf_ids: AbstractSet[bytes]) -> None:
    """Work out anew the words of the lenses on shelves that were renamed or moved, and on those in them."""
    on = newest(connection, tables.version.c.kind == "on_shelf")
    known = shelves(connection)
    wanted = {shelf_id.hex() for shelf_id in known if shelf_ids & set(standing_in(known, shelf_id))}
    lens_ids = {one.now.lens_id for one in on.values() if one.data.get("shelf") in wanted and one.now.lens_id}
    index_lenses(connection, lens_ids)
