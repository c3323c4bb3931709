"""The tables of the sites of a group, and of the rooms in which their tablets stand."""

from sqlalchemy import Text, UniqueConstraint
from sqlmodel import Field

from app.shop.store.rows import STRICT, Evidence


class SiteRow(Evidence, table=True):
    """A site. A changed one, and one that was closed (``active`` 0), is a row that supersedes the one before.

    ``first_id`` is the row that the site began with, None in that row: other rows name a site by it for good, and other
    shops know the site by its key. ``head_office`` 1: it sees statistics and the log of all sites.
    """

    __tablename__ = "site"
    __table_args__ = (UniqueConstraint("supersedes_id"), STRICT)
    name: str = Field(sa_type=Text)
    head_office: int
    active: int
    by: str = Field(sa_type=Text)
    at: str = Field(sa_type=Text)
    first_id: int | None = Field(default=None, foreign_key="site.id", ondelete="RESTRICT")
    supersedes_id: int | None = Field(default=None, foreign_key="site.id", ondelete="RESTRICT")


class RoomRow(Evidence, table=True):
    """A room of a site, superseded as a site is. A room never goes to another site; its tablets may."""

    __tablename__ = "room"
    __table_args__ = (UniqueConstraint("supersedes_id"), STRICT)
    site_id: int = Field(foreign_key="site.id", ondelete="RESTRICT")
    name: str = Field(sa_type=Text)
    active: int
    by: str = Field(sa_type=Text)
    at: str = Field(sa_type=Text)
    first_id: int | None = Field(default=None, foreign_key="room.id", ondelete="RESTRICT")
    supersedes_id: int | None = Field(default=None, foreign_key="room.id", ondelete="RESTRICT")
