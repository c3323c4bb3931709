"""Readings: enter one, correct one, skip a bore, say which of two counts, begin another round.

A bore's turn that comes in for a bore already read was taken on another tablet that had not seen that value yet. It is
a measurement like the first, so it is kept, and both stand in question until a person says which counts.
"""

import math
from dataclasses import dataclass, field
from typing import Any

from sqlmodel import Session, func, select

from app.shop.assessment.progress import require_open, require_ready, through
from app.shop.assessment.verdicts import far_off
from app.shop.errors import ConflictError, RejectedError
from app.shop.procedure.items import Phase
from app.shop.procedure.read_order import next_reading
from app.shop.queries.assessed import gate_kept, keep_gate
from app.shop.record import loader
from app.shop.record.entries import MeterEntry, MeterReading, RoundEntry
from app.shop.record.settings import OPENINGS
from app.shop.record.superseding import current
from app.shop.record.visit_record import Round, VisitRecord
from app.shop.store.database import Database
from app.shop.store.idempotency import checked, earlier, fingerprint, part_key
from app.shop.store.row_hashes import store
from app.shop.store.tables import ReadingRow, RoundRow

KINDS = ("turn", "closing", "again", "skip")
COUNTS = ("older", "newer", "both")
FAR_OFF = "Far from the other bores. Keep it if the meter shows it, or correct it."
SAME_BLADE = 1e-7
"""Two openings this near are one [m]: what is told of one is rounded."""
SET_ASIDE = "Set aside: another value of this bore counts"


@dataclass(frozen=True, slots=True)
class NewReading:
    """One value as the meter showed it, in its own unit; None skips the bore and wants a reason.

    ``supersedes`` names the reading that was mistyped. ``kind`` is one of KINDS; a ``turn`` is the bore's turn in the
    round, as seen by somebody who saw no value of it yet, ``again`` a further reading of a bore that was read.
    ``from_above`` says how the opening was reached, None for as the round is: the first reading begins it that way.
    """

    phase: str
    round_number: int
    bore: int
    kind: str
    value: float | None
    by: str
    why: str = ""
    supersedes: int | None = None
    from_above: bool | None = field(default=None, repr=False)  # apart, so that what was sent before it was is a repeat


def add(shop: Database, visit_id: int, key: str, new: NewReading, at: str, *, sure: bool = True) -> int:
    """Store a reading and return its id; the first one of a round begins it. Raises RefusedError, ConflictError.

    Not ``sure``, a value far from the other bores' is refused, with FAR_OFF: it is more likely a slip.
    """
    key = checked(key)
    reached = {} if new.from_above is None else {"from_above": new.from_above}
    sent = fingerprint(visit=visit_id, new=new, **reached)
    with shop.writing() as session:
        if again := earlier(session, ReadingRow, key, sent):
            return again.ident
        record = loader.load(session, visit_id)
        gate = gate_kept(session, record, new.phase)
        phase = through(gate.closed, new.phase)
        if new.supersedes is None and gate.waits is not None:
            raise RejectedError({"value": gate.waits})
        if problem := _problem(record, new):
            raise RejectedError({"value": problem})
        one = _round(session, record, phase, new, key, at)
        if new.supersedes is not None:
            _may_supersede(one, new.supersedes, new.bore)
        if not sure and new.value is not None and far_off(one, new.bore, new.value):
            raise RejectedError({"value": FAR_OFF})
        row: dict[str, Any] = {
            "key": key,
            "payload": sent,
            "round_id": one.row.ident,
            "bore": new.bore,
            "kind": new.kind,
            "value": new.value,
            "unit": record.meter.unit,
            "why": new.why.strip(),
            "by": new.by.strip() or record.visit.by,
            "at": at,
            "supersedes_id": new.supersedes,
        }
        entered = MeterReading(store(session, ReadingRow, row), **row)
        later = record.with_round(one.plus(entered))
        loader.remember(session, later)
        keep_gate(session, later, new.phase, gate)
        return entered.ident


def stored_under(shop: Database, key: str) -> int:
    """The id of the reading stored under a key, by which a tablet names one whose id it does not know yet.

    Raises ConflictError when there is none.
    """
    with shop.reading() as session:
        found = session.exec(select(ReadingRow.id).where(ReadingRow.key == checked(key))).first()
    if found is None:
        raise ConflictError({"value": "The value that this one corrects was not kept. Read the bore once more."})
    return found


def settle(
    shop: Database, visit_id: int, key: str, phase_slug: str, pair: tuple[int, int], counts: str, by: str, at: str
) -> int:
    """Say which of two readings of one bore counts, and return the id of the row that says so.

    ``pair`` are the older and the newer one, as ``Round.in_question`` has them; ``counts`` is one of COUNTS. The one
    that does not count is set aside by a skip that supersedes it; where both do, the newer becomes a further reading.
    Raises ConflictError when somebody settled it meanwhile.
    """
    key = checked(key)
    sent = fingerprint(visit=visit_id, pair=pair, counts=counts)
    with shop.writing() as session:
        if again := earlier(session, ReadingRow, key, sent):
            return again.ident
        record = loader.load(session, visit_id)
        phase = require_open(record, phase_slug)
        one = next_reading(record, phase).current
        found = next((p for p in one.in_question if (p[0].ident, p[1].ident) == pair), None) if one else None
        if found is None:
            raise ConflictError({"counts": "This was settled meanwhile, or something was moved since."})
        older, newer = found
        if counts not in COUNTS:
            raise RejectedError({"counts": "The older value, the newer one, or both."})
        replaced = older if counts == "newer" else newer
        row = ReadingRow(
            key=key,
            payload=sent,
            round_id=replaced.round_id,
            bore=replaced.bore,
            kind="again" if counts == "both" else "skip",
            value=replaced.value if counts == "both" else None,
            unit=replaced.unit,
            why="" if counts == "both" else SET_ASIDE,
            by=by.strip() or record.visit.by,
            at=at,
            supersedes_id=replaced.ident,
        )
        session.add(row)
        session.flush()
        return row.ident


def begin_round(
    shop: Database,
    visit_id: int,
    key: str,
    phase_slug: str,
    at: str,
    wanted: float | None = None,
    *,
    from_above: bool = False,
) -> int:
    """Begin one more round in a phase whose round is closed, and return its id. Raises RefusedError.

    ``wanted`` is what is laid under the central lever [m]; None for the last round's opening once more.
    """
    key = checked(key)
    chosen = {} if wanted is None and not from_above else {"opening": wanted, "from_above": from_above}
    sent = fingerprint(visit=visit_id, phase=phase_slug, **chosen)
    with shop.writing() as session:
        if again := earlier(session, RoundRow, key, sent):
            return again.ident
        record = loader.load(session, visit_id)
        phase = require_open(record, phase_slug)
        require_ready(record, phase)
        now = next_reading(record, phase)
        if phase.rounds == "none":
            raise RejectedError({"": "Nothing is read with the meter in this phase."})
        if now.bore is not None:
            raise RejectedError({"": f"Round {now.round_number} is still open: read bore {now.bore} first."})
        known = (*record.settings.openings, *(one.row.opening for one in record.rounds))
        opening = now.opening if wanted is None else next((o for o in known if abs(o - wanted) < SAME_BLADE), wanted)
        if wanted is not None and not (phase.rounds == "openings" and OPENINGS[0] <= opening <= OPENINGS[1]):
            raise RejectedError({"opening": "Between 0.002 and 0.12 in under the central lever, in the bank balance."})
        return _begin(session, record, phase, key, sent, opening, from_above, at).row.ident


def range_of(meter: MeterEntry) -> str:
    """What a meter can show, as a sentence."""
    return f"{meter.name} reads from {meter.low:g} to {meter.high:g} {meter.unit}."


def _problem(record: VisitRecord, new: NewReading) -> str:
    meter = record.meter
    if new.bore not in record.layout.bores:
        return f"This engine has no bore {new.bore}."
    if new.kind not in KINDS:
        return "A reading is a bore's turn, the closing one, or one read again."
    if new.value is None:
        return "" if new.why.strip() else f"Say why bore {new.bore} is skipped."
    if not math.isfinite(new.value) or not meter.low <= new.value <= meter.high:
        return range_of(meter)
    return ""


def _round(session: Session, record: VisitRecord, phase: Phase, new: NewReading, key: str, at: str) -> Round:
    known = next((r for r in record.rounds if r.row.number == new.round_number), None)
    if known is not None and known.row.phase == phase.slug:
        if record.moved_since(known):
            moved = f"Something was moved after round {new.round_number}: read it in a new round."
            raise ConflictError({"value": moved})
        once = new.kind != "again" and new.supersedes is None
        if known.closed and once and known is not next_reading(record, phase).current:
            raise ConflictError(
                {"value": f"Round {new.round_number} was closed meanwhile. Look at it, then read again."}
            )
        if new.supersedes is None and new.from_above is (not known.row.from_above):
            reached = "from above" if known.row.from_above else "without coming from above"
            raise ConflictError({"value": f"Round {new.round_number} is read {reached}. Look, then read again."})
        return known
    now = next_reading(record, phase)
    if now.current is None and now.bore is not None and new.round_number == now.round_number:
        return _begin(session, record, phase, part_key(key, "round"), "", now.opening, bool(new.from_above), at)
    raise ConflictError({"value": f"The page was behind: round {now.round_number} is the one being read now."})


def _begin(
    session: Session, record: VisitRecord, phase: Phase, key: str, sent: str, opening: float, above: bool, at: str
) -> Round:
    if above and (phase.rounds != "openings" or not opening):
        raise RejectedError({"from_above": "Only an opening of the bank balance is reached from above."})
    newest = session.exec(select(func.max(RoundRow.number)).where(RoundRow.visit_id == record.visit.ident)).one()
    row = RoundRow(
        key=key,
        payload=sent,
        visit_id=record.visit.ident,
        phase=phase.slug,
        number=(newest or 0) + 1,
        opening=opening,
        begun_at=at,
        from_above=1 if above else None,
    )
    session.add(row)
    session.flush()
    return Round(RoundEntry.of(row), ())


def _may_supersede(one: Round, reading: int, bore: int) -> None:
    if (reading, bore) not in {(r.ident, r.bore) for r in current(one.entered)}:
        raise ConflictError({"value": f"Bore {bore} was corrected meanwhile. Look at it, then correct again."})
