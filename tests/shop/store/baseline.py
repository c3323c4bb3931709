"""The tables of a PostgreSQL database at a revision, written from the file that the migrations make.

``python -m tests.shop.store.baseline`` writes it anew for the newest revision and takes the one before away. That is
for a revision that no server has yet; later ones are migrations for both engines.
"""

import sqlite3
import tempfile
from collections.abc import Iterator
from contextlib import closing
from pathlib import Path

from sqlalchemy import REAL, Column, Integer, MetaData, Table, Text, create_engine
from sqlalchemy.schema import CheckConstraint, ForeignKeyConstraint, PrimaryKeyConstraint, UniqueConstraint

from app.places import migrations
from app.shop.store.both.migrating import next_of
from app.shop.store.upgrade import open_shop

FOLDER = migrations() / "postgres"
SEEDED = ("meter",)
"""Tables that a new shop has rows in; ``change`` follows by itself."""

CHECKS = {
    "window > 0": '"window" > 0',
    "(value IS NULL) + (word IS NULL) + (why IS NULL) = 2": "num_nonnulls(value, word, why) = 1",
}
"""Rules that PostgreSQL reads otherwise: one of its own words, and no sum of what is true."""


NEWEST_OF = (["round_id"], ["visit_id"])
"""Indexes by which the newest row of a round or a visit is found: each ends with the id, as those of a file do."""


def written(file: Path) -> str:
    """The statements that make the tables of a shop's file, with the rows that every new shop has."""
    metadata = MetaData()
    metadata.reflect(create_engine(f"sqlite:///{file}"))
    tables = [t for t in metadata.sorted_tables if not t.name.startswith("search_") and t.name != "alembic_version"]
    with closing(sqlite3.connect(file)) as connection:
        triggers = {name for (name,) in connection.execute("SELECT name FROM sqlite_schema WHERE type = 'trigger'")}
        (revision,) = connection.execute("SELECT version_num FROM alembic_version").fetchone()
        parts = [
            f"-- The tables at revision {revision}. Written by python -m tests.shop.store.baseline; not to be edited.",
            "CREATE TABLE alembic_version (version_num varchar(32) CONSTRAINT alembic_version_pkc PRIMARY KEY);",
            f"INSERT INTO alembic_version VALUES ('{revision}');",
            *(part for table in tables for part in _table(table)),
            *(part for table in tables for part in _triggers(table.name, triggers)),
            *(part for name in SEEDED for part in _rows(connection, name)),
        ]
    return "\n".join(parts) + "\n"


def _table(table: Table) -> Iterator[str]:
    constraints = sorted(table.constraints, key=lambda one: (type(one).__name__, str(one.name)))
    lines = [*map(_column, table.columns), *(_constraint(table, one) for one in constraints)]
    (key, *_) = table.primary_key.columns
    if isinstance(key.type, Integer):
        yield next_of(table.name, key.name) + ";"
    yield f'CREATE TABLE "{table.name}" (\n  ' + ",\n  ".join(lines) + "\n);"
    for index in sorted(table.indexes, key=lambda one: str(one.name)):
        names = [column.name for column in index.columns]
        columns = ", ".join(f'"{name}"' for name in ([*names, "id"] if names in NEWEST_OF else names))
        yield f'CREATE {"UNIQUE " if index.unique else ""}INDEX {index.name} ON "{table.name}" ({columns});'


def _column(column: "Column[object]") -> str:
    kinds = {Integer: "bigint", REAL: "double precision", Text: 'text COLLATE "C"'}
    kind = next(name for type_, name in kinds.items() if isinstance(column.type, type_))
    parts = [f'"{column.name}"', kind]
    if column.primary_key and isinstance(column.type, Integer):
        parts.append(f'DEFAULT "next_{column.table.name}"()')
    elif column.server_default is not None:
        parts.append(f"DEFAULT {column.server_default.arg}")  # type: ignore[attr-defined]
    return " ".join(parts if column.nullable else [*parts, "NOT NULL"])


def _constraint(table: Table, rule: object) -> str:
    if isinstance(rule, CheckConstraint):
        told = str(rule.sqltext)
        return f"CONSTRAINT {rule.name} CHECK ({CHECKS.get(told, told)})"
    assert isinstance(rule, PrimaryKeyConstraint | UniqueConstraint | ForeignKeyConstraint)
    columns = ", ".join(f'"{column.name}"' for column in rule.columns)
    if isinstance(rule, PrimaryKeyConstraint):
        return f"CONSTRAINT pk_{table.name} PRIMARY KEY ({columns})"
    if isinstance(rule, UniqueConstraint):
        return f"CONSTRAINT {rule.name} UNIQUE ({columns})"
    (key,) = rule.elements
    return (
        f'CONSTRAINT {rule.name} FOREIGN KEY ({columns}) REFERENCES "{key.column.table.name}" ("{key.column.name}")'
        f" ON DELETE {rule.ondelete}"
    )


def _triggers(table: str, there: set[str]) -> Iterator[str]:
    """What keeps evidence, and what tells programs, where the file has the like."""
    if f"{table}_no_update" in there:
        yield (
            f'CREATE TRIGGER "{table}_only_added" BEFORE UPDATE OR DELETE OR TRUNCATE ON "{table}" '
            "FOR EACH STATEMENT EXECUTE FUNCTION only_added();"
        )
    if verbs := [verb for verb in ("INSERT", "UPDATE") if f"{table}_told_{verb.lower()}" in there]:
        yield (
            f'CREATE TRIGGER "{table}_told" AFTER {" OR ".join(verbs)} ON "{table}" '
            "FOR EACH ROW EXECUTE FUNCTION told();"
        )


def _rows(connection: sqlite3.Connection, table: str) -> Iterator[str]:
    found = connection.execute(f'SELECT * FROM "{table}" ORDER BY id')
    columns = ", ".join(f'"{column[0]}"' for column in found.description)
    for row in found:
        yield f'INSERT INTO "{table}" ({columns}) VALUES ({", ".join(map(_value, row))});'


def _value(value: object) -> str:
    if value is None:
        return "NULL"
    return "'" + value.replace("'", "''") + "'" if isinstance(value, str) else repr(value)


def newest() -> Path:
    """The baseline that there is."""
    (file,) = FOLDER.glob("tables-*.sql")
    return file


def main() -> None:
    """Write the baseline of the newest revision in place of the one before."""
    with tempfile.TemporaryDirectory() as folder:
        shop = open_shop(Path(folder))
        shop.close()
        text = written(shop.file)
    revision = text.split("revision ", 1)[1].split(".", 1)[0]
    for before in FOLDER.glob("tables-*.sql"):
        before.unlink()
    (FOLDER / f"tables-{revision}.sql").write_text(text, encoding="utf-8")


if __name__ == "__main__":
    main()
