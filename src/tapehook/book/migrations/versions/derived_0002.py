"""Step 2: what is derived from the records, beside them: the words of the search and the maps worked out."""

import sqlalchemy as sa
from alembic import op

revision = "0002"
down_revision = "0001"

ID = sa.LargeBinary(16)
WORDS = sa.Text().with_variant(sa.Text(collation="C"), "postgresql")


def upgrade() -> None:
    """Make the derived tables, empty: a book of step 1 gets its words when it is next opened for writing."""
    op.create_table(
        "word",
        sa.Column("id", sa.BigInteger, primary_key=True, autoincrement=False),
        sa.Column("text", WORDS, nullable=False),
        sqlite_with_rowid=False,
    )
    op.create_index("word_by_text", "word", ["text"])
    op.create_table(
        "word_near",
        sa.Column("near", sa.BigInteger, nullable=False),
        sa.Column("word_id", sa.BigInteger, nullable=False),
        sa.PrimaryKeyConstraint("near", "word_id"),
        sqlite_with_rowid=False,
    )
    op.create_table(
        "lens_word",
        sa.Column("word_id", sa.BigInteger, nullable=False),
        sa.Column("lens_id", ID, nullable=False),
        sa.PrimaryKeyConstraint("word_id", "lens_id"),
        sqlite_with_rowid=False,
    )
    op.create_index("lens_word_by_lens", "lens_word", ["lens_id"])
    op.create_table(
        "map_cache",
        sa.Column("lens_id", ID, primary_key=True),
        sa.Column("basis", ID, nullable=False),
        sa.Column("data", sa.Text, nullable=False),
        sqlite_with_rowid=False,
    )
