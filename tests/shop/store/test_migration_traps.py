"""The three traps of SQLite under Alembic and SQLAlchemy, each sprung once and then walked past.

Each pair of tests shows what happens without the recipe, so that the recipe is dropped when it is no longer needed,
and that it does not happen with it.
"""

import sqlite3
from collections.abc import Callable
from contextlib import closing
from datetime import UTC, datetime
from pathlib import Path

import pytest
import sqlalchemy as sa
from alembic.config import Config
from alembic.migration import MigrationContext
from alembic.operations import Operations

from app.places import migrations
from app.shop.store.tables import metadata
from app.shop.store.upgrade import migrate

FAMILY = """
CREATE TABLE parent (id INTEGER PRIMARY KEY, name TEXT);
CREATE TABLE child (id INTEGER PRIMARY KEY, parent_id INTEGER NOT NULL REFERENCES parent (id) ON DELETE CASCADE);
INSERT INTO parent VALUES (1, 'one');
INSERT INTO child VALUES (1, 1), (2, 1);
"""


@pytest.fixture
def family(tmp_path: Path) -> Path:
    """A database of one parent with two children that a deletion would take along."""
    file = tmp_path / "family.db"
    with closing(sqlite3.connect(file)) as connection:
        connection.executescript(FAMILY)
    return file


@pytest.fixture
def scripts(tmp_path: Path) -> Callable[[str], Config]:
    """Makes migrations of one revision with a given body, under the program's own environment."""

    def made(body: str) -> Config:
        folder = tmp_path / "scripts"
        (folder / "versions").mkdir(parents=True)
        (folder / "env.py").write_text((migrations() / "env.py").read_text())
        (folder / "versions" / "one.py").write_text(
            "import sqlalchemy as sa\nfrom alembic import op\nrevision = 'one'\ndown_revision = None\n"
            f"def upgrade() -> None:\n{body}\n"
        )
        config = Config()
        config.set_main_option("script_location", str(folder))
        return config

    return made


def count(file: Path, table: str) -> int:
    with closing(sqlite3.connect(file)) as connection:
        return int(connection.execute(f"SELECT count(*) FROM {table}").fetchone()[0])


def tables(file: Path) -> set[str]:
    with closing(sqlite3.connect(file)) as connection:
        return {row[0] for row in connection.execute("SELECT name FROM sqlite_schema WHERE type = 'table'")}


REBUILD = """
    with op.batch_alter_table("parent", recreate="always") as batch:
        batch.alter_column("name", nullable=False, existing_type=sa.Text())
"""


def test_trap_one_a_rebuild_with_foreign_keys_on_takes_the_children_along(family: Path) -> None:
    with sa.create_engine(f"sqlite:///{family}").connect() as connection:
        connection.exec_driver_sql("PRAGMA foreign_keys=ON")
        op = Operations(MigrationContext.configure(connection))
        with op.batch_alter_table("parent", recreate="always") as batch:
            batch.alter_column("name", nullable=False, existing_type=sa.Text())
        connection.commit()
        assert connection.exec_driver_sql("PRAGMA foreign_key_check").all() == []  # and nothing looks wrong
    assert count(family, "child") == 0


def test_our_rebuild_keeps_the_children_and_their_tie(family: Path, scripts: Callable[[str], Config]) -> None:
    migrate(family, scripts(REBUILD))
    assert count(family, "child") == 2
    with closing(sqlite3.connect(family)) as connection:
        connection.execute("PRAGMA foreign_keys=ON")
        assert connection.execute("SELECT \"table\" FROM pragma_foreign_key_list('child')").fetchall() == [("parent",)]
        with pytest.raises(sqlite3.IntegrityError, match="NOT NULL"):
            connection.execute("UPDATE parent SET name = NULL")


HALF = """
    op.create_table("extra", sa.Column("id", sa.Integer()))
    op.execute("INSERT INTO parent VALUES (2, 'two')")
    raise ValueError("half-way")
"""


def test_trap_two_the_driver_s_own_transaction_leaves_half_a_migration(family: Path) -> None:
    def half() -> None:
        with sa.create_engine(f"sqlite:///{family}").begin() as connection:
            op = Operations(MigrationContext.configure(connection))
            op.create_table("extra", sa.Column("id", sa.Integer()))
            raise ValueError("half-way")

    with pytest.raises(ValueError, match="half-way"):
        half()
    assert "extra" in tables(family)


def test_our_migration_that_fails_half_way_leaves_nothing(family: Path, scripts: Callable[[str], Config]) -> None:
    with pytest.raises(ValueError, match="half-way"):
        migrate(family, scripts(HALF))
    assert tables(family) == {"parent", "child"}
    assert count(family, "parent") == 1


NOON = datetime(2026, 3, 1, 12, 0, 0, 250000, tzinfo=UTC)


def test_trap_three_a_time_with_its_zone_comes_back_without() -> None:
    table = sa.Table("clock", sa.MetaData(), sa.Column("at", sa.DateTime(timezone=True)))
    with sa.create_engine("sqlite://").begin() as connection:
        table.create(connection)
        connection.execute(table.insert().values(at=NOON))
        back = connection.execute(sa.select(table.c.at)).scalar_one()
    assert back is not None
    assert back.tzinfo is None


def test_our_tables_keep_times_as_text_so_the_zone_comes_back() -> None:
    for table in metadata.tables.values():
        for column in table.columns:
            assert isinstance(column.type, sa.Text | sa.Integer | sa.REAL), f"{table.name}.{column.name}"
            if column.name == "at" or column.name.endswith("_at"):
                assert isinstance(column.type, sa.Text), f"{table.name}.{column.name}"
    assert datetime.fromisoformat(NOON.isoformat()) == NOON
    assert datetime.fromisoformat(NOON.isoformat()).tzinfo is UTC
