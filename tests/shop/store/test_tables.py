"""The migrations make the tables that the program writes to, with every rule that keeps evidence."""

import pytest
from alembic.autogenerate import compare_metadata
from alembic.migration import MigrationContext
from sqlalchemy import create_engine

from app.shop.store.database import FileDatabase
from app.shop.store.tables import EVIDENCE, metadata
from tests.shop.store.opening import run


def is_record(name: str | None, kind: str, _parents: object) -> bool:
    """Whether a table holds records: the search index is made from them."""
    return not (kind == "table" and name is not None and name.startswith("search_"))


def test_the_migrations_make_exactly_the_tables(shop: FileDatabase) -> None:
    with create_engine(f"sqlite:///{shop.file}").connect() as connection:
        opts = {"compare_server_default": True, "include_name": is_record}
        context = MigrationContext.configure(connection, opts=opts)
        assert compare_metadata(context, metadata) == []


def test_every_table_is_strict_and_every_check_is_there(shop: FileDatabase) -> None:
    """What Alembic's comparison does not look at: STRICT and CHECK."""
    with create_engine("sqlite://").connect() as fresh, shop.reading() as session:
        metadata.create_all(fresh)
        for name, table in metadata.tables.items():
            described = "SELECT strict FROM pragma_table_list WHERE schema = 'main' AND name = ?"
            assert session.connection().exec_driver_sql(described, (name,)).scalar_one() == 1, name
            query = "SELECT sql FROM sqlite_schema WHERE name = ?"
            written = str(session.connection().exec_driver_sql(query, (name,)).scalar_one())
            declared = str(fresh.exec_driver_sql(query, (name,)).scalar_one())
            assert written.count("CHECK") == declared.count("CHECK"), name
            for constraint in table.constraints:
                assert str(constraint.name) in written or constraint.name is None, name


@pytest.mark.parametrize("table", EVIDENCE)
def test_evidence_can_only_be_added(shop: FileDatabase, table: str) -> None:
    """A migration that rebuilds a table drops its triggers: this fails when it does not make them again."""
    with shop.reading() as session:
        found = session.connection().exec_driver_sql(
            "SELECT sql FROM sqlite_schema WHERE type = 'trigger' AND tbl_name = ?", (table,)
        )
        triggers = " ".join(found.scalars())
    assert f'BEFORE UPDATE ON "{table}"' in triggers
    assert f'BEFORE DELETE ON "{table}"' in triggers


def test_evidence_cannot_be_replaced_either(shop: FileDatabase) -> None:
    def replace() -> None:
        with shop.writing() as session:
            run(session, "INSERT OR REPLACE INTO meter SELECT * FROM meter")

    with pytest.raises(Exception, match="only ever added"):
        replace()
