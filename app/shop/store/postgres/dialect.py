"""SQLAlchemy's dialect with the numbers of the records: whole ones of eight bytes, and fractions of eight.

SQLAlchemy writes the type of a number beside it, and would round what is kept to four bytes.
"""

from typing import Any

from sqlalchemy import types
from sqlalchemy.dialects import registry
from sqlalchemy.dialects.postgresql.psycopg import PGDialect_psycopg

NAME = "postgresql+evenbore"


class _Whole(types.BigInteger):
    render_bind_cast = True


class _Fraction(types.Double[Any]):
    render_bind_cast = True


class ServerDialect(PGDialect_psycopg):
    """The dialect of a shop's database."""

    supports_statement_cache = True
    colspecs = {**PGDialect_psycopg.colspecs, types.Integer: _Whole, types.REAL: _Fraction}  # noqa: RUF012


registry.register("postgresql.evenbore", __name__, "ServerDialect")
