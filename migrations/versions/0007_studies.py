"""Studies of the meters, and the day of each one's next check.

Revision ID: 0007
Revises: 0006
"""

import sqlalchemy as sa
from alembic import op

revision = "0007"
down_revision = "0006"


def whole(name: str, nullable: bool = False) -> sa.Column[int]:
    return sa.Column(name, sa.Integer(), nullable=nullable)


def text(name: str) -> sa.Column[str]:
    return sa.Column(name, sa.Text(), nullable=False)


def points(table: str, column: str, other: str) -> sa.ForeignKeyConstraint:
    name = op.f(f"fk_{table}_{column}_{other}")
    return sa.ForeignKeyConstraint([column], [f"{other}.id"], name=name, ondelete="RESTRICT")


def evidence(table: str, *parts: sa.schema.SchemaItem) -> None:
    op.create_table(
        table,
        whole("id"),
        text("key"),
        text("payload"),
        sa.Column("seal", sa.Text(), nullable=False, server_default=""),
        *parts,
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
        "study",
        whole("meter_id"),
        whole("other_id", nullable=True),
        *(text(name) for name in ("place", "by", "at")),
        points("study", "meter_id", "meter"),
        points("study", "other_id", "meter"),
    )
    evidence(
        "study_reading",
        whole("study_id"),
        whole("meter_id"),
        whole("place"),
        sa.Column("value", sa.REAL(), nullable=False),
        *(text(name) for name in ("by", "at")),
        whole("supersedes_id", nullable=True),
        points("study_reading", "study_id", "study"),
        points("study_reading", "meter_id", "meter"),
        points("study_reading", "supersedes_id", "study_reading"),
        sa.UniqueConstraint("supersedes_id", name=op.f("uq_study_reading_supersedes_id")),
    )
    op.create_index(op.f("ix_study_reading_study_id"), "study_reading", ["study_id"], unique=False)
    evidence(
        "meter_due",
        whole("meter_id"),
        *(text(name) for name in ("due", "why", "by", "at")),
        points("meter_due", "meter_id", "meter"),
    )
    op.add_column("sign_off", sa.Column("after_study", sa.Integer(), nullable=True))
