"""What sits on the intakes while they are read, with each visit.

Visits from before say nothing of it, so their hashes stay what they were.

Revision ID: 0020
Revises: 0015
"""

from alembic import op

revision = "0020"
down_revision = "0015"


def upgrade() -> None:
    for column in ("intake", "intake_note"):
        op.execute(f"ALTER TABLE visit ADD COLUMN {column} TEXT")
