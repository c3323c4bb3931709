"""What tests of opening a shop do: statements, migrations of their own, and refusals."""

import sqlite3
from contextlib import closing
from pathlib import Path

import pytest
from sqlmodel import Session

from app.shop.reasons import Reason
from app.shop.store.database import ShopUnavailableError
from app.shop.store.upgrade import open_shop

ENGINE = (
    "INSERT INTO engine (key, payload, serial, serial_folded, description, displacement, displacement_unit, customer, "
    "vehicle, idle_speed, registered_at, version) "
    "VALUES ('{key}', '', '{key}', '{key}', '', 5.0, 'L', '', '', 900.0, '2026-01-01T00:00:00Z', 1)"
)


def run(session: Session, statement: str) -> None:
    """Run one statement."""
    session.connection().exec_driver_sql(statement)


def ask(file: Path, query: str) -> object:
    """The first value that a query of a closed shop's file finds."""
    with closing(sqlite3.connect(f"{file.as_uri()}?mode=ro", uri=True)) as connection:
        return connection.execute(query).fetchone()[0]


def add_revision(scripts: Path, name: str, after: str, body: str) -> None:
    """Add a migration after another, with these statements."""
    (scripts / "versions" / f"{name}.py").write_text(
        "import sqlalchemy as sa\nfrom alembic import op\n"
        f"revision = {name!r}\ndown_revision = {after!r}\ndef upgrade() -> None:\n    {body}\n"
    )


def refused(folder: Path, kind: type[ShopUnavailableError], scripts: Path | None = None) -> Reason:
    """Why the shop cannot be opened. A refusal releases the lock for the next try."""
    kinds = set()
    for _ in range(2):
        with pytest.raises(kind) as caught:
            open_shop(folder, scripts)
        kinds.add(type(caught.value))
    assert kinds == {kind}
    return caught.value.reason
