"""Live values: the standard error of a reading, the look that it was taken from, and who may send values.

Rows from before say nothing of it, so their hashes stay what they were.

Revision ID: 0025
Revises: 0024
"""

import sqlalchemy as sa
from alembic import op
from sqlalchemy.schema import SchemaItem

revision = "0025"
down_revision = "0024"


def text(name: str) -> sa.Column[str]:
    return sa.Column(name, sa.Text(), nullable=False)


def evidence(table: str, *columns: SchemaItem) -> None:
    """Make a table whose rows are only ever added."""
    op.create_table(
        table,
        sa.Column("id", sa.Integer(), nullable=False),
        text("key"),
        text("payload"),
        sa.Column("seal", sa.Text(), nullable=False, server_default=sa.text("''")),
        *columns,
        sa.PrimaryKeyConstraint("id", name=op.f(f"pk_{table}")),
        sa.UniqueConstraint("key", name=op.f(f"uq_{table}_key")),
        sqlite_strict=True,
    )
    for verb in ("UPDATE", "DELETE"):
        op.execute(
            f'CREATE TRIGGER {table}_no_{verb.lower()} BEFORE {verb} ON "{table}" '
            f"BEGIN SELECT RAISE(ABORT, '{table} rows are only ever added'); END"
        )


def upgrade() -> None:
    evidence(
        "look",
        sa.Column("visit_id", sa.Integer(), nullable=False),
        sa.Column("window", sa.REAL(), nullable=False),
        sa.Column("rate", sa.REAL(), nullable=False),
        sa.Column("speed", sa.REAL(), nullable=True),
        text("channels"),
        text("trace"),
        text("at"),
        sa.CheckConstraint("window > 0", name=op.f("ck_look_window")),
        sa.CheckConstraint("speed IS NULL OR speed > 0", name=op.f("ck_look_speed")),
        sa.ForeignKeyConstraint(["visit_id"], ["visit.id"], name=op.f("fk_look_visit_id_visit"), ondelete="RESTRICT"),
    )
    op.create_index(op.f("ix_look_visit_id"), "look", ["visit_id"], unique=False)
    evidence(
        "feed",
        text("name"),
        text("token"),
        sa.Column("active", sa.Integer(), nullable=False),
        text("at"),
        sa.Column("supersedes_id", sa.Integer(), nullable=True),
        sa.ForeignKeyConstraint(
            ["supersedes_id"], ["feed.id"], name=op.f("fk_feed_supersedes_id_feed"), ondelete="RESTRICT"
        ),
        sa.UniqueConstraint("supersedes_id", name=op.f("uq_feed_supersedes_id")),
    )
    op.execute(
        "ALTER TABLE reading ADD COLUMN sd REAL CONSTRAINT ck_reading_sd "
        "CHECK (sd IS NULL OR (sd > 0 AND sd < 1 AND value IS NOT NULL))"
    )
    op.add_column("reading", sa.Column("look_id", sa.Integer(), nullable=True))
