"""Settings of the shop, version by version; a visit says by which it is judged.

Revision ID: 0008
Revises: 0007
"""

import sqlalchemy as sa
from alembic import op

revision = "0008"
down_revision = "0007"


def upgrade() -> None:
    op.create_table(
        "setup",
        sa.Column("id", sa.Integer(), nullable=False),
        *(sa.Column(name, sa.Text(), nullable=False) for name in ("key", "payload")),
        sa.Column("seal", sa.Text(), nullable=False, server_default=""),
        *(sa.Column(name, sa.Text(), nullable=False) for name in ("said", "why", "by", "at")),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_setup")),
        sa.UniqueConstraint("key", name=op.f("uq_setup_key")),
        sqlite_strict=True,
    )
    for verb in ("UPDATE", "DELETE"):
        op.execute(
            f'CREATE TRIGGER setup_no_{verb.lower()} BEFORE {verb} ON "setup" '
            "BEGIN SELECT RAISE(ABORT, 'setup rows are only ever added'); END"
        )
    op.add_column("visit", sa.Column("setup", sa.Integer(), nullable=True))
