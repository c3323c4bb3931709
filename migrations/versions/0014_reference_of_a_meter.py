"""What a pressure meter counts from: the day's air, as all have so far, or nothing.

Rows from before say nothing of it, so their hashes stay what they were.

Revision ID: 0014
Revises: 0013
"""

from alembic import op

revision = "0014"
down_revision = "0013"


def upgrade() -> None:
    op.execute(
        "ALTER TABLE meter ADD COLUMN reference TEXT CONSTRAINT ck_meter_reference "
        "CHECK (reference IS NULL OR (reference = 'absolute' AND quantity = 'vacuum'))"
    )
