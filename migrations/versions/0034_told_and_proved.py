"""What the cross-check and the instruments record is told to programs too; and up to where row hashes were proved.

Revision ID: 0034
Revises: 0032
"""

import sqlalchemy as sa
from alembic import op

revision = "0034"
down_revision = "0032"

TOLD = ("finding", "filling", "look", "channel_check")


def upgrade() -> None:
    for table in TOLD:
        op.execute(f"INSERT INTO change (row_table, row_id) SELECT '{table}', id FROM \"{table}\" ORDER BY id")
        op.execute(
            f'CREATE TRIGGER {table}_told_insert AFTER INSERT ON "{table}" '
            f"BEGIN INSERT INTO change (row_table, row_id) VALUES ('{table}', NEW.id); END"
        )
    op.create_table(
        "proved",
        sa.Column("row_table", sa.Text(), nullable=False),
        sa.Column("up_to", sa.Integer(), nullable=False),
        sa.Column("sound", sa.Integer(), nullable=False),
        sa.Column("unsealed", sa.Integer(), nullable=False),
        sa.Column("carried_at", sa.Text(), nullable=False),
        sa.Column("whole_at", sa.Text(), nullable=False),
        sa.PrimaryKeyConstraint("row_table", name=op.f("pk_proved")),
        sqlite_strict=True,
    )
