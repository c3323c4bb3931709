"""Moves: what was actually turned or reset, as advised or otherwise."""

import math
from dataclasses import dataclass, replace

from app.shop.assessment.progress import require_open
from app.shop.assessment.verdicts import needs_preset
from app.shop.errors import ConflictError, Problems, RejectedError
from app.shop.reasons import Reason, because
from app.shop.record import loader
from app.shop.record.entries import MoveEntry
from app.shop.record.visit_record import VisitRecord
from app.shop.rejections import Rejection
from app.shop.store.database import Database
from app.shop.store.idempotency import checked, earlier, fingerprint
from app.shop.store.tables import MoveRow
from app.sync.engine.layout import Coupler
from app.sync.engine.units import INCH, MM, THOU

MOST = {"stop": 4.0, "screw": 4.0, "link": 24.0, "bypass": 10.0}
MOST_LEAVES = 2
THINNEST, THICKEST = 0.5 * THOU, 60 * THOU


@dataclass(frozen=True, slots=True)
class NewMove:
    """One adjustment made. ``amount`` is turns (stop, screw, bypass) or flats (link); a blade's, all its leaves [m].

    ``bank`` names the bank of a stop or link; ``near`` and ``far`` the coupler of a blade or screw; ``near`` the bore
    of a bypass screw. ``advised`` says whether it was made as the card said.
    """

    phase: str
    kind: str
    bank: str
    near: int | None
    far: int | None
    amount: float
    leaves: tuple[float, ...]
    advised: bool
    by: str


def make(shop: Database, visit_id: int, key: str, new: NewMove, at: str, seen: int | None = None) -> int:
    """Store a move that was made and return its id. Raises RejectedError, with nothing stored.

    ``seen`` is the newest move of the visit that whoever made this one knew of, 0 for none: when there is a newer one,
    both may be the same turn of the same screw, told by two tablets, and ConflictError asks. None asks nothing.
    """
    key = checked(key)
    sent = fingerprint(visit=visit_id, new=new)
    with shop.writing() as session:
        if again := earlier(session, MoveRow, key, sent):
            return again.ident
        record = loader.load(session, visit_id)
        phase = require_open(record, new.phase)
        if new.kind not in phase.moves:
            raise RejectedError({"kind": because(Rejection.MOVE_NOT_IN_PHASE)})
        if not needs_preset(record) and record.as_found() is None:
            raise RejectedError({"kind": because(Rejection.AS_FOUND_FIRST)})
        if problems := _problems(record, new):
            raise RejectedError(problems)
        if seen is not None and seen != record.last_move:
            raise ConflictError({"": because(Rejection.ADJUSTED_BY_ANOTHER_TABLET)})
        row = MoveRow(
            key=key,
            payload=sent,
            visit_id=visit_id,
            phase=phase.slug,
            kind=new.kind,
            bank=new.bank or (record.layout.bank_of(new.near).name if new.near else ""),
            near=new.near,
            far=new.far,
            amount=sum(new.leaves) if new.kind == "blade" else new.amount,
            leaves=" ".join(f"{leaf:.9f}" for leaf in new.leaves),
            advised=int(new.advised),
            after_reading=record.last_reading,
            by=new.by.strip() or record.visit.by,
            at=at,
        )
        session.add(row)
        session.flush()
        loader.remember(session, replace(record, all_moves=(*record.all_moves, MoveEntry.of(row))))
        return row.ident


def _problems(record: VisitRecord, new: NewMove) -> Problems:
    if new.kind in ("blade", "screw") and (wrong := _coupler_problem(record, new)):
        return {"near": wrong}
    if new.kind == "blade":
        return _feeler_problems(record, new)
    if new.kind == "bypass" and new.near not in record.layout.bypass:
        return {"near": because(Rejection.NO_SUCH_BYPASS_SCREW)}
    if new.kind in ("stop", "link") and new.bank not in {bank.name for bank in record.layout.banks}:
        return {"bank": because(Rejection.NO_SUCH_BANK)}
    most = MOST[new.kind]
    code = Rejection.FLATS_OUT_OF_RANGE if new.kind == "link" else Rejection.TURNS_OUT_OF_RANGE
    if not math.isfinite(new.amount) or new.amount == 0 or abs(new.amount) > most:
        return {"amount": because(code, most=most)}
    return {}


def _coupler_problem(record: VisitRecord, new: NewMove) -> Reason | None:
    """What is wrong with the coupler that a move names."""
    if new.near is None or new.far is None or Coupler(new.near, new.far) not in record.layout.couplers():
        return because(Rejection.NO_SUCH_COUPLER)
    by_screw = record.layout.by_screw(Coupler(new.near, new.far))
    if by_screw and new.kind == "blade":
        return because(Rejection.COUPLER_HAS_SCREW)
    if not by_screw and new.kind == "screw":
        return because(Rejection.COUPLER_HAS_NO_SCREW)
    return None


def _feeler_problems(record: VisitRecord, new: NewMove) -> Problems:
    if not 1 <= len(new.leaves) <= MOST_LEAVES:
        return {"leaves": because(Rejection.FEELER_COUNT, most=MOST_LEAVES)}
    if not all(math.isfinite(leaf) for leaf in new.leaves) or not THINNEST <= sum(new.leaves) <= THICKEST:
        unit, size = ("mm", MM) if record.units.metric else ("in", INCH)
        low, high = round(THINNEST / size, 4), round(THICKEST / size, 3)
        return {"leaves": because(Rejection.FEELERS_OUT_OF_RANGE, low=low, high=high, unit=unit)}
    return {}
