"""Whether the throttles had no power while one that a motor moves was adjusted.

Rows from before say nothing of it, so their hashes stay what they were.

Revision ID: 0023
Revises: 0022
"""

from alembic import op

revision = "0023"
down_revision = "0022"


def upgrade() -> None:
    op.execute(
        "ALTER TABLE move ADD COLUMN power_off INTEGER CONSTRAINT ck_move_power_off "
        "CHECK (power_off IS NULL OR power_off = 1)"
    )
