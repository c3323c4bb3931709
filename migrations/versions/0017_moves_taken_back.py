"""Whether a move that supersedes another says that nothing was moved.

Rows from before say nothing of it, so their hashes stay what they were.

Revision ID: 0017
Revises: 0016
"""

from alembic import op

revision = "0017"
down_revision = "0016"


def upgrade() -> None:
    op.execute(
        "ALTER TABLE move ADD COLUMN taken_back INTEGER CONSTRAINT ck_move_taken_back "
        "CHECK (taken_back IS NULL OR (taken_back = 1 AND supersedes_id IS NOT NULL))"
    )
