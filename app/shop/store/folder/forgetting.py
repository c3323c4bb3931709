"""What is taken out of an engine's facts leaves the file: the search index, and then the journal.

The row itself is overwritten by ``secure_delete``; the index keeps words that no row has any more until it is made
again, and the journal keeps the pages as they were until it is emptied.
"""

from sqlalchemy import Connection, event, inspect
from sqlalchemy.orm import object_session

from app.shop.store.tables import Engine

SEARCHED = ("serial", "description", "customer", "vehicle")
SEPARATORS = "-_/.,;:()#"


def _words() -> str:
    text = "lower(serial || ' ' || about || ' ' || owner || ' ' || jobs)"
    for sign in SEPARATORS:
        text = f"replace({text}, '{sign}', ' ')"
    return (
        "INSERT OR IGNORE INTO search_term (word) SELECT value FROM search_text, "
        f"json_each('[' || replace(json_quote({text}), ' ', '\",\"') || ']') WHERE length(value) BETWEEN 3 AND 60"
    )


STATEMENTS = (
    "DELETE FROM search_term",
    _words(),
    "INSERT INTO search_part (search_part) VALUES ('rebuild')",
    "INSERT INTO search_word (search_word) VALUES ('rebuild')",
)
"""What makes the index again from ``search_text``, the one row of each engine that is searched."""

STATEMENTS_OF_A_SERVER = (
    "DELETE FROM search_term",
    "INSERT INTO search_term (word) SELECT DISTINCT terms_of(serial || ' ' || about || ' ' || owner || ' ' || jobs) "
    "FROM search_text",
)
"""The same on a server, whose other indexes are of the rows as they are."""


TAKEN_OUT = "taken-out"
"""What a session notes when it took words out of an engine's facts."""


@event.listens_for(Engine, "after_update")
def _taken_out(_mapper: object, connection: Connection, engine: Engine) -> None:
    before = inspect(engine).attrs
    if any(before[name].history.deleted for name in SEARCHED):
        for statement in STATEMENTS if connection.dialect.name == "sqlite" else STATEMENTS_OF_A_SERVER:
            connection.exec_driver_sql(statement)
        session = object_session(engine)
        assert session is not None
        session.info[TAKEN_OUT] = True
