"""Which engines wait to be handed over to another store, and how far it acknowledged them.

An engine waits from its first change that was not acknowledged on, whatever became of the line, the program or the
computer meanwhile: what is kept says what was acknowledged, never what was sent.
"""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass

from sqlalchemy import ColumnElement, func
from sqlmodel import Session, col, select

from app.shop.exchange.exports import engine_file, written
from app.shop.exchange.handing.codes import HandOverProblem
from app.shop.exchange.imports import LARGEST, entry_keys
from app.shop.queries.changes import changes_after, newest_change
from app.shop.reasons import Reason, because
from app.shop.record.stored_reasons import stored
from app.shop.store.database import Database
from app.shop.store.handing.tables import Handed
from app.shop.store.tables import Engine, SignOff
from app.shop.training import training

LOOKED_AT = 0
"""The row that has up to which change the engines were looked at."""

AT_ONCE = 5_000
"""How many changes are looked at together."""


@dataclass(frozen=True, slots=True)
class Parcel:
    """One engine to be handed over: the ``text`` of its file, the keys in it, and the newest change that it heeds."""

    engine_id: int
    text: bytes
    keys: frozenset[str]
    seq: int


def look(shop: Database, receiver: str) -> None:
    """Note which engines changed since they were looked at last; all of them for a receiver that is new."""
    with shop.reading() as session:
        cursor = session.get(Handed, LOOKED_AT)
    after = cursor.has if cursor is not None and cursor.receiver == receiver else 0
    while True:
        with shop.reading() as session:
            changes = changes_after(session, after, AT_ONCE)
        if not changes:
            return
        after = changes[-1].seq
        wants = {one.engine_id: one.seq for one in changes if one.engine_id is not None}
        with shop.writing() as session:
            for engine_id, seq in {**wants, LOOKED_AT: after}.items():
                row = _of(session, engine_id, receiver)
                row.wants = seq
                if engine_id == LOOKED_AT:
                    row.has = after
                session.add(row)


def waiting(session: Session, receiver: str) -> list[int]:
    """Engines that the receiver has not acknowledged whole, those that were never tried first."""
    asked = select(Handed.engine_id).where(*_waits(receiver)).order_by(col(Handed.tried_at), col(Handed.engine_id))
    return list(session.exec(asked).all())


def parcel(session: Session, engine_id: int, at: str) -> Parcel:
    """An engine as it is now. Raises RejectedError for one that is only there to train on, which never waits."""
    seq = newest_change(session)
    file = engine_file(session, engine_id, at)
    return Parcel(engine_id, written(file).encode(), frozenset(entry_keys(file)), seq)


def too_large(one: Parcel) -> Reason | None:
    """Why no shop takes a parcel, None where it may."""
    if len(one.text) <= LARGEST:
        return None
    return because(HandOverProblem.TOO_LARGE, most=LARGEST // 1024 // 1024)


def acknowledged(shop: Database, receiver: str, one: Parcel, at: str) -> None:
    """The receiver has every key of a parcel."""
    _kept(shop, receiver, one.engine_id, at, has=one.seq, keys=len(one.keys))


def failed(shop: Database, receiver: str, engine_id: int, problem: Reason, at: str) -> None:
    """The receiver did not take an engine, or not all of it."""
    _kept(shop, receiver, engine_id, at, problem=stored([problem]))


def newest_sign_off(session: Session) -> int:
    """The newest sign-off of any visit, 0 for none."""
    return session.exec(select(func.max(SignOff.id))).one() or 0


@dataclass(frozen=True, slots=True)
class WaitingEngine:
    """One engine that waits; ``problem`` is stored, empty where it was not tried or the line was cut before it."""

    engine_id: int
    serial: str
    problem: str
    tried_at: str


@dataclass(frozen=True, slots=True)
class HandOverStanding:
    """How the hand-over stands: engines that the receiver has whole, and those that wait, ``most`` of them at most."""

    whole: int
    count: int
    waiting: Sequence[WaitingEngine]


def standing(session: Session, receiver: str, most: int) -> HandOverStanding:
    """How far everything is handed over to a receiver. What changed since the last turn waits too."""
    new = _not_looked_at(session, receiver)
    whole = select(func.count()).where(*_mine(receiver), Handed.wants <= Handed.has)
    has = session.exec(whole.where(col(Handed.engine_id).not_in(list(new)[:AT_ONCE]))).one()  # more are of none here
    new = new - set(waiting(session, receiver))
    count = session.exec(select(func.count()).where(*_waits(receiver))).one() + len(new)
    asked = select(Handed, Engine.serial).join(Engine, col(Engine.id) == Handed.engine_id).where(*_waits(receiver))
    rows = session.exec(asked.order_by(col(Handed.problem) == "", col(Handed.engine_id)).limit(most)).all()
    told = [WaitingEngine(row.engine_id, serial, row.problem, row.tried_at) for row, serial in rows]
    shown = sorted(new)[: most - len(told)]
    named = select(Engine.id, Engine.serial).where(col(Engine.id).in_(shown)).order_by(col(Engine.id))
    told += [WaitingEngine(ident, serial, "", "") for ident, serial in session.exec(named).all() if ident is not None]
    return HandOverStanding(has, count, told)


def _not_looked_at(session: Session, receiver: str) -> set[int]:
    """Engines that changed since ``look``, as far as AT_ONCE reaches; for a receiver that is new, all it has not."""
    cursor = session.get(Handed, LOOKED_AT)
    if cursor is not None and cursor.receiver == receiver:
        changed = {one.engine_id for one in changes_after(session, cursor.has, AT_ONCE) if one.engine_id is not None}
        return changed - training.ids(session)
    known = select(Handed.engine_id).where(Handed.receiver == receiver)
    unknown = select(Engine.id).where(col(Engine.id).not_in(known), col(Engine.id).not_in(training.SIMULATED))
    return {one for one in session.exec(unknown).all() if one is not None}


def _mine(receiver: str) -> Iterator[ColumnElement[bool]]:
    """Rows of engines that go to a receiver: those to train on stay."""
    yield col(Handed.receiver) == receiver
    yield col(Handed.engine_id) != LOOKED_AT
    yield col(Handed.engine_id).not_in(training.SIMULATED)


def _waits(receiver: str) -> Iterator[ColumnElement[bool]]:
    yield from (*_mine(receiver), col(Handed.wants) > col(Handed.has))


def _of(session: Session, engine_id: int, receiver: str) -> Handed:
    """The row of an engine, begun anew for another receiver."""
    row = session.get(Handed, engine_id)
    if row is None:
        return Handed(engine_id=engine_id, receiver=receiver, wants=0, has=0, keys=0, problem="", tried_at="")
    if row.receiver != receiver:
        row.receiver, row.wants, row.has, row.keys, row.problem, row.tried_at = receiver, 0, 0, 0, "", ""
    return row


def _kept(
    shop: Database,
    receiver: str,
    engine_id: int,
    at: str,
    *,
    has: int | None = None,
    keys: int | None = None,
    problem: str = "",
) -> None:
    with shop.writing() as session:
        row = _of(session, engine_id, receiver)
        row.has = row.has if has is None else has
        row.keys = row.keys if keys is None else keys
        row.problem, row.tried_at = problem, at
        session.add(row)
