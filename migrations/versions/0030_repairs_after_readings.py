"""After which reading a finding was stored: a round read before a repair says nothing of the bore as repaired.

Revision ID: 0030
Revises: 0029
"""

import sqlalchemy as sa
from alembic import op

revision = "0030"
down_revision = "0029"


def upgrade() -> None:
    op.add_column("finding", sa.Column("after_reading", sa.Integer(), nullable=True))
