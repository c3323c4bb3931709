"""A visit says what was changed since the last sign-off.

Revision ID: 0009
Revises: 0008
"""

import sqlalchemy as sa
from alembic import op

revision = "0009"
down_revision = "0008"


def upgrade() -> None:
    op.add_column("visit", sa.Column("changed", sa.Text(), nullable=True))
