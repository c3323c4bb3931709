"""Corrections after the sign-off: each makes a new issue of the handover sheet.

Revision ID: 0004
Revises: 0003
"""

import sqlalchemy as sa
from alembic import op

revision = "0004"
down_revision = "0003"


def upgrade() -> None:
    texts = [sa.Column(name, sa.Text(), nullable=False) for name in ("key", "payload")]
    wholes = [sa.Column(name, sa.Integer(), nullable=False) for name in ("visit_id", "number")]
    wholes += [sa.Column(name, sa.Integer(), nullable=False) for name in ("after_reading", "after_check")]
    op.create_table(
        "correction",
        sa.Column("id", sa.Integer(), nullable=False),
        *texts,
        sa.Column("seal", sa.Text(), nullable=False, server_default=""),
        *wholes,
        *(sa.Column(name, sa.Text(), nullable=False) for name in ("why", "by", "at")),
        sa.ForeignKeyConstraint(
            ["visit_id"], ["visit.id"], name=op.f("fk_correction_visit_id_visit"), ondelete="RESTRICT"
        ),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_correction")),
        sa.UniqueConstraint("key", name=op.f("uq_correction_key")),
        sa.UniqueConstraint("visit_id", "number", name=op.f("uq_correction_visit_id_number")),
        sqlite_strict=True,
    )
    for verb in ("UPDATE", "DELETE"):
        op.execute(
            f'CREATE TRIGGER correction_no_{verb.lower()} BEFORE {verb} ON "correction" '
            "BEGIN SELECT RAISE(ABORT, 'correction rows are only ever added'); END"
        )
