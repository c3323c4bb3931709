"""The codes that let tablets in, where several servers show them.

Revision ID: 0044
Revises: 0034
"""

import sqlalchemy as sa
from alembic import op

from app.shop.store.both import migrating as both

revision = "0044"
down_revision = "0034"


def upgrade() -> None:
    op.create_table(
        "pairing_code",
        both.text("hash"),
        both.fraction("good_until"),
        sa.PrimaryKeyConstraint("hash", name=op.f("pk_pairing_code")),
        sqlite_strict=True,
    )
