"""What was done last is found by the time when it was done, without going through all that was ever done.

The activity log sorted every row of every table for each of its pages.

Revision ID: 0048
Revises: 0047
"""

from alembic import op

from app.shop.store.both import migrating as both

revision = "0048"
down_revision = "0047"

DONE = (
    *(("engine", "registered_at"), ("visit", "opened_at"), ("round", "begun_at")),
    *((table, "at") for table in ("reading", "move", "check", "sign_off", "engine_event")),
)
"""The tables of which a shop has many rows, each with the column that says when."""


def upgrade() -> None:
    also = ["id"] if both.on_a_server() else []  # each index of a file ends with it anyway
    for table, column in DONE:
        op.create_index(op.f(f"ix_{table}_{column}"), table, [column, *also])
