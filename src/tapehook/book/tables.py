"""The tables of the book, the same on SQLite and PostgreSQL.

Records (see ``RECORDS``) are added and never changed: triggers of the database refuse it. What is derived from them
(see ``DERIVED``) may be thrown away and made anew. The migrations make these tables; a test holds the two against
each other.
"""

from collections.abc import Mapping

from sqlalchemy import (
    BigInteger,
    Column,
    Float,
    ForeignKey,
    Index,
    Integer,
    LargeBinary,
    MetaData,
    PrimaryKeyConstraint,
    Table,
    Text,
)

metadata = MetaData()

Id = LargeBinary(16)
"""16 bytes of a UUID."""

Words = Text().with_variant(Text(collation="C"), "postgresql")
"""Text that sorts by its bytes on both engines."""

book = Table(
    "book",
    metadata,
    Column("key", Text, primary_key=True),
    Column("value", Text, nullable=False),
)
"""What is said of this book alone and is not merged: its id, and when it was made."""

entry = Table(
    "entry",
    metadata,
    Column("id", Id, primary_key=True),
    Column("made_in", Id, nullable=False),
    Column("who", Text, nullable=False),
    Column("written_at", Text, nullable=False),
    Column("measured_at", Text),
    Column("body", Text),
    Column("temperature_c", Float(53)),
    Column("source", Text, nullable=False),
    Column("note", Text),
    sqlite_with_rowid=False,
)
"""One act of writing. ``made_in`` is the id of the book it was written in."""

lens = Table(
    "lens",
    metadata,
    Column("id", Id, primary_key=True),
    Column("model", Text),
    Column("serial", Text),
    Column("serial_plain", Words),
    Column("provisional", Text),
    Index("lens_by_serial", "serial_plain"),
    Index("lens_by_provisional", "provisional"),
    sqlite_with_rowid=False,
)
"""A lens as such. ``serial`` or ``provisional`` is given, never both; ``serial_plain`` has no case, spaces, dashes."""

job = Table(
    "job",
    metadata,
    Column("id", Id, primary_key=True),
    Column("name", Text, nullable=False),
    sqlite_with_rowid=False,
)

measurement = Table(
    "measurement",
    metadata,
    Column("lens_id", Id, ForeignKey("lens.id"), nullable=False),
    Column("id", Id, nullable=False),
    Column("entry_id", Id, ForeignKey("entry.id"), nullable=False),
    Column("job_id", Id, ForeignKey("job.id")),
    Column("row_id", Text),
    Column("kind", Text, nullable=False),
    Column("unit", Text),
    Column("body", Text),
    Column("data", Text, nullable=False),
    Column("ordinal", Integer, nullable=False),
    Column("fingerprint", Id, nullable=False),
    PrimaryKeyConstraint("lens_id", "id"),
    Index("measurement_by_job", "job_id"),
    sqlite_with_rowid=False,
)
"""A reading, chart test, light test or morning check. ``row_id`` is what the lens is called in the job, ``ordinal`` how
often the same was written there before; both are part of the fingerprint. The lens comes first in the key, so that what
is known of one lens lies together. A server holds what it names against the records once a statement."""

correction = Table(
    "correction",
    metadata,
    Column("id", Id, primary_key=True),
    Column("entry_id", Id, ForeignKey("entry.id"), nullable=False),
    Column("lens_id", Id, ForeignKey("lens.id"), nullable=False),
    Column("job_id", Id, ForeignKey("job.id")),
    Column("old_id", Id, nullable=False),
    Column("fingerprint", Id, nullable=False),
    Column("new_id", Id),
    Column("reason", Text, nullable=False),
    Index("correction_by_lens", "lens_id"),
    Index("correction_by_job", "job_id"),
    sqlite_with_rowid=False,
)
"""What stands in place of a measurement; without ``new_id`` it is withdrawn. ``fingerprint`` is the old one's."""

same_lens = Table(
    "same_lens",
    metadata,
    Column("id", Id, primary_key=True),
    Column("entry_id", Id, ForeignKey("entry.id"), nullable=False),
    Column("one_id", Id, ForeignKey("lens.id"), nullable=False),
    Column("other_id", Id, ForeignKey("lens.id"), nullable=False),
    Column("reason", Text, nullable=False),
    Column("undoes", Id),
    Index("same_lens_by_one", "one_id"),
    Index("same_lens_by_other", "other_id"),
    sqlite_with_rowid=False,
)
"""That two lenses are one; with ``undoes``, that such a record no longer holds."""

version = Table(
    "version",
    metadata,
    Column("id", Id, primary_key=True),
    Column("entry_id", Id, ForeignKey("entry.id"), nullable=False),
    Column("kind", Text, nullable=False),
    Column("thing_id", Id, nullable=False),
    Column("lens_id", Id, ForeignKey("lens.id")),
    Column("job_id", Id, ForeignKey("job.id")),
    Column("number", Integer, nullable=False),
    Column("data", Text, nullable=False),
    Column("rows", LargeBinary),
    Column("digest", Id, nullable=False),
    Index("version_by_thing", "thing_id"),
    Index("version_by_lens", "lens_id"),
    Index("version_by_job", "job_id"),
    Index("version_by_kind", "kind"),
    sqlite_with_rowid=False,
)
"""One version of something that is edited. ``rows`` are the fingerprints of a job's rows, 16 bytes each."""

version_parent = Table(
    "version_parent",
    metadata,
    Column("parent_id", Id, ForeignKey("version.id"), nullable=False),
    Column("version_id", Id, ForeignKey("version.id"), nullable=False),
    PrimaryKeyConstraint("parent_id", "version_id"),
    sqlite_with_rowid=False,
)

word = Table(
    "word",
    metadata,
    Column("id", BigInteger, primary_key=True, autoincrement=False),
    Column("text", Words, nullable=False),
    Index("word_by_text", "text"),
    sqlite_with_rowid=False,
)
"""A word of the search; its id is a hash of it."""

word_near = Table(
    "word_near",
    metadata,
    Column("near", BigInteger, nullable=False),
    Column("word_id", BigInteger, nullable=False),
    PrimaryKeyConstraint("near", "word_id"),
    sqlite_with_rowid=False,
)
"""Hashes of a word and of the word with each one letter left out: two words a slip apart have one in common."""

lens_word = Table(
    "lens_word",
    metadata,
    Column("word_id", BigInteger, nullable=False),
    Column("lens_id", Id, nullable=False),
    PrimaryKeyConstraint("word_id", "lens_id"),
    Index("lens_word_by_lens", "lens_id"),
    sqlite_with_rowid=False,
)

map_cache = Table(
    "map_cache",
    metadata,
    Column("lens_id", Id, primary_key=True),
    Column("basis", Id, nullable=False),
    Column("data", Text, nullable=False),
    sqlite_with_rowid=False,
)
"""The map of a lens as it was worked out, and a hash of all it rests on."""

RECORDS = (entry, lens, job, measurement, correction, same_lens, version, version_parent)
"""What a merge puts together, parents before children."""

DERIVED = (word, word_near, lens_word, map_cache)

CALLED = {
    "entry": ("act of writing", "acts of writing"),
    "lens": ("lens", "lenses"),
    "job": ("job", "jobs"),
    "measurement": ("reading or test", "readings and tests"),
    "correction": ("correction", "corrections"),
    "same_lens": ("word on which lenses are one", "words on which lenses are one"),
    "version": ("version of what is edited", "versions of what is edited"),
}
"""What one record of each table is called, and several; links between versions are not worth a word."""


def counted(counts: Mapping[str, int]) -> str:
    """Numbers of records by table in words: "2 lenses, 1 job"; empty for none."""
    parts = [(counts.get(name, 0), *called) for name, called in CALLED.items()]
    return ", ".join(f"{count:,} {one if count == 1 else many}" for count, one, many in parts if count)
