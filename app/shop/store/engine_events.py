"""The tables of starts and stops of an engine, beside those of ``tables``."""

from sqlalchemy import CheckConstraint, Text
from sqlmodel import Field

from app.shop.store.rows import STRICT, Evidence


class EngineEvent(Evidence, table=True):
    """Word that the engine was started or stopped.

    ``after_reading`` and ``after_check`` are the visit's newest rows when this one was stored (0 for none): they place
    it among them without asking a clock.
    """

    __tablename__ = "engine_event"
    __table_args__ = (CheckConstraint("what IN ('started', 'stopped')", name="what"), STRICT)
    visit_id: int = Field(foreign_key="visit.id", ondelete="RESTRICT", index=True)
    what: str = Field(sa_type=Text)
    after_reading: int
    after_check: int
    by: str = Field(sa_type=Text)
    at: str = Field(sa_type=Text, index=True)


class StopEnd(Evidence, table=True):
    """What ended a stop: why figures were beyond the shop's limits, and what was done about it.

    It ends the stops of every check up to ``after_check``. ``cause`` is a code, ``cause_text`` more of it in words.
    """

    __tablename__ = "stop_end"
    __table_args__ = (STRICT,)
    visit_id: int = Field(foreign_key="visit.id", ondelete="RESTRICT", index=True)
    after_check: int
    cause: str = Field(sa_type=Text)
    cause_text: str = Field(sa_type=Text)
    remedy: str = Field(sa_type=Text)
    by: str = Field(sa_type=Text)
    at: str = Field(sa_type=Text)
