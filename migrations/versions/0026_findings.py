"""What was measured and seen beside the evening, to find why an engine runs uneven.

Revision ID: 0026
Revises: 0025
"""

import sqlalchemy as sa
from alembic import op

revision = "0026"
down_revision = "0025"

TABLE = "finding"


def text(name: str, *, missing: bool = False) -> sa.Column[str]:
    return sa.Column(name, sa.Text(), nullable=missing)


def number(name: str, *, missing: bool = False) -> sa.Column[int]:
    return sa.Column(name, sa.Integer(), nullable=missing)


def upgrade() -> None:
    op.create_table(
        TABLE,
        number("id"),
        text("key"),
        text("payload"),
        sa.Column("seal", sa.Text(), nullable=False, server_default=sa.text("''")),
        number("visit_id"),
        number("bore", missing=True),
        text("bank"),
        text("kind"),
        sa.Column("value", sa.REAL(), nullable=True),
        text("word", missing=True),
        text("why", missing=True),
        text("unit"),
        sa.Column("spread", sa.REAL(), nullable=True),
        text("source"),
        text("file", missing=True),
        number("after_move"),
        text("by"),
        text("at"),
        number("supersedes_id", missing=True),
        sa.CheckConstraint(
            "(value IS NOT NULL) + (word IS NOT NULL) + (why IS NOT NULL) = 1", name=op.f(f"ck_{TABLE}_one_of_three")
        ),
        sa.CheckConstraint("bore IS NULL OR bank = ''", name=op.f(f"ck_{TABLE}_one_place")),
        sa.ForeignKeyConstraint(
            ["visit_id"], ["visit.id"], name=op.f(f"fk_{TABLE}_visit_id_visit"), ondelete="RESTRICT"
        ),
        sa.ForeignKeyConstraint(
            ["supersedes_id"], [f"{TABLE}.id"], name=op.f(f"fk_{TABLE}_supersedes_id_{TABLE}"), ondelete="RESTRICT"
        ),
        sa.PrimaryKeyConstraint("id", name=op.f(f"pk_{TABLE}")),
        sa.UniqueConstraint("key", name=op.f(f"uq_{TABLE}_key")),
        sa.UniqueConstraint("supersedes_id", name=op.f(f"uq_{TABLE}_supersedes_id")),
        sqlite_strict=True,
    )
    op.create_index(op.f(f"ix_{TABLE}_visit_id"), TABLE, ["visit_id"], unique=False)
    for verb in ("UPDATE", "DELETE"):
        op.execute(
            f'CREATE TRIGGER {TABLE}_no_{verb.lower()} BEFORE {verb} ON "{TABLE}" '
            f"BEGIN SELECT RAISE(ABORT, '{TABLE} rows are only ever added'); END"
        )
