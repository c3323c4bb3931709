"""Every row of evidence carries a seal. Rows from before are sealed as they stand.

Revision ID: 0002
Revises: 0001
"""

import sqlalchemy as sa
from alembic import op

from app.shop.store.row_hashes import seal

revision = "0002"
down_revision = "0001"

EVIDENCE = ("fitting", "meter", "visit", "round", "reading", "move", "check", "override", "sign_off")


def upgrade() -> None:
    connection = op.get_bind()
    for table in EVIDENCE:
        op.add_column(table, sa.Column("seal", sa.Text(), nullable=False, server_default=sa.text("''")))
        op.execute(f"DROP TRIGGER {table}_no_update")
        for row in connection.exec_driver_sql(f'SELECT * FROM "{table}"').mappings().all():
            made = seal(dict(row))
            connection.exec_driver_sql(f'UPDATE "{table}" SET seal = ? WHERE id = ?', (made, row["id"]))
        op.execute(
            f'CREATE TRIGGER {table}_no_update BEFORE UPDATE ON "{table}" '
            f"BEGIN SELECT RAISE(ABORT, '{table} rows are only ever added'); END"
        )
