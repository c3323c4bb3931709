"""Readings: enter one, correct one, skip a bore, say which of two counts, begin another round.

A bore's turn that comes in for a bore already read was taken on another tablet that had not seen that value yet. It is
a measurement like the first, so it is kept, and both stand in question until a person says which counts.
"""

import math
from collections.abc import Mapping
from contextlib import nullcontext
from dataclasses import dataclass, field, replace
from typing import Any

from sqlmodel import Session, col, func, select

from app.shop.assessment.gates import require_open, require_ready, through
from app.shop.commands.live import looks
from app.shop.commands.live.looks import Seen
from app.shop.errors import ConflictError, RejectedError
from app.shop.procedure.codes import SetAside, SkipReason
from app.shop.procedure.doubtful_values import doubtful
from app.shop.procedure.items import Phase
from app.shop.procedure.limits import range_of
from app.shop.procedure.read_order import closing_bore, left_to_read, next_reading
from app.shop.procedure.running import as_done, round_ran_out
from app.shop.queries.assessed import gate_kept, keep_gate
from app.shop.reasons import Reason, because
from app.shop.record import loader
from app.shop.record.entries import MeterReading, RoundEntry
from app.shop.record.rounds import Round
from app.shop.record.settings import OPENINGS
from app.shop.record.stored_reasons import stored
from app.shop.record.superseding import current
from app.shop.record.visit_record import VisitRecord
from app.shop.rejections import Rejection
from app.shop.store.database import Database
from app.shop.store.idempotency import checked, earlier, fingerprint, part_key
from app.shop.store.row_hashes import store
from app.shop.store.tables import ReadingRow, RoundRow
from app.sync.engine.units import INCH, MM

KINDS = ("turn", "closing", "again", "skip")
COUNTS = ("older", "newer", "both")
LEAST_SD, MOST_SD = 1e-4, 0.5
"""Between which the standard error of a live value may lie, as a fraction (our judgement)."""

SAME_BLADE = 1e-7
"""Two openings this near are one [m]: what is told of one is rounded."""


@dataclass(frozen=True, slots=True)
class NewReading:
    """One value as the meter showed it, in its own unit; None skips the bore and wants a reason.

    The reason is a person's own words in ``why``, or ``why_code``, which counts where both are given.
    ``supersedes`` names the reading that was mistyped, in any round of the phase, whatever was moved since.
    ``kind`` is one of KINDS; a ``turn`` is the bore's turn in the round, entered without sight of another value of it,
    ``again`` a further reading of a bore that was read. ``from_above`` says how the opening was reached, None for as
    the round is: the first reading begins it that way. A live value has ``sd``, its standard error as a fraction, and
    ``look``, what the page named it by; ``fixed``: by a sensor that stays at its bore, ``alike``: what those differ by.
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
    why_code: SkipReason | None = field(default=None, repr=False)  # likewise
    sd: float | None = field(default=None, repr=False)  # likewise
    look: str = field(default="", repr=False)  # likewise
    fixed: bool = field(default=False, repr=False)  # likewise
    alike: float | None = field(default=None, repr=False)  # likewise


@dataclass(frozen=True, slots=True)
class NewLook:
    """What live channels showed at all bores at once, in the meter's unit: by bore the value and its standard error as
    a fraction; ``look`` is what the page named it by."""

    phase: str
    round_number: int
    values: Mapping[int, tuple[float, float]]
    by: str
    look: str = ""

    def reading(self, bore: int, kind: str) -> NewReading:
        """What it says of one bore. Raises RejectedError where it does not have it."""
        if bore not in self.values:
            raise RejectedError({"value": because(Rejection.NO_SUCH_BORE, bore=bore)})
        value, sd = self.values[bore]
        return NewReading(self.phase, self.round_number, bore, kind, value, self.by, sd=sd, look=self.look, fixed=True)


def add(
    shop: Database, visit_id: int, key: str, new: NewReading, at: str, *, sure: bool = True, seen: Seen | None = None,
    speed: float | None = None,
) -> int:  # fmt: skip
    """Store a reading and return its id; the first one of a round begins it. Raises RejectedError, ConflictError.

    Not ``sure``, a value far from what the bore or the others read last is rejected as FAR_OFF: likely a slip. ``seen``
    is the look of a live value, None where it is no longer known; ``speed`` [rev/s] is what a channel told beside it.
    """
    key = checked(key)
    apart: dict[str, Any] = {"from_above": new.from_above, "why_code": new.why_code, "sd": new.sd}
    apart |= {"look": new.look or None, "fixed": new.fixed or None}
    sent = fingerprint(visit=visit_id, new=new, **{name: one for name, one in apart.items() if one is not None})

    def decided(session: Session) -> int:
        if again := earlier(session, ReadingRow, key, sent):
            return again.ident
        record = as_done(loader.load(session, visit_id), at)
        gate = gate_kept(session, record, new.phase)
        phase = through(gate.closed, new.phase)
        waits = gate.waits if new.supersedes is None else None
        if problem := waits or _problem(record, new):
            raise RejectedError({"value": problem})
        look_id = looks.store_look(session, visit_id, key, seen, at) if seen is not None else None
        told = new if seen is None else replace(new, **looks.sensed(session, seen, new.value, record.meter.unit, at))
        later, entered = enter(session, record, phase, told, key, sent, at, look_id=look_id, sure=sure, speed=speed)
        loader.remember(session, later)
        keep_gate(session, later, new.phase, gate)
        return entered.ident

    with nullcontext() if seen is None else looks.keeping(shop, seen):
        return loader.written(shop, visit_id, ReadingRow, key, decided)


def enter(
    session: Session,
    record: VisitRecord,
    phase: Phase,
    new: NewReading,
    key: str,
    sent: str,
    at: str,
    *,
    look_id: int | None,
    sure: bool,
    speed: float | None,
) -> tuple[VisitRecord, MeterReading]:
    """Store one reading of an open phase: the record with it, and the reading. Raises RejectedError, ConflictError."""
    one = _round(session, record, phase, new, key, at)
    corrected = _superseded(one, new) if new.supersedes is not None else None
    if corrected is not None and corrected.value is None and new.value is not None:
        _require_its_turn(record, one, new)
    if not sure and new.value is not None and doubtful(record, one, new.bore, new.value, new.supersedes):
        raise RejectedError({"value": because(Rejection.FAR_OFF, value=new.value)})
    row: dict[str, Any] = {
        "key": key,
        "payload": sent,
        "round_id": one.row.ident,
        "bore": new.bore,
        "kind": _kind(new, corrected),
        "value": new.value,
        "unit": record.meter.unit,
        "why": stored([because(new.why_code)]) if new.why_code else new.why.strip(),
        "by": new.by.strip() or record.visit.by,
        "at": at,
        "supersedes_id": new.supersedes,
        "sd": new.sd if new.value is not None else None,
        "look_id": look_id if new.value is not None else None,
        "speed": speed if new.value is not None else None,
        "fixed": 1 if new.fixed and new.value is not None else None,
        "alike": new.alike if new.fixed and new.value is not None else None,
    }
    entered = MeterReading(store(session, ReadingRow, row), **row)
    return record.with_round(one.plus(entered)), entered


def add_look(
    shop: Database, visit_id: int, key: str, look: NewLook, at: str, *, seen: Seen | None = None,
    speed: float | None = None,
) -> tuple[int, ...]:  # fmt: skip
    """Store what all bores showed at once as the rest of the round, the drift check with it, and return the ids.

    One key, one transaction, one reading for each bore that is left to read, all of the same moment.
    Raises RejectedError, and ConflictError where the round is no longer the one that was looked at.
    """
    key = checked(key)
    sent = fingerprint(visit=visit_id, look=look)
    kept = nullcontext() if seen is None else looks.keeping(shop, seen)
    with kept, loader.writing(shop, visit_id, ReadingRow, part_key(key, "0")) as session:
        if again := earlier(session, ReadingRow, part_key(key, "0"), sent):
            rows = session.exec(select(ReadingRow.id).where(ReadingRow.payload == sent).order_by(col(ReadingRow.id)))
            return (again.ident, *(one for one in rows.all() if one is not None and one != again.ident))
        record = as_done(loader.load(session, visit_id), at)
        gate = gate_kept(session, record, look.phase)
        phase = through(gate.closed, look.phase)
        if gate.waits is not None:
            raise RejectedError({"value": gate.waits})
        look_id = looks.store_look(session, visit_id, key, seen, at) if seen is not None else None
        found: list[int] = []
        due = next_reading(record, phase)
        if due.round_number != look.round_number or due.bore is None:
            raise ConflictError({"value": because(Rejection.ANOTHER_ROUND, round=due.round_number)})
        while due.bore is not None and due.round_number == look.round_number:
            new = look.reading(due.bore, due.kind)
            if problem := _problem(record, new):
                raise RejectedError({"value": problem})
            new = new if seen is None else replace(new, **looks.sensed(session, seen, new.value, record.meter.unit, at))
            one = part_key(key, str(len(found)))
            record, entered = enter(session, record, phase, new, one, sent, at, look_id=look_id, sure=True, speed=speed)
            found.append(entered.ident)
            due = next_reading(record, phase)
        loader.remember(session, record)
        keep_gate(session, record, look.phase, gate)
        return tuple(found)


def stored_under(shop: Database, key: str) -> int:
    """The id of the reading stored under a key, by which a tablet names one whose id it does not know yet.

    Raises ConflictError when there is none.
    """
    with shop.reading() as session:
        found = session.exec(select(ReadingRow.id).where(ReadingRow.key == checked(key))).first()
    if found is None:
        raise ConflictError({"value": because(Rejection.CORRECTED_VALUE_UNKNOWN)})
    return found


def settle(
    shop: Database, visit_id: int, key: str, phase_slug: str, pair: tuple[int, int], counts: str, by: str, at: str
) -> int:
    """Say which of two readings of one bore counts, and return the id of the row that says so.

    ``pair`` are the older and the newer one, as ``Round.in_question`` has them; ``counts`` is one of COUNTS. The one
    that does not count is set aside by a skip that supersedes it; where both do, the newer becomes a further reading.
    Raises ConflictError when it was settled before.
    """
    key = checked(key)
    sent = fingerprint(visit=visit_id, pair=pair, counts=counts)
    with loader.writing(shop, visit_id, ReadingRow, key) as session:
        if again := earlier(session, ReadingRow, key, sent):
            return again.ident
        record = as_done(loader.load(session, visit_id), at)
        phase = require_open(record, phase_slug)
        one = next_reading(record, phase).current
        found = next((p for p in one.in_question if (p[0].ident, p[1].ident) == pair), None) if one else None
        if found is None:
            raise ConflictError({"counts": because(Rejection.CHOICE_CLOSED)})
        older, newer = found
        if counts not in COUNTS:
            raise RejectedError({"counts": because(Rejection.NOT_ONE_OF, choices=COUNTS)})
        replaced = older if counts == "newer" else newer
        row = ReadingRow(
            key=key,
            payload=sent,
            round_id=replaced.round_id,
            bore=replaced.bore,
            kind="again" if counts == "both" else "skip",
            value=replaced.value if counts == "both" else None,
            unit=replaced.unit,
            why="" if counts == "both" else stored([because(SetAside.OTHER_VALUE_COUNTS)]),
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
    """Begin one more round in a phase whose round is closed, and return its id. Raises RejectedError.

    ``wanted`` is what is laid under the central lever [m]; None for the last round's opening once more.
    """
    key = checked(key)
    chosen = {} if wanted is None and not from_above else {"opening": wanted, "from_above": from_above}
    sent = fingerprint(visit=visit_id, phase=phase_slug, **chosen)
    with loader.writing(shop, visit_id, RoundRow, key) as session:
        if again := earlier(session, RoundRow, key, sent):
            return again.ident
        record = as_done(loader.load(session, visit_id), at)
        phase = require_open(record, phase_slug)
        require_ready(record, phase)
        now = next_reading(record, phase)
        if phase.rounds == "none":
            raise RejectedError({"": because(Rejection.NO_READINGS_HERE)})
        if now.bore is not None:
            raise RejectedError({"": because(Rejection.ROUND_IN_PROGRESS, round=now.round_number, bore=now.bore)})
        known = (*record.settings.openings, *(one.row.opening for one in record.rounds))
        opening = now.opening if wanted is None else next((o for o in known if abs(o - wanted) < SAME_BLADE), wanted)
        if wanted is not None and phase.rounds != "openings":
            raise RejectedError({"opening": because(Rejection.BANK_BALANCE_ONLY)})
        if wanted is not None and not OPENINGS[0] <= opening <= OPENINGS[1]:
            raise RejectedError({"opening": _opening_range(record.units.metric)})
        return begin(session, record, phase, key, sent, opening, from_above, at).row.ident


def _opening_range(metric: bool) -> Reason:
    unit, size = ("mm", MM) if metric else ("in", INCH)
    low, high = (round(one / size, 3) for one in OPENINGS)
    return because(Rejection.OUT_OF_RANGE, low=low, high=high, unit=unit)


def _problem(record: VisitRecord, new: NewReading) -> Reason | None:
    meter = record.meter
    if new.bore not in record.layout.bores:
        return because(Rejection.NO_SUCH_BORE, bore=new.bore)
    if new.kind not in KINDS:
        return because(Rejection.NOT_ONE_OF, choices=KINDS)
    if new.value is None:
        return None if new.why_code or new.why.strip() else because(Rejection.REASON_MISSING)
    if new.kind == "skip" and new.supersedes is None:
        return because(Rejection.NOT_ONE_OF, choices=tuple(kind for kind in KINDS if kind != "skip"))
    if not math.isfinite(new.value) or not meter.low <= new.value <= meter.high:
        return range_of(meter)
    if new.sd is not None and not LEAST_SD <= new.sd <= MOST_SD:
        return because(Rejection.OUT_OF_RANGE, low=LEAST_SD, high=MOST_SD, unit="")
    return None


def _round(session: Session, record: VisitRecord, phase: Phase, new: NewReading, key: str, at: str) -> Round:
    known = next((r for r in record.rounds if r.row.number == new.round_number), None)
    if known is not None and known.row.phase == phase.slug:
        if new.supersedes is not None:
            return known
        if record.moved_since(known):
            raise ConflictError({"value": because(Rejection.ADJUSTED_SINCE, round=new.round_number)})
        if round_ran_out(record, known):
            raise ConflictError({"value": because(Rejection.ROUND_RAN_OUT, round=new.round_number)})
        if known.closed and new.kind != "again" and known is not next_reading(record, phase).current:
            raise ConflictError({"value": because(Rejection.ROUND_COMPLETE, round=new.round_number)})
        if new.from_above is (not known.row.from_above):
            raise ConflictError({"value": because(Rejection.APPROACH_DIFFERS, round=new.round_number)})
        _require_its_turn(record, known, new)
        return known
    now = next_reading(record, phase)
    if now.current is None and now.bore is not None and new.round_number == now.round_number:
        _require_its_turn(record, None, new)
        return begin(session, record, phase, part_key(key, "round"), "", now.opening, bool(new.from_above), at)
    raise ConflictError({"value": because(Rejection.ANOTHER_ROUND, round=now.round_number)})


def begin(
    session: Session, record: VisitRecord, phase: Phase, key: str, sent: str, opening: float, above: bool, at: str
) -> Round:
    """Store the head of the next round and return it, without readings. Raises RejectedError where idle is to be
    reached from ``above``."""
    if above and (phase.rounds != "openings" or not opening):
        raise RejectedError({"from_above": because(Rejection.BANK_BALANCE_ONLY)})
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


def _require_its_turn(record: VisitRecord, one: Round | None, new: NewReading) -> None:
    """Raises RejectedError for a further reading of a bore that was not read in the round, and for a drift check of
    another bore than ends the round or before every bore was read, skipped or left out."""
    read = one.latest if one is not None else {}
    if new.kind == "again" and new.bore not in read:
        raise RejectedError({"kind": because(Rejection.EXTRA_BEFORE_FIRST, bore=new.bore)})
    if new.kind != "closing":
        return
    left = left_to_read(record, one) if one is not None else record.layout.bores
    if left:
        raise RejectedError({"kind": because(Rejection.DRIFT_CHECK_LAST, bores=left)})
    last = closing_bore(record, one) if one is not None else None
    if new.bore != last:
        raise RejectedError({"bore": because(Rejection.DRIFT_CHECK_BORE, bore=last)})


def _superseded(one: Round, new: NewReading) -> MeterReading:
    old = next((r for r in current(one.entered) if (r.ident, r.bore) == (new.supersedes, new.bore)), None)
    if old is None:
        raise ConflictError({"value": because(Rejection.CHANGED_BY_ANOTHER_TABLET)})
    return old


def _kind(new: NewReading, corrected: MeterReading | None) -> str:
    """What a reading is stored as: a value in the place of another stays what that was, of a skipped bore its turn."""
    if new.value is None:
        return "skip"
    kind = new.kind if corrected is None or corrected.value is None else corrected.kind
    return "turn" if kind == "skip" else kind
