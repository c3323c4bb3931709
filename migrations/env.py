"""Alembic's environment. ``app.shop.upgrade`` passes the connection, with its transaction begun and foreign keys off.

Alembic neither begins nor commits here: the transaction is the caller's, who checks the result before committing it.
"""

from alembic import context

from app.shop.tables import metadata

context.configure(
    connection=context.config.attributes["connection"],
    target_metadata=metadata,
    render_as_batch=True,
    compare_server_default=True,
)
context.run_migrations()
