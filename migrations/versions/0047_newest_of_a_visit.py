"""On a server the newest row of a visit, and the id of the next row, are found by one look at an index.

A file has both already: each of its indexes ends with the id, and it gives ids by itself. On a server the newest
reading of a round was found by walking back through those of all rounds, and each row asked for its id in a statement
that was read and planned anew.

Revision ID: 0047
Revises: 0046
"""

import sqlalchemy as sa
from alembic import op

from app.shop.store.both import migrating as both

revision = "0047"
down_revision = "0046"

OF_ROUNDS = ("reading", "opening_speed")
OF_VISITS = ("move", "check", "override", "engine_event", "stop_end", "elsewhere")

NUMBERED = """SELECT table_name, column_name FROM information_schema.columns
WHERE table_schema = current_schema() AND column_default LIKE 'next_id(%' ORDER BY table_name"""


def upgrade() -> None:
    if not both.on_a_server():
        return
    for tables, column in ((OF_ROUNDS, "round_id"), (OF_VISITS, "visit_id")):
        for table in tables:
            index = op.f(f"ix_{table}_{column}")
            op.drop_index(index, table)
            op.create_index(index, table, [column, "id"])
    for table, column in op.get_bind().execute(sa.text(NUMBERED)).all():
        both.numbered(table, column)
