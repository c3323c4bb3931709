"""Whether an engine runs as it comes in, asked when its visit is opened.

Visits from before say nothing of it, so their hashes stay what they were.

Revision ID: 0018
Revises: 0016
"""

from alembic import op

revision = "0018"
down_revision = "0016"


def upgrade() -> None:
    op.execute("ALTER TABLE visit ADD COLUMN runs TEXT")
