"""How far each engine is handed over, what was asked about one, and which open visits are elsewhere."""

from sqlalchemy import Text
from sqlmodel import Field, SQLModel

from app.shop.store.rows import STRICT, Evidence, metadata


class Elsewhere(Evidence, table=True):
    """Word that an open visit belongs to another ``store``, or with ``away`` 0 that it was taken over here.

    The newest row of a visit counts, and none once the visit is signed off. ``by`` is empty where a program wrote it.
    """

    __tablename__ = "elsewhere"
    __table_args__ = (STRICT,)
    visit_id: int = Field(foreign_key="visit.id", ondelete="RESTRICT", index=True)
    store: str = Field(sa_type=Text)
    away: int
    by: str = Field(sa_type=Text)
    at: str = Field(sa_type=Text)


class Handed(SQLModel, table=True):
    """How far an engine is handed over to ``receiver``. It is no evidence, and can be made anew by sending again.

    ``wants`` is the newest change of the engine, ``has`` up to which change the receiver acknowledged every key, and
    ``keys`` how many those were. ``problem`` has stored reasons why the last try at ``tried_at`` failed, empty for
    none. Up to which change the engines were looked at is in the row of engine 0.
    """

    metadata = metadata
    __tablename__ = "handed"
    __table_args__ = (STRICT,)
    engine_id: int = Field(primary_key=True, sa_column_kwargs={"autoincrement": False})
    receiver: str = Field(sa_type=Text)
    wants: int
    has: int
    keys: int
    problem: str = Field(sa_type=Text)
    tried_at: str = Field(sa_type=Text)


class StoreQuestionRow(SQLModel, table=True):
    """A question about an engine that was handed in, for a person here. It is no evidence: the answer shows in what is
    stored. ``id`` is the engine's key and the question's name; ``theirs`` is what the other ``store`` says, as JSON.
    """

    metadata = metadata
    __tablename__ = "asked"
    __table_args__ = (STRICT,)
    id: str = Field(primary_key=True, sa_type=Text)
    store: str = Field(sa_type=Text)
    serial: str = Field(sa_type=Text)
    mine: str = Field(sa_type=Text)
    theirs: str = Field(sa_type=Text)
    answer: str = Field(sa_type=Text)
    asked_at: str = Field(sa_type=Text)
