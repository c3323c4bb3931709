"""Sites and rooms of a group, and what belongs to a site.

Revision ID: 0045
Revises: 0044
"""

import sqlalchemy as sa
from alembic import op

from app.shop.store.both import migrating as both

revision = "0045"
down_revision = "0044"

OF_A_SITE = ("visit", "meter", "setup", "program")


def upgrade() -> None:
    both.evidence(
        "site",
        both.text("name"),
        both.whole("head_office"),
        *_changed("site"),
    )
    both.evidence(
        "room", both.whole("site_id"), both.text("name"), *_changed("room"), both.refers("room", "site_id", "site")
    )
    for table in OF_A_SITE:
        op.add_column(table, both.whole("site_id", missing=True))
    op.add_column("tablet", both.whole("room_id", missing=True))


def _changed(table: str) -> tuple[sa.Column[object] | sa.Constraint, ...]:
    """What a row says of those before it."""
    return (
        both.whole("active"),
        both.text("by"),
        both.text("at"),
        both.whole("first_id", missing=True),
        both.whole("supersedes_id", missing=True),
        both.refers(table, "first_id", table),
        both.refers(table, "supersedes_id", table),
        sa.UniqueConstraint("supersedes_id", name=op.f(f"uq_{table}_supersedes_id")),
    )
