"""The tables of programs of others: which have access, what was written through them, and what changed in order."""

from sqlalchemy import Text, UniqueConstraint
from sqlmodel import Field, SQLModel

from app.shop.store.rows import STRICT, Evidence, metadata


class ProgramAccess(Evidence, table=True):
    """A program with access. Its end (``active`` 0) is a row that supersedes the one before.

    ``token`` is the SHA-256 of what the program sends: 256 random bits need no slower hash. ``scopes`` are words with
    spaces between. ``site_id`` is the site that it works for, None for all.
    """

    __tablename__ = "program"
    __table_args__ = (UniqueConstraint("supersedes_id"), STRICT)
    name: str = Field(sa_type=Text)
    token: str = Field(sa_type=Text)
    scopes: str = Field(sa_type=Text)
    good_until: str = Field(sa_type=Text)
    active: int
    made_at: str = Field(sa_type=Text)
    at: str = Field(sa_type=Text)
    supersedes_id: int | None = Field(default=None, foreign_key="program.id", ondelete="RESTRICT")
    site_id: int | None = None


class ProgramWrite(Evidence, table=True):
    """Word that a row was written through a program; rows that were typed at a page have none."""

    __tablename__ = "program_write"
    __table_args__ = (UniqueConstraint("row_table", "row_id"), STRICT)
    program_id: int = Field(foreign_key="program.id", ondelete="RESTRICT")
    row_table: str = Field(sa_type=Text)
    row_id: int


class ChangeRow(SQLModel, table=True):
    """A row that was added, or of ``engine`` changed, in the order of the commits. Triggers write it; it is no
    evidence, and can be made anew."""

    metadata = metadata
    __tablename__ = "change"
    __table_args__ = (STRICT,)
    seq: int | None = Field(default=None, primary_key=True)
    row_table: str = Field(sa_type=Text)
    row_id: int
