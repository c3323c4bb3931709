"""An override may pass over one gate of a phase instead of the whole.

Revision ID: 0005
Revises: 0004
"""

import sqlalchemy as sa
from alembic import op

revision = "0005"
down_revision = "0004"


def upgrade() -> None:
    op.add_column("override", sa.Column("gate", sa.Text(), nullable=True))
