"""Readings say whether they came from a sensor that stays at its bore.

Rows from before say nothing of it, so their hashes stay what they were.

Revision ID: 0028
Revises: 0027
"""

from alembic import op

revision = "0028"
down_revision = "0027"


def upgrade() -> None:
    op.execute(
        "ALTER TABLE reading ADD COLUMN fixed INTEGER CONSTRAINT ck_reading_fixed "
        "CHECK (fixed IS NULL OR (fixed IN (0, 1) AND value IS NOT NULL))"
    )
