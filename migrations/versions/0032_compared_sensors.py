"""What sensors that stay at their bores differ by: the checks of them, and what was known at a look and a reading.

Rows from before say nothing of it, so their hashes stay what they were.

Revision ID: 0032
Revises: 0030
"""

import sqlalchemy as sa
from alembic import op

revision = "0032"
down_revision = "0030"


def upgrade() -> None:
    op.create_table(
        "channel_check",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("key", sa.Text(), nullable=False),
        sa.Column("payload", sa.Text(), nullable=False),
        sa.Column("seal", sa.Text(), nullable=False, server_default=sa.text("''")),
        sa.Column("channels", sa.Text(), nullable=False),
        sa.Column("kind", sa.Text(), nullable=False),
        sa.Column("bore", sa.Integer(), nullable=True),
        sa.Column("spread", sa.REAL(), nullable=True),
        sa.Column("depth", sa.REAL(), nullable=True),
        sa.Column("figures", sa.Text(), nullable=False),
        sa.Column("by", sa.Text(), nullable=False),
        sa.Column("at", sa.Text(), nullable=False),
        sa.CheckConstraint("kind IN ('ambient', 'tee', 'wiggle')", name=op.f("ck_channel_check_kind")),
        sa.CheckConstraint("(kind = 'wiggle') <> (bore IS NULL)", name=op.f("ck_channel_check_bore")),
        sa.CheckConstraint("(kind = 'wiggle') = (spread IS NULL)", name=op.f("ck_channel_check_spread")),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_channel_check")),
        sa.UniqueConstraint("key", name=op.f("uq_channel_check_key")),
        sqlite_strict=True,
    )
    op.create_index(op.f("ix_channel_check_channels"), "channel_check", ["channels"], unique=False)
    for verb in ("UPDATE", "DELETE"):
        op.execute(
            f'CREATE TRIGGER channel_check_no_{verb.lower()} BEFORE {verb} ON "channel_check" '
            "BEGIN SELECT RAISE(ABORT, 'channel_check rows are only ever added'); END"
        )
    op.add_column("look", sa.Column("check_id", sa.Integer(), nullable=True))
    op.execute(
        "ALTER TABLE reading ADD COLUMN alike REAL CONSTRAINT ck_reading_alike "
        "CHECK (alike IS NULL OR (alike >= 0 AND fixed = 1))"
    )
