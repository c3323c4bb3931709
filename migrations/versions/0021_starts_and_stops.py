"""When the engine was started and stopped, and what ended a stop: its cause and its remedy.

Revision ID: 0021
Revises: 0020
"""

import sqlalchemy as sa
from alembic import op

revision = "0021"
down_revision = "0020"


def text(name: str) -> sa.Column[str]:
    return sa.Column(name, sa.Text(), nullable=False)


def whole(name: str) -> sa.Column[int]:
    return sa.Column(name, sa.Integer(), nullable=False)


def make(table: str, *columns: sa.schema.SchemaItem) -> None:
    """A table of evidence of a visit with its columns, and its triggers."""
    op.create_table(
        table,
        whole("id"),
        text("key"),
        text("payload"),
        sa.Column("seal", sa.Text(), nullable=False, server_default=sa.text("''")),
        whole("visit_id"),
        *columns,
        text("by"),
        text("at"),
        sa.ForeignKeyConstraint(
            ["visit_id"], ["visit.id"], name=op.f(f"fk_{table}_visit_id_visit"), ondelete="RESTRICT"
        ),
        sa.PrimaryKeyConstraint("id", name=op.f(f"pk_{table}")),
        sa.UniqueConstraint("key", name=op.f(f"uq_{table}_key")),
        sqlite_strict=True,
    )
    op.create_index(op.f(f"ix_{table}_visit_id"), table, ["visit_id"], unique=False)
    for verb in ("UPDATE", "DELETE"):
        op.execute(
            f'CREATE TRIGGER {table}_no_{verb.lower()} BEFORE {verb} ON "{table}" '
            f"BEGIN SELECT RAISE(ABORT, '{table} rows are only ever added'); END"
        )


def upgrade() -> None:
    make(
        "engine_event",
        text("what"),
        whole("after_reading"),
        whole("after_check"),
        sa.CheckConstraint("what IN ('started', 'stopped')", name=op.f("ck_engine_event_what")),
    )
    make("stop_end", whole("after_check"), text("cause"), text("cause_text"), text("remedy"))
