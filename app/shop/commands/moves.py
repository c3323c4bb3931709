"""Moves: what was actually turned or reset, as advised or otherwise."""

import math
from dataclasses import dataclass, replace

from app.shop.assessment.progress import require_open
from app.shop.assessment.verdicts import needs_preset
from app.shop.errors import ConflictError, RejectedError
from app.shop.record import loader
from app.shop.record.entries import MoveEntry
from app.shop.record.visit_record import VisitRecord
from app.shop.store.database import Database
from app.shop.store.idempotency import checked, earlier, fingerprint
from app.shop.store.tables import MoveRow
from app.sync.engine.layout import Coupler
from app.sync.engine.units import THOU
from app.wording.words import blade

MOST = {"stop": 4.0, "screw": 4.0, "link": 24.0, "bypass": 10.0}
MOST_LEAVES = 2
THINNEST, THICKEST = 0.5 * THOU, 60 * THOU
TOLD_TWICE = "Another tablet kept a move meanwhile. Keep this one only if it was made as well; then read a new round."


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
    """Store a move that was made and return its id. Raises RefusedError, with nothing stored.

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
            raise RejectedError({"kind": f"Nothing of that kind is moved in {phase.title.lower()}."})
        if not needs_preset(record) and record.as_found() is None:
            raise RejectedError({"kind": "As found comes first: read every bore and close the round, then move."})
        if problems := _problems(record, new):
            raise RejectedError(problems)
        if seen is not None and seen != record.last_move:
            raise ConflictError({"": TOLD_TWICE})
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


def _problems(record: VisitRecord, new: NewMove) -> dict[str, str]:
    if new.kind in ("blade", "screw") and (wrong := _coupler_problem(record, new)):
        return {"near": wrong}
    if new.kind == "blade":
        return _leaves_problems(record, new)
    if new.kind == "bypass" and new.near not in record.layout.bypass:
        return {"near": "A bore with a bypass screw that this engine has."}
    if new.kind in ("stop", "link") and new.bank not in {bank.name for bank in record.layout.banks}:
        return {"bank": "A bank that this engine has."}
    most = MOST[new.kind]
    unit = "flats" if new.kind == "link" else "turns"
    if not math.isfinite(new.amount) or new.amount == 0 or abs(new.amount) > most:
        return {"amount": f"More than 0 and at most {most:g} {unit}."}
    return {}


def _coupler_problem(record: VisitRecord, new: NewMove) -> str:
    """What is wrong with the coupler that a move names; empty for nothing."""
    if new.near is None or new.far is None or Coupler(new.near, new.far) not in record.layout.couplers():
        return "A coupler that this engine has."
    by_screw = record.layout.by_screw(Coupler(new.near, new.far))
    if by_screw and new.kind == "blade":
        return "A screw sets that coupler, and no blade."
    if not by_screw and new.kind == "screw":
        return "No screw sets that coupler: it is reset on a blade."
    return ""


def _leaves_problems(record: VisitRecord, new: NewMove) -> dict[str, str]:
    if not 1 <= len(new.leaves) <= MOST_LEAVES:
        return {"leaves": "One leaf, or two stacked."}
    if not all(math.isfinite(leaf) for leaf in new.leaves) or not THINNEST <= sum(new.leaves) <= THICKEST:
        metric = record.units.metric
        return {"leaves": f"Between {blade(THINNEST, metric)} and {blade(THICKEST, metric)}, all leaves together."}
    return {}
