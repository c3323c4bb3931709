"""Tables of live values: what a taken value was worked out from, and the programs that may send some."""

from sqlalchemy import REAL, CheckConstraint, Text, UniqueConstraint
from sqlmodel import Field

from app.shop.store.rows import STRICT, Evidence


class LookRow(Evidence, table=True):
    """What was seen when a live value was taken: ``window`` [s] of ``rate`` samples a second, engine ``speed`` [rev/s].

    ``channels`` is the SHA-256 of how the sender's channels were declared, ``trace`` that of the samples as
    ``store.live.traces`` keeps them. The readings that it stands for name it. ``check_id`` is the comparison of its
    sensors that was in force, None for none.
    """

    __tablename__ = "look"
    __table_args__ = (
        CheckConstraint("window > 0", name="window"),
        CheckConstraint("speed IS NULL OR speed > 0", name="speed"),
        STRICT,
    )
    visit_id: int = Field(foreign_key="visit.id", ondelete="RESTRICT", index=True)
    window: float = Field(sa_type=REAL)
    rate: float = Field(sa_type=REAL)
    speed: float | None = Field(default=None, sa_type=REAL)
    channels: str = Field(sa_type=Text)
    trace: str = Field(sa_type=Text)
    at: str = Field(sa_type=Text)
    check_id: int | None = None


class FeedRow(Evidence, table=True):
    """A program that may send live values. Its withdrawal (``active`` 0) is a row that supersedes the one before.

    ``token`` is the SHA-256 of what the program sends.
    """

    __tablename__ = "feed"
    __table_args__ = (UniqueConstraint("supersedes_id"), STRICT)
    name: str = Field(sa_type=Text)
    token: str = Field(sa_type=Text)
    active: int
    at: str = Field(sa_type=Text)
    supersedes_id: int | None = Field(default=None, foreign_key="feed.id", ondelete="RESTRICT")


class FillingRow(Evidence, table=True):
    """Word that the instruments are at the engine of a visit, and fill in what they show; ``active`` 0: no longer.

    The newest row of all visits counts.
    """

    __tablename__ = "filling"
    __table_args__ = (STRICT,)
    visit_id: int = Field(foreign_key="visit.id", ondelete="RESTRICT", index=True)
    active: int
    by: str = Field(sa_type=Text)
    at: str = Field(sa_type=Text)


class ChannelCheckRow(Evidence, table=True):
    """What became of a look at the sensors themselves: all of them at one pressure, ``kind`` ambient or tee, or one
    hose taken off, ``kind`` wiggle, which moved the channel of its ``bore`` alone.

    ``channels`` is the SHA-256 of how the sender's channels were declared. ``spread`` is the standard deviation of the
    sensors' means and ``depth`` the vacuum that they stood at [Pa]; ``figures`` are those of each channel, as JSON.
    """

    __tablename__ = "channel_check"
    __table_args__ = (
        CheckConstraint("kind IN ('ambient', 'tee', 'wiggle')", name="kind"),
        CheckConstraint("(kind = 'wiggle') <> (bore IS NULL)", name="bore"),
        CheckConstraint("(kind = 'wiggle') = (spread IS NULL)", name="spread"),
        STRICT,
    )
    channels: str = Field(sa_type=Text, index=True)
    kind: str = Field(sa_type=Text)
    bore: int | None = None
    spread: float | None = Field(default=None, sa_type=REAL)
    depth: float | None = Field(default=None, sa_type=REAL)
    figures: str = Field(sa_type=Text)
    by: str = Field(sa_type=Text)
    at: str = Field(sa_type=Text)
