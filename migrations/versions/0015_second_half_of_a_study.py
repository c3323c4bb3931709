"""Where and by whom the second half of a study is read, when that is not as in the first.

Studies from before say nothing of it, so their hashes stay what they were.

Revision ID: 0015
Revises: 0014
"""

from alembic import op

revision = "0015"
down_revision = "0014"


def upgrade() -> None:
    for column in ("second_place", "second_by"):
        op.execute(f"ALTER TABLE study ADD COLUMN {column} TEXT")
