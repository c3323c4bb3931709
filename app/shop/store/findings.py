"""The table of what a cross-check found, beside those of ``tables``."""

from sqlalchemy import REAL, CheckConstraint, Text, UniqueConstraint
from sqlmodel import Field

from app.shop.store.rows import STRICT, Evidence

ONE_OF_THREE = "(value IS NULL) + (word IS NULL) + (why IS NULL) = 2"
ONE_PLACE = "bore IS NULL OR bank = ''"


class FindingRow(Evidence, table=True):
    """One thing measured or seen beside the evening: a ``value`` in its ``unit``, a ``word``, or ``why`` there is none.

    ``kind`` is a code of ``app.sync.diagnosis.measurements``, or ``repaired`` with the cause as its word. It is of a
    ``bore``, of a ``bank``, or of the engine (neither). ``spread`` is one standard deviation where the sender knows it.
    ``after_move`` is the visit's newest move when it was stored (0 for none), ``after_reading`` its newest reading (0
    for none, null where that was not recorded yet). ``file`` is the SHA-256 of the file that it came from. A row that
    supersedes another takes it back.
    """

    __tablename__ = "finding"
    __table_args__ = (
        CheckConstraint(ONE_OF_THREE, name="one_of_three"),
        CheckConstraint(ONE_PLACE, name="one_place"),
        UniqueConstraint("supersedes_id"),
        STRICT,
    )
    visit_id: int = Field(foreign_key="visit.id", ondelete="RESTRICT", index=True)
    bore: int | None = None
    bank: str = Field(default="", sa_type=Text)
    kind: str = Field(sa_type=Text)
    value: float | None = Field(default=None, sa_type=REAL)
    word: str | None = Field(default=None, sa_type=Text)
    why: str | None = Field(default=None, sa_type=Text)
    unit: str = Field(default="", sa_type=Text)
    spread: float | None = Field(default=None, sa_type=REAL)
    source: str = Field(sa_type=Text)
    file: str | None = Field(default=None, sa_type=Text)
    after_move: int
    by: str = Field(sa_type=Text)
    at: str = Field(sa_type=Text)
    supersedes_id: int | None = Field(default=None, foreign_key="finding.id", ondelete="RESTRICT")
    after_reading: int | None = None
