"""Moves: what was actually turned or reset, as advised or otherwise."""

import math
from dataclasses import dataclass, replace

from app.shop.assessment.progress import require_open
from app.shop.assessment.verdicts import needs_preset
from app.shop.errors import ConflictError, Problems, RejectedError
from app.shop.procedure.running import as_done
from app.shop.reasons import because
from app.shop.record import loader
from app.shop.record.entries import MoveEntry
from app.shop.record.visit_record import VisitRecord
from app.shop.rejections import Rejection
from app.shop.store.database import Database
from app.shop.store.idempotency import checked, earlier, fingerprint
from app.shop.store.tables import MoveRow
from app.sync.engine.adjusters.kind import AdjusterKind
from app.sync.engine.adjusters.registry import kind_of, kinds
from app.sync.engine.events import Place
from app.sync.engine.layout import Layout
from app.sync.engine.units import INCH, MM, THOU

MOST_LEAVES = 2
THINNEST, THICKEST = 0.5 * THOU, 60 * THOU


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
    """Store a move that was made and return its id. Raises RejectedError, with nothing stored.

    ``seen`` is the newest move of the visit that the maker of this one knew of, 0 for none: when there is a newer one,
    both may be the same turn of the same screw, told by two tablets, and ConflictError asks. None asks nothing.
    """
    key = checked(key)
    sent = fingerprint(visit=visit_id, new=new)
    with shop.writing() as session:
        if again := earlier(session, MoveRow, key, sent):
            return again.ident
        record = as_done(loader.load(session, visit_id), at)
        phase = require_open(record, new.phase)
        if not any(kind.slug == new.kind and phase.may_move(kind) for kind in kinds()):
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


def _problems(record: VisitRecord, new: NewMove) -> Problems:
    kind = kind_of(new.kind)
    if (wrong := _place_problem(record.layout, kind, new.place)) is not None:
        return {"bank" if kind.sits == "bank" else "near": because(wrong)}
    if kind.unit == "leaves":
        return _feeler_problems(record, new)
    if not math.isfinite(new.amount) or new.amount == 0 or abs(new.amount) > kind.most:
        code = Rejection.FLATS_OUT_OF_RANGE if kind.unit == "flats" else Rejection.TURNS_OUT_OF_RANGE
        return {"amount": because(code, most=kind.most)}
    return {}


def _place_problem(layout: Layout, kind: AdjusterKind, place: Place) -> Rejection | None:
    """What is wrong with the place that a move names."""
    if kind.sits == "bank":
        return None if place.bank in {bank.name for bank in layout.banks} else Rejection.NO_SUCH_BANK
    adjuster = kind.adjuster(place)
    if adjuster in kind.adjusters(layout):
        return None
    if kind.sits == "bore":
        return Rejection.NO_SUCH_BYPASS_SCREW if kind.slug == "bypass" else Rejection.NO_SUCH_SCREW
    if adjuster not in layout.couplers():
        return Rejection.NO_SUCH_COUPLER
    return Rejection.COUPLER_HAS_SCREW if kind.unit == "leaves" else Rejection.COUPLER_HAS_NO_SCREW


def _feeler_problems(record: VisitRecord, new: NewMove) -> Problems:
    if not 1 <= len(new.leaves) <= MOST_LEAVES:
        return {"leaves": because(Rejection.FEELER_COUNT, most=MOST_LEAVES)}
    if not all(math.isfinite(leaf) for leaf in new.leaves) or not THINNEST <= sum(new.leaves) <= THICKEST:
        unit, size = ("mm", MM) if record.units.metric else ("in", INCH)
        low, high = round(THINNEST / size, 4), round(THICKEST / size, 3)
        return {"leaves": because(Rejection.FEELERS_OUT_OF_RANGE, low=low, high=high, unit=unit)}
    return {}
