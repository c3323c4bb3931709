"""The table that says up to where the rows of evidence were proved."""

from sqlalchemy import Text
from sqlmodel import Field, SQLModel

from app.shop.store.rows import STRICT, metadata


class ProvedRow(SQLModel, table=True):
    """Of a table of evidence: the rows up to the id ``up_to`` had right hashes (``sound``) or none (``unsealed``).

    ``carried_at`` is when that was last carried on, ``whole_at`` when every row from the first on was looked at. It is
    no evidence, and is made anew when it is missing.
    """

    metadata = metadata
    __tablename__ = "proved"
    __table_args__ = (STRICT,)
    row_table: str = Field(primary_key=True, sa_type=Text)
    up_to: int
    sound: int
    unsealed: int
    carried_at: str = Field(sa_type=Text)
    whole_at: str = Field(sa_type=Text)
