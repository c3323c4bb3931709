"""How long a phase of a job took, where the record of it says something else.

Revision ID: 0024
Revises: 0023
"""

import sqlalchemy as sa
from alembic import op

revision = "0024"
down_revision = "0023"

TABLE = "hours_correction"


def text(name: str) -> sa.Column[str]:
    return sa.Column(name, sa.Text(), nullable=False)


def upgrade() -> None:
    op.create_table(
        TABLE,
        sa.Column("id", sa.Integer(), nullable=False),
        text("key"),
        text("payload"),
        sa.Column("seal", sa.Text(), nullable=False, server_default=sa.text("''")),
        sa.Column("visit_id", sa.Integer(), nullable=False),
        text("phase"),
        sa.Column("seconds", sa.REAL(), nullable=False),
        text("why"),
        text("by"),
        text("at"),
        sa.CheckConstraint("seconds >= 0", name=op.f(f"ck_{TABLE}_seconds")),
        sa.ForeignKeyConstraint(
            ["visit_id"], ["visit.id"], name=op.f(f"fk_{TABLE}_visit_id_visit"), ondelete="RESTRICT"
        ),
        sa.PrimaryKeyConstraint("id", name=op.f(f"pk_{TABLE}")),
        sa.UniqueConstraint("key", name=op.f(f"uq_{TABLE}_key")),
        sqlite_strict=True,
    )
    op.create_index(op.f(f"ix_{TABLE}_visit_id"), TABLE, ["visit_id"], unique=False)
    for verb in ("UPDATE", "DELETE"):
        op.execute(
            f'CREATE TRIGGER {TABLE}_no_{verb.lower()} BEFORE {verb} ON "{TABLE}" '
            f"BEGIN SELECT RAISE(ABORT, '{TABLE} rows are only ever added'); END"
        )
