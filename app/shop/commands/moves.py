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
from app.sync.engine.adjusters.kind import AdjusterKind
from app.sync.engine.adjusters.registry import kind_of
from app.sync.engine.events import Place
from app.sync.engine.layout import Layout
from app.sync.engine.units import THOU
from app.wording.words import blade

MOST_LEAVES = 2
THINNEST, THICKEST = 0.5 * THOU, 60 * THOU
TOLD_TWICE = "Another tablet kept a move meanwhile. Keep this one only if it was made as well; then read a new round."


@dataclass(frozen=True, slots=True)
class NewMove:
    """One adjustment made. ``kind`` is the slug of the kind of adjuster, which says what names its place and what
    ``amount`` is measured in; where that is leaves, ``leaves`` [m] say it.

    ``bank`` names a bank; ``near`` and ``far`` a coupler; ``near`` alone a bore. ``advised`` says whether it was made
    as the card said.
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

    @property
    def place(self) -> Place:
        """Where the adjuster sits."""
        return Place(self.bank, self.near, self.far)


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
        if new.kind not in phase.move_kinds:
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
            amount=sum(new.leaves) if kind_of(new.kind).unit == "leaves" else new.amount,
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
    kind = kind_of(new.kind)
    if wrong := _place_problem(record.layout, kind, new.place):
        return {"bank" if kind.sits == "bank" else "near": wrong}
    if kind.unit == "leaves":
        return _leaves_problems(record, new)
    if not math.isfinite(new.amount) or new.amount == 0 or abs(new.amount) > kind.most:
        return {"amount": f"More than 0 and at most {kind.most:g} {kind.unit}."}
    return {}


def _place_problem(layout: Layout, kind: AdjusterKind, place: Place) -> str:
    """What is wrong with the place that a move names; empty for nothing."""
    if kind.sits == "bank":
        return "" if place.bank in {bank.name for bank in layout.banks} else "A bank that this engine has."
    if kind.adjuster(place) in kind.adjusters(layout):
        return ""
    if kind.sits == "bore":
        return f"A bore with a {kind.slug} screw that this engine has."
    if kind.adjuster(place) not in layout.couplers():
        return "A coupler that this engine has."
    if kind.unit == "leaves":
        return "A screw sets that coupler, and no blade."
    return "No screw sets that coupler: it is reset on a blade."


def _leaves_problems(record: VisitRecord, new: NewMove) -> dict[str, str]:
    if not 1 <= len(new.leaves) <= MOST_LEAVES:
        return {"leaves": "One leaf, or two stacked."}
    if not all(math.isfinite(leaf) for leaf in new.leaves) or not THINNEST <= sum(new.leaves) <= THICKEST:
        metric = record.units.metric
        return {"leaves": f"Between {blade(THINNEST, metric)} and {blade(THICKEST, metric)}, all leaves together."}
    return {}
