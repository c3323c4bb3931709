"""Alembic's environment. ``app.shop.store.upgrade`` passes the connection, its transaction begun, foreign keys off.

Alembic neither begins nor commits here: the transaction is the caller's, who checks the result before committing it.
"""

from alembic import context

from app.shop.store.tables import metadata

context.configure(
    connection=context.config.attributes["connection"],
    target_metadata=metadata,
    render_as_batch=True,
    compare_server_default=True,
)
context.run_migrations()
