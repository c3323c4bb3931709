"""Sensors that stay at their bores, compared with each other: stored as evidence, and what is known at a time."""

import json
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, replace
from typing import Any

from sqlmodel import Session, col, select

from app.shop.errors import RejectedError
from app.shop.reasons import because
from app.shop.record.rounds import seconds
from app.shop.rejections import Rejection
from app.shop.store.database import Database
from app.shop.store.idempotency import checked, earlier, fingerprint
from app.shop.store.live.tables import ChannelCheckRow
from app.sync.engine.events import Meter
from app.sync.engine.units import KPA
from app.sync.readings.carried import MOST_APART
from app.sync.readings.observation import per_air
from app.sync.signals.comparison import (
    LEAST_DEPTH,
    Comparison,
    Floats,
    Held,
    Incomparable,
    IncomparableError,
    compared,
    lag_of,
    moved,
)

HOLDS = 24 * 3600.0
"""Seconds for which a comparison is gone by (our judgement: how far sensors drift in a day is not known)."""

TURNS = 1.0
"""Engine speed [rev/s] from which it counts as running (our judgement)."""

IDLE_DEPTH = 33 * KPA
"""Vacuum of an idling runner that sensors' difference is told beside (common practice, no published source)."""


@dataclass(frozen=True, slots=True)
class Array:
    """Sensors that stay at their bores and show a pressure: ``channels``, the SHA-256 of how their sender's channels
    were declared; the ``bores`` they are at and their values by channel, times [s] and values [Pa], both of shape
    (values,); whether they show ``absolute`` pressure; those that are ``silent``; the engine ``speed`` [rev/s], None
    where no channel tells it."""

    channels: str
    bores: Mapping[str, int]
    traces: Mapping[str, tuple[Floats, Floats]]
    absolute: bool
    silent: tuple[str, ...] = ()
    speed: float | None = None


@dataclass(frozen=True, slots=True)
class InForce:
    """The comparison that is gone by: the row's ``ident``, what sensors differ by [Pa], and when that was."""

    ident: int
    spread: float
    at: str

    @property
    def of_idle(self) -> float:
        """What that is of an idling runner's vacuum."""
        return self.spread / IDLE_DEPTH

    @property
    def proves(self) -> bool:
        """Whether it is little enough for a round to be proved, where no plenum joins the runners."""
        return self.spread / abs(per_air(IDLE_DEPTH, Meter("vacuum"))) <= MOST_APART


def compare(shop: Database, key: str, array: Array | None, held: Held, by: str, at: str) -> int:
    """Compare all sensors and store what they differ by, however much; returns the row's id.

    ``held`` is what they are at. Raises RejectedError where they cannot be compared, with the engine running, and
    without initials.
    """

    def row_of(key: str, sent: str, array: Array) -> ChannelCheckRow:
        if array.speed is not None and array.speed > TURNS:
            raise RejectedError({"": because(Incomparable.ENGINE_RUNS)})
        found = _compared(array, held)
        figures = {
            name: {"bore": array.bores[name], "mean": one.mean, "offset": one.offset, "scatter": one.scatter}
            for name, one in found.figures.items()
        }
        row = _row(key, sent, array, held, figures, by, at)
        row.spread, row.depth = found.spread, found.depth
        return row

    return _kept(shop, key, fingerprint(held=held, by=by), array, by, row_of)


def wiggle(shop: Database, key: str, array: Array | None, bore: int, begun: float, by: str, at: str) -> int:
    """Store that a bore's own channel moved, and no other, since its hose was taken off, and its lag; returns the row's
    id.

    ``begun`` is when that was asked for [s, the sender's time]. Raises RejectedError where none moved, several did, or
    the channel of another bore.
    """

    def row_of(key: str, sent: str, array: Array) -> ChannelCheckRow:
        try:
            name = moved(array.traces, begun)
        except IncomparableError as problem:
            raise RejectedError({"": because(problem.code, channels=problem.channels)}) from None
        if array.bores[name] != bore:
            raise RejectedError({"": because(Incomparable.OTHER_MOVED, channel=name, bore=array.bores[name])})
        lag = lag_of(*array.traces[name], begun)
        row = _row(key, sent, array, "wiggle", {name: {"bore": bore, **({} if lag is None else {"lag": lag})}}, by, at)
        row.bore = bore
        return row

    return _kept(shop, key, fingerprint(bore=bore, by=by), array, by, row_of)


def _kept(
    shop: Database,
    key: str,
    sent: str,
    array: Array | None,
    by: str,
    row_of: Callable[[str, str, Array], ChannelCheckRow],
) -> int:
    """Store the row of a check once, and return its id; the same key again is answered with what is there.

    ``sent`` is what came with the key. Raises RejectedError where the sensors cannot be compared, and without initials.
    """
    key = checked(key)
    with shop.writing() as session:
        if again := earlier(session, ChannelCheckRow, key, sent):
            return again.ident
        row = row_of(key, sent, _required(by, array))
        session.add(row)
        session.flush()
        return row.ident


def in_force(session: Session, channels: str, at: str) -> InForce | None:
    """What is known at a time of sensors whose channels are declared so: the newest comparison on a tee within
    ``HOLDS``, and what was seen at ambient since, the worse of both; None where they were not compared."""
    found: InForce | None = None
    for row in _rows(session, channels):
        if row.spread is None or not 0 <= seconds(at) - seconds(row.at) <= HOLDS:
            continue
        if row.kind == "tee":
            found = InForce(row.ident, row.spread, row.at)
        elif found is not None and row.spread > found.spread:
            found = replace(found, ident=row.ident, spread=row.spread)
    return found


def wiggled(session: Session, channels: str) -> frozenset[int]:
    """The bores whose channel was seen to be theirs, of channels declared so."""
    return frozenset(row.bore for row in _rows(session, channels) if row.bore is not None)


def lags(session: Session, channels: str) -> Mapping[str, float]:
    """What each sensor's time constant was last seen to be [s], of channels declared so."""
    told = [json.loads(row.figures) for row in _rows(session, channels) if row.kind == "wiggle"]
    return {name: float(one["lag"]) for figures in told for name, one in figures.items() if "lag" in one}


def newest(session: Session, most: int = 20) -> Sequence[ChannelCheckRow]:
    """The last checks of all sensors, newest first."""
    return session.exec(select(ChannelCheckRow).order_by(col(ChannelCheckRow.id).desc()).limit(most)).all()


def _rows(session: Session, channels: str) -> Sequence[ChannelCheckRow]:
    mine = select(ChannelCheckRow).where(ChannelCheckRow.channels == channels).order_by(col(ChannelCheckRow.id))
    return session.exec(mine).all()


def _required(by: str, array: Array | None) -> Array:
    """The sensors, where they can be compared and initials say by whom."""
    if not by.strip():
        raise RejectedError({"by": because(Rejection.INITIALS_MISSING)})
    if array is None or len(array.bores) < 2:
        raise RejectedError({"": because(Incomparable.TOO_FEW)})
    if array.silent:
        raise RejectedError({"": because(Incomparable.NOT_LIVE, channels=array.silent)})
    return array


def _compared(array: Array, held: Held) -> Comparison:
    values = {name: one for name, (_, one) in array.traces.items()}
    try:
        return compared(values, held, absolute=array.absolute)
    except IncomparableError as problem:
        told: dict[str, Any] = {"least": LEAST_DEPTH / KPA} if problem.code is Incomparable.TOO_SHALLOW else {}
        raise RejectedError({"": because(problem.code, channels=problem.channels, **told)}) from None


def _row(
    key: str, sent: str, array: Array, kind: str, figures: Mapping[str, object], by: str, at: str
) -> ChannelCheckRow:
    said = json.dumps(figures, sort_keys=True)
    return ChannelCheckRow(
        key=key, payload=sent, channels=array.channels, kind=kind, figures=said, by=by.strip(), at=at
    )
