"""Which visit the instruments fill, and the engine speed that a channel told beside a reading.

Rows from before say nothing of it, so their hashes stay what they were.

Revision ID: 0029
Revises: 0028
"""

import sqlalchemy as sa
from alembic import op

revision = "0029"
down_revision = "0028"


def upgrade() -> None:
    op.create_table(
        "filling",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("key", sa.Text(), nullable=False),
        sa.Column("payload", sa.Text(), nullable=False),
        sa.Column("seal", sa.Text(), nullable=False, server_default=sa.text("''")),
        sa.Column("visit_id", sa.Integer(), nullable=False),
        sa.Column("active", sa.Integer(), nullable=False),
        sa.Column("by", sa.Text(), nullable=False),
        sa.Column("at", sa.Text(), nullable=False),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_filling")),
        sa.UniqueConstraint("key", name=op.f("uq_filling_key")),
        sa.ForeignKeyConstraint(
            ["visit_id"], ["visit.id"], name=op.f("fk_filling_visit_id_visit"), ondelete="RESTRICT"
        ),
        sqlite_strict=True,
    )
    op.create_index(op.f("ix_filling_visit_id"), "filling", ["visit_id"], unique=False)
    for verb in ("UPDATE", "DELETE"):
        op.execute(
            f'CREATE TRIGGER filling_no_{verb.lower()} BEFORE {verb} ON "filling" '
            "BEGIN SELECT RAISE(ABORT, 'filling rows are only ever added'); END"
        )
    op.execute("ALTER TABLE reading ADD COLUMN speed REAL CONSTRAINT ck_reading_speed CHECK (speed > 0)")
