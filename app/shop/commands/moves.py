"""Moves: what was actually turned or reset, as advised or otherwise; and moves corrected while the visit is open.

A move that was not made is taken back, one that was made differently is changed: each by a row that supersedes it and
keeps its place among the readings.
"""

import math
from collections.abc import Mapping
from dataclasses import dataclass, field, replace
from typing import Any

from sqlmodel import Session

from app.shop.assessment.gates import require_open
from app.shop.assessment.verdicts import needs_preset
from app.shop.errors import ConflictError, NotFoundError, Problems, RejectedError
from app.shop.procedure.items import Phase
from app.shop.procedure.limits import why_ended
from app.shop.procedure.parts import needs_power_off
from app.shop.procedure.phases import FIRST_FIRE, phase_named
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
    as the card said. ``power_off``: the throttles had no power and the maker's instructions allowed it, which is asked
    where motors move the plates. It stays out of the fingerprint that older programs made.
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
    power_off: bool = field(default=False, repr=False)

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
    with loader.writing(shop, visit_id, MoveRow, key) as session:
        if again := earlier(session, MoveRow, key, sent):
            return again.ident
        record = as_done(loader.load(session, visit_id), at)
        phase = require_open(record, new.phase)
        _require_allowed(record, phase, new)
        if not needs_preset(record) and record.as_found() is None:
            raise RejectedError({"kind": because(Rejection.AS_FOUND_FIRST)})
        if problems := _problems(record, new):
            raise RejectedError(problems)
        if phase.rounds == "fine" and not any(r.readings for r in record.rounds if r.row.phase != FIRST_FIRE.slug):
            raise RejectedError({"kind": because(Rejection.ADJUSTED_BEFORE_READING)})
        if seen is not None and seen != record.newest_move:
            raise ConflictError({"": because(Rejection.ADJUSTED_BY_ANOTHER_TABLET)})
        return _store(session, record, key, sent, _said(record, new), record.last_reading, at)


def change(shop: Database, visit_id: int, key: str, move_id: int, new: NewMove, at: str) -> int:
    """Say how a move was really made, and return the id of the row that says so.

    Raises NotFoundError for a move that was not made in that phase of the visit, RejectedError once the visit is signed
    off or for what cannot have been made, ConflictError when the move was corrected meanwhile.
    """
    key = checked(key)
    sent = fingerprint(visit=visit_id, changes=move_id, new=new)
    with loader.writing(shop, visit_id, MoveRow, key) as session:
        if again := earlier(session, MoveRow, key, sent):
            return again.ident
        record = loader.load(session, visit_id)
        old = _told(record, new.phase, move_id)
        _require_unsigned(record)
        _require_allowed(record, phase_named(old.phase), new)
        if problems := _problems(record, new):
            raise RejectedError(problems)
        if (later := _successor(record, old)) is not None:
            code = Rejection.MOVE_TAKEN_BACK if later.taken_back else Rejection.CHANGED_BY_ANOTHER_TABLET
            raise ConflictError({"": because(code)})
        return _store(session, record, key, sent, _said(record, new), old.after_reading, at, old.ident)


def take_back(shop: Database, visit_id: int, key: str, slug: str, move_id: int, by: str, at: str) -> int:
    """Say that a move of a phase was not made after all, and return the id of the row that says so.

    A move that was taken back before stays so, and its row is returned. Raises NotFoundError, RejectedError once the
    visit is signed off, ConflictError when the move was changed meanwhile.
    """
    key = checked(key)
    sent = fingerprint(visit=visit_id, taken_back=move_id)
    with loader.writing(shop, visit_id, MoveRow, key) as session:
        if again := earlier(session, MoveRow, key, sent):
            return again.ident
        record = loader.load(session, visit_id)
        old = _told(record, slug, move_id)
        _require_unsigned(record)
        if (later := _successor(record, old)) is not None:
            if later.taken_back:
                return later.ident
            raise ConflictError({"": because(Rejection.CHANGED_BY_ANOTHER_TABLET)})
        said = {name: getattr(old, name) for name in SAID} | {"by": by.strip() or record.visit.by, "taken_back": 1}
        return _store(session, record, key, sent, said, old.after_reading, at, old.ident)


def undo(shop: Database, visit_id: int, key: str, slug: str, move_id: int, by: str, at: str) -> int:
    """Undo what a row of a move says, and return the id of the row that does: a move counts again as it was recorded
    before it was changed, and one that was not changed was not made.

    Raises NotFoundError, RejectedError once the visit is signed off, ConflictError when it was corrected meanwhile.
    """
    key = checked(key)
    sent = fingerprint(visit=visit_id, undone=move_id)
    with loader.writing(shop, visit_id, MoveRow, key) as session:
        if again := earlier(session, MoveRow, key, sent):
            return again.ident
        record = loader.load(session, visit_id)
        wrong = _told(record, slug, move_id)
        before = next((m for m in record.all_moves if m.ident == wrong.supersedes_id), None)
        if before is not None and not before.taken_back:
            _require_unsigned(record)
            if _successor(record, wrong) is not None:
                raise ConflictError({"": because(Rejection.CHANGED_BY_ANOTHER_TABLET)})
            said = {name: getattr(before, name) for name in SAID} | {"by": by.strip() or record.visit.by}
            return _store(session, record, key, sent, said, before.after_reading, at, wrong.ident)
    return take_back(shop, visit_id, key, slug, move_id, by, at)


def stored_under(shop: Database, visit_id: int, key: str) -> int:
    """The id of the move of a visit stored under a key, by which a tablet names one whose id it does not know yet.

    Raises NotFoundError when there is none.
    """
    key = checked(key)
    with shop.reading() as session:
        record = loader.load(session, visit_id)
    found = next((move.ident for move in record.all_moves if move.key == key), None)
    if found is None:
        raise NotFoundError(because(Rejection.NO_SUCH_MOVE))
    return found


SAID = ("phase", "kind", "bank", "near", "far", "amount", "leaves", "advised", "power_off")
"""The columns that say what was moved."""


def _said(record: VisitRecord, new: NewMove) -> dict[str, Any]:
    """What a row says of a move that was made."""
    return {
        "phase": new.phase,
        "kind": new.kind,
        "bank": new.bank or (record.layout.bank_of(new.near).name if new.near else ""),
        "near": new.near,
        "far": new.far,
        "amount": sum(new.leaves) if kind_of(new.kind).unit == "leaves" else new.amount,
        "leaves": " ".join(f"{leaf:.9f}" for leaf in new.leaves),
        "advised": int(new.advised),
        "power_off": 1 if needs_power_off(record.layout, kind_of(new.kind)) else None,
        "by": new.by.strip() or record.visit.by,
    }


def _store(
    session: Session,
    record: VisitRecord,
    key: str,
    sent: str,
    said: Mapping[str, Any],
    after: int,
    at: str,
    supersedes: int | None = None,
) -> int:
    """Store one row of a move in its place among the readings, and return its id."""
    visit = record.visit.ident
    row = MoveRow(key=key, payload=sent, visit_id=visit, after_reading=after, at=at, supersedes_id=supersedes, **said)
    session.add(row)
    session.flush()
    loader.remember(session, replace(record, all_moves=(*record.all_moves, MoveEntry.of(row))))
    return row.ident


def _told(record: VisitRecord, slug: str, move_id: int) -> MoveEntry:
    """A row of the visit that says what was moved in a phase. Raises NotFoundError."""
    made = (m for m in record.all_moves if m.phase == slug and not m.taken_back)
    found = next((m for m in made if m.ident == move_id), None)
    if found is None:
        raise NotFoundError(because(Rejection.NO_SUCH_MOVE))
    return found


def _successor(record: VisitRecord, move: MoveEntry) -> MoveEntry | None:
    """The row that supersedes that of a move."""
    return next((m for m in record.all_moves if m.supersedes_id == move.ident), None)


def _require_unsigned(record: VisitRecord) -> None:
    if ended := why_ended(record):
        raise RejectedError({"": ended})


def _require_allowed(record: VisitRecord, phase: Phase, new: NewMove) -> None:
    kind = next((kind for kind in kinds() if kind.slug == new.kind and phase.may_move(kind)), None)
    if kind is None:
        raise RejectedError({"kind": because(Rejection.MOVE_NOT_IN_PHASE)})
    if needs_power_off(record.layout, kind) and not new.power_off:
        raise RejectedError({"power_off": because(Rejection.THROTTLES_HAVE_POWER)})


def _problems(record: VisitRecord, new: NewMove) -> Problems:
    kind = kind_of(new.kind)
    if (wrong := _place_problem(record.layout, kind, new.place)) is not None:
        return {"bank" if kind.sits == "bank" else "near": because(wrong)}
    if kind.unit == "leaves":
        return feeler_problems(record, new.leaves)
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


def feeler_problems(record: VisitRecord, leaves: tuple[float, ...]) -> Problems:
    """What is wrong with a feeler of those leaves [m], under ``leaves``; nothing where it can be laid."""
    if not 1 <= len(leaves) <= MOST_LEAVES:
        return {"leaves": because(Rejection.FEELER_COUNT, most=MOST_LEAVES)}
    if not all(math.isfinite(leaf) for leaf in leaves) or not THINNEST <= sum(leaves) <= THICKEST:
        unit, size = ("mm", MM) if record.units.metric else ("in", INCH)
        low, high = round(THINNEST / size, 4), round(THICKEST / size, 3)
        return {"leaves": because(Rejection.FEELERS_OUT_OF_RANGE, low=low, high=high, unit=unit)}
    return {}
