"""The table of the codes that let one more tablet in, where a shop has several servers that show them."""

from sqlalchemy import REAL, Text
from sqlmodel import Field, SQLModel

from app.shop.store.rows import STRICT, metadata


class PairingCode(SQLModel, table=True):
    """A code that is shown, by its ``hash``, and until when it is good [s since 1970, by the clock of the database].

    It is no evidence: a code that was used or is over is deleted.
    """

    metadata = metadata
    __tablename__ = "pairing_code"
    __table_args__ = (STRICT,)
    hash: str = Field(primary_key=True, sa_type=Text)
    good_until: float = Field(sa_type=REAL)
