"""Programs of others with access, what was written through them, and what changed, in order.

Revision ID: 0027
Revises: 0026
"""

import sqlalchemy as sa
from alembic import op

revision = "0027"
down_revision = "0026"

WATCHED = (
    *("engine", "fitting", "meter", "visit", "round", "reading", "opening_speed", "move", "check", "override"),
    *("sign_off", "correction", "engine_event", "stop_end", "hours_correction", "study", "study_reading"),
    *("meter_due", "setup", "practice"),
)
"""What programs are told of: everything but people, PINs, and who has access."""


def text(name: str) -> sa.Column[str]:
    return sa.Column(name, sa.Text(), nullable=False)


def number(name: str) -> sa.Column[int]:
    return sa.Column(name, sa.Integer(), nullable=False)


def evidence(table: str, *more: sa.Column[str] | sa.Column[int] | sa.Constraint) -> None:
    op.create_table(
        table,
        number("id"),
        text("key"),
        text("payload"),
        sa.Column("seal", sa.Text(), nullable=False, server_default=sa.text("''")),
        *more,
        sa.PrimaryKeyConstraint("id", name=op.f(f"pk_{table}")),
        sa.UniqueConstraint("key", name=op.f(f"uq_{table}_key")),
        sqlite_strict=True,
    )
    for verb in ("UPDATE", "DELETE"):
        op.execute(
            f'CREATE TRIGGER {table}_no_{verb.lower()} BEFORE {verb} ON "{table}" '
            f"BEGIN SELECT RAISE(ABORT, '{table} rows are only ever added'); END"
        )


def refers(table: str, column: str, other: str) -> sa.ForeignKeyConstraint:
    name = op.f(f"fk_{table}_{column}_{other}")
    return sa.ForeignKeyConstraint([column], [f"{other}.id"], name=name, ondelete="RESTRICT")


def upgrade() -> None:
    evidence(
        "program",
        *(text(name) for name in ("name", "token", "scopes", "good_until")),
        number("active"),
        text("made_at"),
        text("at"),
        sa.Column("supersedes_id", sa.Integer(), nullable=True),
        refers("program", "supersedes_id", "program"),
        sa.UniqueConstraint("supersedes_id", name=op.f("uq_program_supersedes_id")),
    )
    evidence(
        "program_write",
        number("program_id"),
        text("row_table"),
        number("row_id"),
        refers("program_write", "program_id", "program"),
        sa.UniqueConstraint("row_table", "row_id", name=op.f("uq_program_write_row_table_row_id")),
    )
    op.create_table(
        "change",
        number("seq"),
        text("row_table"),
        number("row_id"),
        sa.PrimaryKeyConstraint("seq", name=op.f("pk_change")),
        sqlite_strict=True,
    )
    for table in WATCHED:
        op.execute(f"INSERT INTO change (row_table, row_id) SELECT '{table}', id FROM \"{table}\" ORDER BY id")
        for verb in ("INSERT", "UPDATE") if table == "engine" else ("INSERT",):
            op.execute(
                f'CREATE TRIGGER {table}_told_{verb.lower()} AFTER {verb} ON "{table}" '
                f"BEGIN INSERT INTO change (row_table, row_id) VALUES ('{table}', NEW.id); END"
            )
