"""How fast the engine runs in a round off idle.

Revision ID: 0018
Revises: 0017
"""

import sqlalchemy as sa
from alembic import op

revision = "0018"
down_revision = "0017"

TABLE = "opening_speed"


def points(column: str, other: str) -> sa.ForeignKeyConstraint:
    name = op.f(f"fk_{TABLE}_{column}_{other}")
    return sa.ForeignKeyConstraint([column], [f"{other}.id"], name=name, ondelete="RESTRICT")


def upgrade() -> None:
    op.create_table(
        TABLE,
        sa.Column("id", sa.Integer(), nullable=False),
        *(sa.Column(name, sa.Text(), nullable=False) for name in ("key", "payload")),
        sa.Column("seal", sa.Text(), nullable=False, server_default=""),
        sa.Column("round_id", sa.Integer(), nullable=False),
        sa.Column("speed", sa.REAL(), nullable=False),
        sa.Column("after_move", sa.Integer(), nullable=False),
        *(sa.Column(name, sa.Text(), nullable=False) for name in ("by", "at")),
        sa.Column("supersedes_id", sa.Integer(), nullable=True),
        sa.CheckConstraint("speed > 0", name=op.f(f"ck_{TABLE}_speed")),
        points("round_id", "round"),
        points("supersedes_id", TABLE),
        sa.PrimaryKeyConstraint("id", name=op.f(f"pk_{TABLE}")),
        sa.UniqueConstraint("key", name=op.f(f"uq_{TABLE}_key")),
        sa.UniqueConstraint("supersedes_id", name=op.f(f"uq_{TABLE}_supersedes_id")),
        sqlite_strict=True,
    )
    op.create_index(op.f(f"ix_{TABLE}_round_id"), TABLE, ["round_id"], unique=False)
    for verb in ("UPDATE", "DELETE"):
        op.execute(
            f'CREATE TRIGGER {TABLE}_no_{verb.lower()} BEFORE {verb} ON "{TABLE}" '
            f"BEGIN SELECT RAISE(ABORT, '{TABLE} rows are only ever added'); END"
        )
