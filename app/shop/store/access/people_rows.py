"""The tables of people who sign off, of the PINs they gave, and of the paired tablets."""

from sqlalchemy import Text, UniqueConstraint
from sqlmodel import Field

from app.shop.store.rows import STRICT, Evidence


class Person(Evidence, table=True):
    """Someone who signs off. A changed PIN, and a leaving (``active`` 0), is a row that supersedes the one before.

    ``pin`` is a slow hash with its own salt, never the PIN.
    """

    __table_args__ = (UniqueConstraint("supersedes_id"), STRICT)
    name: str = Field(sa_type=Text)
    pin: str = Field(sa_type=Text)
    active: int
    at: str = Field(sa_type=Text)
    supersedes_id: int | None = Field(default=None, foreign_key="person.id", ondelete="RESTRICT")


class PinTry(Evidence, table=True):
    """One time a PIN was given: for whom, and whether it was ``right``. The name is that of the person row."""

    __tablename__ = "pin_try"
    __table_args__ = (STRICT,)
    name: str = Field(sa_type=Text, index=True)
    right: int
    at: str = Field(sa_type=Text)


class Tablet(Evidence, table=True):
    """A paired tablet. A new name, and its removal (``active`` 0), is a row that supersedes the one before.

    ``token`` is the SHA-256 of what the tablet keeps in its cookie: 256 random bits need no slower hash. ``room_id``
    is where it stands, None for one that was given no room.
    """

    __table_args__ = (UniqueConstraint("supersedes_id"), STRICT)
    name: str = Field(sa_type=Text)
    token: str = Field(sa_type=Text)
    active: int
    paired_at: str = Field(sa_type=Text)
    at: str = Field(sa_type=Text)
    supersedes_id: int | None = Field(default=None, foreign_key="tablet.id", ondelete="RESTRICT")
    room_id: int | None = None
