"""What a visit's meter had repeated in the visits before it, as known when the visit was opened.

Visits from before say nothing of it, so their hashes stay what they were.

Revision ID: 0016
Revises: 0015
"""

from alembic import op

revision = "0016"
down_revision = "0015"


def upgrade() -> None:
    for column in ("meter_own", "meter_low", "meter_limit"):
        op.execute(f"ALTER TABLE visit ADD COLUMN {column} REAL")
