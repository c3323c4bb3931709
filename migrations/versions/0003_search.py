"""An index to find engines by, kept up to date by triggers: any part of a word, whole words, and the list of words.

``search_text`` is the one row an engine that is searched; everything else is made from it. None of it is a record.

Revision ID: 0003
Revises: 0002
"""

import sqlite3

from alembic import op

revision = "0003"
down_revision = "0002"

NEEDED = (3, 34)
"""The first SQLite that splits text into every three letters in a row."""

COLUMNS = ("serial", "about", "owner", "jobs")
NAMES = ", ".join(COLUMNS)
SEPARATORS = "-_/.,;:()#"

OF_ENGINE = (
    "{0}.serial",
    "{0}.description || ' ' || printf('%.1fL %.2fL %.0fcu in', "
    "{0}.displacement * 1000, {0}.displacement * 1000, {0}.displacement / 0.0254 / 0.0254 / 0.0254)",
    "{0}.customer || ' ' || {0}.vehicle",
)
"""Serial, about and owner of an engine; the litre and the inch are exact by definition (NIST SP 811, appendix B)."""


def of(row: str) -> str:
    """The searched columns of ``row`` as values for an index over them."""
    return ", ".join(f"{row}.{name}" for name in COLUMNS)


def words() -> str:
    """Every word of the row just written, on the list of words once."""
    text = f"lower({' || '.join(f'new.{name}' for name in COLUMNS)})".replace(" || ", " || ' ' || ")
    for sign in SEPARATORS:
        text = f"replace({text}, '{sign}', ' ')"
    return (
        "INSERT OR IGNORE INTO search_term (word) "
        f"SELECT value FROM json_each('[' || replace(json_quote({text}), ' ', '\",\"') || ']') "
        "WHERE length(value) BETWEEN 3 AND 60"
    )


def index(table: str) -> str:
    return f"INSERT INTO {table} (rowid, {NAMES}) VALUES (new.id, {of('new')})"


def unindex(table: str) -> str:
    return f"INSERT INTO {table} ({table}, rowid, {NAMES}) VALUES ('delete', old.id, {of('old')})"


def upgrade() -> None:
    if sqlite3.sqlite_version_info < NEEDED:
        raise RuntimeError(f"this Python comes with SQLite {sqlite3.sqlite_version}; search needs 3.34 or newer")
    op.execute(
        "CREATE TABLE search_text (id INTEGER PRIMARY KEY, "
        + ", ".join(f"{name} TEXT NOT NULL" for name in COLUMNS)
        + ") STRICT"
    )
    op.execute("CREATE TABLE search_term (word TEXT PRIMARY KEY) STRICT, WITHOUT ROWID")
    for table, tokenize in (("search_part", "trigram"), ("search_word", "unicode61 remove_diacritics 2")):
        op.execute(
            f"CREATE VIRTUAL TABLE {table} USING fts5 "
            f"({NAMES}, content='search_text', content_rowid='id', tokenize='{tokenize}')"
        )
    both = ("search_part", "search_word")
    for name, event, steps in (
        ("inserted", "INSERT", [*map(index, both), words()]),
        ("deleted", "DELETE", [*map(unindex, both)]),
        ("updated", "UPDATE", [*map(unindex, both), *map(index, both), words()]),
    ):
        op.execute(f"CREATE TRIGGER search_text_{name} AFTER {event} ON search_text BEGIN {'; '.join(steps)}; END")

    new = [column.format("new") for column in OF_ENGINE]
    op.execute(
        f"CREATE TRIGGER engine_searched AFTER INSERT ON engine BEGIN "
        f"INSERT INTO search_text (id, {NAMES}) VALUES (new.id, {', '.join(new)}, ''); END"
    )
    changed = ", ".join(f"{name} = {value}" for name, value in zip(COLUMNS, new, strict=False))
    op.execute(
        "CREATE TRIGGER engine_searched_again AFTER UPDATE ON engine "
        f"BEGIN UPDATE search_text SET {changed} WHERE id = new.id; END"
    )
    op.execute(
        "CREATE TRIGGER engine_searched_no_more AFTER DELETE ON engine "
        "BEGIN DELETE FROM search_text WHERE id = old.id; END"
    )
    op.execute(
        "CREATE TRIGGER visit_searched AFTER INSERT ON visit WHEN new.job <> '' BEGIN "
        "UPDATE search_text SET jobs = jobs || ' ' || new.job WHERE id = new.engine_id "
        "AND instr(jobs || ' ', ' ' || new.job || ' ') = 0; END"
    )

    there = ", ".join(column.format("engine") for column in OF_ENGINE)
    jobs = "SELECT coalesce(group_concat(' ' || job, ''), '') FROM visit WHERE engine_id = engine.id AND job <> ''"
    op.execute(f"INSERT INTO search_text (id, {NAMES}) SELECT id, {there}, ({jobs}) FROM engine")
