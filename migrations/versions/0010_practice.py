"""Which engines are simulated, to practise on.

Revision ID: 0010
Revises: 0009
"""

import sqlalchemy as sa
from alembic import op

revision = "0010"
down_revision = "0009"


def upgrade() -> None:
    op.create_table(
        "practice",
        sa.Column("id", sa.Integer(), nullable=False),
        *(sa.Column(name, sa.Text(), nullable=False) for name in ("key", "payload")),
        sa.Column("seal", sa.Text(), nullable=False, server_default=""),
        *(sa.Column(name, sa.Integer(), nullable=False) for name in ("engine_id", "seed")),
        *(sa.Column(name, sa.Text(), nullable=False) for name in ("trouble", "at")),
        sa.ForeignKeyConstraint(
            ["engine_id"], ["engine.id"], name=op.f("fk_practice_engine_id_engine"), ondelete="RESTRICT"
        ),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_practice")),
        sa.UniqueConstraint("key", name=op.f("uq_practice_key")),
        sa.UniqueConstraint("engine_id", name=op.f("uq_practice_engine_id")),
        sqlite_strict=True,
    )
    for verb in ("UPDATE", "DELETE"):
        op.execute(
            f'CREATE TRIGGER practice_no_{verb.lower()} BEFORE {verb} ON "practice" '
            "BEGIN SELECT RAISE(ABORT, 'practice rows are only ever added'); END"
        )
