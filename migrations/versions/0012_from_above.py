"""Whether an opening was reached from above: the lever opened further first, then brought back onto the blade.

Rows from before say nothing of it, so their seals stay what they were. At idle there is no opening to come back to.

Revision ID: 0012
Revises: 0011
"""

from alembic import op

revision = "0012"
down_revision = "0011"


def upgrade() -> None:
    op.execute(
        "ALTER TABLE round ADD COLUMN from_above INTEGER CONSTRAINT ck_round_from_above "
        "CHECK (from_above IS NULL OR (from_above = 1 AND opening > 0))"
    )
