"""People with PINs, the PINs that were tried, and the tablets that were let in.

Revision ID: 0006
Revises: 0005
"""

import sqlalchemy as sa
from alembic import op

revision = "0006"
down_revision = "0005"


def text(name: str) -> sa.Column[str]:
    return sa.Column(name, sa.Text(), nullable=False)


def make(table: str, *columns: sa.Column[str] | sa.Column[int], supersedes: bool) -> None:
    """A table of evidence with its columns, and its triggers."""
    superseding = [
        sa.Column("supersedes_id", sa.Integer(), nullable=True),
        sa.ForeignKeyConstraint(
            ["supersedes_id"], [f"{table}.id"], name=op.f(f"fk_{table}_supersedes_id_{table}"), ondelete="RESTRICT"
        ),
        sa.UniqueConstraint("supersedes_id", name=op.f(f"uq_{table}_supersedes_id")),
    ]
    op.create_table(
        table,
        sa.Column("id", sa.Integer(), nullable=False),
        text("key"),
        text("payload"),
        sa.Column("seal", sa.Text(), nullable=False, server_default=sa.text("''")),
        *columns,
        *(superseding if supersedes else ()),
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
    whole = sa.Integer()
    make("person", text("name"), text("pin"), sa.Column("active", whole, nullable=False), text("at"), supersedes=True)
    make("pin_try", text("name"), sa.Column("right", whole, nullable=False), text("at"), supersedes=False)
    op.create_index(op.f("ix_pin_try_name"), "pin_try", ["name"], unique=False)
    make(
        "tablet",
        text("name"),
        text("token"),
        sa.Column("active", whole, nullable=False),
        text("paired_at"),
        text("at"),
        supersedes=True,
    )
