"""Whether an engine runs as it comes in, asked when its visit is opened.

Visits from before say nothing of it, so their hashes stay what they were.

Revision ID: 0020
Revises: 0019
"""

from alembic import op

revision = "0020"
down_revision = "0019"


def upgrade() -> None:
    op.execute("ALTER TABLE visit ADD COLUMN runs TEXT")
