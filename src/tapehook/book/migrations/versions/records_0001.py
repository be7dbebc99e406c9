"""Step 1: the records, and triggers that keep them as they are."""

import sqlalchemy as sa
from alembic import op

revision = "0001"
down_revision = None

ID = sa.LargeBinary(16)
WORDS = sa.Text().with_variant(sa.Text(collation="C"), "postgresql")
KEPT = ("entry", "lens", "job", "measurement", "correction", "same_lens", "version", "version_parent")


def _reference(name: str, table: str, *, nullable: bool = False) -> sa.Column[bytes]:
    return sa.Column(name, ID, sa.ForeignKey(f"{table}.id"), nullable=nullable)


def upgrade() -> None:
    """Make the tables of records."""
    op.create_table(
        "book",
        sa.Column("key", sa.Text, primary_key=True),
        sa.Column("value", sa.Text, nullable=False),
    )
    _make_roots()
    _make_measurements()
    _make_versions()
    _keep_records()


def _make_roots() -> None:
    op.create_table(
        "entry",
        sa.Column("id", ID, primary_key=True),
        sa.Column("made_in", ID, nullable=False),
        sa.Column("who", sa.Text, nullable=False),
        sa.Column("written_at", sa.Text, nullable=False),
        sa.Column("measured_at", sa.Text),
        sa.Column("body", sa.Text),
        sa.Column("temperature_c", sa.Float(53)),
        sa.Column("source", sa.Text, nullable=False),
        sa.Column("note", sa.Text),
        sqlite_with_rowid=False,
    )
    op.create_table(
        "lens",
        sa.Column("id", ID, primary_key=True),
        sa.Column("model", sa.Text),
        sa.Column("serial", sa.Text),
        sa.Column("serial_plain", WORDS),
        sa.Column("provisional", sa.Text),
        sqlite_with_rowid=False,
    )
    op.create_index("lens_by_serial", "lens", ["serial_plain"])
    op.create_index("lens_by_provisional", "lens", ["provisional"])
    op.create_table(
        "job",
        sa.Column("id", ID, primary_key=True),
        sa.Column("name", sa.Text, nullable=False),
        sqlite_with_rowid=False,
    )


def _make_measurements() -> None:
    op.create_table(
        "measurement",
        _reference("lens_id", "lens"),
        sa.Column("id", ID, nullable=False),
        _reference("entry_id", "entry"),
        _reference("job_id", "job", nullable=True),
        sa.Column("row_id", sa.Text),
        sa.Column("kind", sa.Text, nullable=False),
        sa.Column("unit", sa.Text),
        sa.Column("body", sa.Text),
        sa.Column("data", sa.Text, nullable=False),
        sa.Column("ordinal", sa.Integer, nullable=False),
        sa.Column("fingerprint", ID, nullable=False),
        sa.PrimaryKeyConstraint("lens_id", "id"),
        sqlite_with_rowid=False,
    )
    op.create_index("measurement_by_job", "measurement", ["job_id"])
    op.create_table(
        "correction",
        sa.Column("id", ID, primary_key=True),
        _reference("entry_id", "entry"),
        _reference("lens_id", "lens"),
        _reference("job_id", "job", nullable=True),
        sa.Column("old_id", ID, nullable=False),
        sa.Column("fingerprint", ID, nullable=False),
        sa.Column("new_id", ID),
        sa.Column("reason", sa.Text, nullable=False),
        sqlite_with_rowid=False,
    )
    op.create_index("correction_by_lens", "correction", ["lens_id"])
    op.create_index("correction_by_job", "correction", ["job_id"])
    op.create_table(
        "same_lens",
        sa.Column("id", ID, primary_key=True),
        _reference("entry_id", "entry"),
        _reference("one_id", "lens"),
        _reference("other_id", "lens"),
        sa.Column("reason", sa.Text, nullable=False),
        sa.Column("undoes", ID),
        sqlite_with_rowid=False,
    )
    op.create_index("same_lens_by_one", "same_lens", ["one_id"])
    op.create_index("same_lens_by_other", "same_lens", ["other_id"])


def _make_versions() -> None:
    op.create_table(
        "version",
        sa.Column("id", ID, primary_key=True),
        _reference("entry_id", "entry"),
        sa.Column("kind", sa.Text, nullable=False),
        sa.Column("thing_id", ID, nullable=False),
        _reference("lens_id", "lens", nullable=True),
        _reference("job_id", "job", nullable=True),
        sa.Column("number", sa.Integer, nullable=False),
        sa.Column("data", sa.Text, nullable=False),
        sa.Column("rows", sa.LargeBinary),
        sa.Column("digest", ID, nullable=False),
        sqlite_with_rowid=False,
    )
    for column in ("thing", "lens", "job"):
        op.create_index(f"version_by_{column}", "version", [f"{column}_id"])
    op.create_index("version_by_kind", "version", ["kind"])
    op.create_table(
        "version_parent",
        _reference("parent_id", "version"),
        _reference("version_id", "version"),
        sa.PrimaryKeyConstraint("parent_id", "version_id"),
        sqlite_with_rowid=False,
    )


def _keep_records() -> None:
    """Refuse, in the database itself, to change or delete a record."""
    sqlite = op.get_bind().dialect.name == "sqlite"
    if not sqlite:
        op.execute(
            "CREATE FUNCTION tapehook_kept() RETURNS trigger LANGUAGE plpgsql AS "
            "$$ BEGIN RAISE EXCEPTION 'a record of a book is never changed'; END $$"
        )
    for table in KEPT:
        for act in ("UPDATE", "DELETE"):
            head = f"CREATE TRIGGER {table}_kept_{act.lower()} BEFORE {act} ON {table}"
            if sqlite:
                op.execute(f"{head} BEGIN SELECT RAISE(ABORT, 'a record of a book is never changed'); END")
            else:
                op.execute(f"{head} FOR EACH STATEMENT EXECUTE FUNCTION tapehook_kept()")
