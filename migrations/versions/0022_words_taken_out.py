"""Words of customers who were taken out leave the search index.

The index is no record: it is made again from the engines as they are.

Revision ID: 0022
Revises: 0021
"""

from alembic import op

revision = "0022"
down_revision = "0021"

SEPARATORS = "-_/.,;:()#"


def upgrade() -> None:
    text = "lower(serial || ' ' || about || ' ' || owner || ' ' || jobs)"
    for sign in SEPARATORS:
        text = f"replace({text}, '{sign}', ' ')"
    op.execute("DELETE FROM search_term")
    op.execute(
        "INSERT OR IGNORE INTO search_term (word) SELECT value FROM search_text, "
        f"json_each('[' || replace(json_quote({text}), ' ', '\",\"') || ']') WHERE length(value) BETWEEN 3 AND 60"
    )
    for index in ("search_part", "search_word"):
        op.execute(f"INSERT INTO {index} ({index}) VALUES ('rebuild')")
