"""What sits on the intakes while they are read, with each visit.

Visits from before say nothing of it, so their hashes stay what they were.

Revision ID: 0019
Revises: 0018
"""

from alembic import op

revision = "0019"
down_revision = "0018"


def upgrade() -> None:
    for column in ("intake", "intake_note"):
        op.execute(f"ALTER TABLE visit ADD COLUMN {column} TEXT")
