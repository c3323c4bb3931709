"""What a migration needs to change the tables of both engines: the same columns, and what keeps and tells of rows.

Migrations up to the revision in the name of ``migrations/postgres/tables-*.sql`` run on SQLite alone. Those after it
use these in place of statements of one engine; a table whose rule changes goes through Alembic's
``batch_alter_table``, and on SQLite, where that makes the table anew, ``only_added`` and ``told`` are called again.
"""

from typing import Any

import sqlalchemy as sa
from alembic import op
from sqlalchemy.dialects.postgresql import DOUBLE_PRECISION

SERVER = "postgresql"


def on_a_server() -> bool:
    """Whether the migration runs on a PostgreSQL server."""
    return op.get_bind().dialect.name == SERVER


def text(name: str, *, missing: bool = False) -> sa.Column[Any]:
    """A column of text, compared sign by sign on both engines. ``missing``: it may have no value."""
    return sa.Column(name, sa.Text().with_variant(sa.Text(collation="C"), SERVER), nullable=missing)


def whole(name: str, *, missing: bool = False) -> sa.Column[Any]:
    """A column of whole numbers of eight bytes."""
    return sa.Column(name, sa.Integer().with_variant(sa.BigInteger(), SERVER), nullable=missing)


def fraction(name: str, *, missing: bool = False) -> sa.Column[Any]:
    """A column of fractions of eight bytes."""
    return sa.Column(name, sa.REAL().with_variant(DOUBLE_PRECISION(), SERVER), nullable=missing)


def evidence(table: str, *more: sa.Column[Any] | sa.Constraint) -> None:
    """Make a table of rows that are only ever added, with its key, payload and seal."""
    seal = text("seal")
    seal.server_default = sa.DefaultClause(sa.text("''"))
    op.create_table(
        table,
        identity(table),
        text("key"),
        text("payload"),
        seal,
        *more,
        sa.PrimaryKeyConstraint("id", name=op.f(f"pk_{table}")),
        sa.UniqueConstraint("key", name=op.f(f"uq_{table}_key")),
        sqlite_strict=True,
    )
    only_added(table)
    numbered(table)


def identity(table: str) -> sa.Column[Any]:
    """The id of the rows of a table."""
    column = whole("id")
    if on_a_server():
        column.server_default = sa.DefaultClause(sa.text(f"next_id('{table}')"))
    return column


def numbered(table: str, column: str = "id") -> None:
    """On a server, give the next row of a table its id by a function of its own, whose plan the server keeps."""
    if not on_a_server():
        return
    op.execute(next_of(table, column))
    op.execute(f'ALTER TABLE "{table}" ALTER COLUMN "{column}" SET DEFAULT "next_{table}"()')


def next_of(table: str, column: str = "id") -> str:
    """The statement that makes it: one more than the newest, as SQLite gives it. All writes hold one lock."""
    return (
        f'CREATE OR REPLACE FUNCTION "next_{table}"() RETURNS bigint LANGUAGE plpgsql AS $$ '
        f'BEGIN RETURN (SELECT coalesce(max("{column}"), 0) + 1 FROM "{table}"); END $$'
    )


def refers(table: str, column: str, other: str) -> sa.ForeignKeyConstraint:
    """The rule that a column names a row of another table."""
    name = op.f(f"fk_{table}_{column}_{other}")
    return sa.ForeignKeyConstraint([column], [f"{other}.id"], name=name, ondelete="RESTRICT")


def only_added(table: str) -> None:
    """Keep the rows of a table from being changed or deleted."""
    if on_a_server():
        op.execute(
            f'CREATE TRIGGER "{table}_only_added" BEFORE UPDATE OR DELETE OR TRUNCATE ON "{table}" '
            "FOR EACH STATEMENT EXECUTE FUNCTION only_added()"
        )
        return
    for verb in ("UPDATE", "DELETE"):
        op.execute(
            f'CREATE TRIGGER {table}_no_{verb.lower()} BEFORE {verb} ON "{table}" '
            f"BEGIN SELECT RAISE(ABORT, '{table} rows are only ever added'); END"
        )


def told(table: str) -> None:
    """Tell programs of the rows that are added to a table."""
    if on_a_server():
        op.execute(f'CREATE TRIGGER "{table}_told" AFTER INSERT ON "{table}" FOR EACH ROW EXECUTE FUNCTION told()')
        return
    op.execute(
        f'CREATE TRIGGER {table}_told_insert AFTER INSERT ON "{table}" '
        f"BEGIN INSERT INTO change (row_table, row_id) VALUES ('{table}', NEW.id); END"
    )
