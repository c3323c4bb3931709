"""Practice: a simulated engine in the shop, to train on.

Its state is worked out each time from its seed and from what was recorded at it, like everything else here. A move is
made by recording it, and the simulated hand makes it imperfectly; every value entered counts as a reading taken.
"""

from dataclasses import dataclass, replace
from functools import lru_cache
from typing import get_args

import numpy as np
from sqlmodel import Session, select

from app.shop.commands import checks, opening_speeds, readings
from app.shop.commands.opening_speeds import NewSpeed
from app.shop.commands.readings import NewReading
from app.shop.cross_check.weighing import not_taken_back, stored
from app.shop.errors import NotFoundError, RejectedError
from app.shop.procedure.phases import BANK_BALANCE, HEAT_SOAKED, phase_named
from app.shop.procedure.read_order import next_reading
from app.shop.procedure.requirements import Waiting
from app.shop.reasons import because
from app.shop.record import loader
from app.shop.record.rounds import UNITS
from app.shop.record.visit_record import VisitRecord, move_of
from app.shop.rejections import Rejection
from app.shop.store.database import Database
from app.shop.store.idempotency import checked
from app.shop.store.tables import Practice, ReadingRow
from app.sync.engine.adjusters.registry import kind_of
from app.sync.engine.events import Event, Reading
from app.sync.engine.layout import Coupler, Layout
from app.sync.engine.linkage import link_rotation
from app.sync.engine.units import REV_PER_MIN
from app.sync.engine.work_minutes import READ_MINUTES, RESET_MINUTES, TURN_MINUTES
from app.sync.simulation.reference_run import ReferenceRun, median_run
from app.sync.simulation.rough_engine import grades
from app.sync.simulation.rough_stand import RoughStand
from app.sync.simulation.simulator import Imperfections, SimulatedEngine, Trouble, replay

TROUBLES: tuple[Trouble, ...] = get_args(Trouble)
RAN_BEFORE = 40.0
"""Minutes that a training engine ran before: it is heat-soaked."""


@dataclass(frozen=True, slots=True)
class TrueBore:
    """One bore as it really stands: flow [kg/s], how far from the mean as a fraction, edge gap [m]."""

    bore: int
    flow: float
    off: float
    gap: float


@dataclass(frozen=True, slots=True)
class Slack:
    """Lost motion of a coupler, as the fraction of its far bore's flow that it is good for from one rest to another."""

    coupler: Coupler
    swing: float


@dataclass(frozen=True, slots=True)
class Truth:
    """What cannot be seen at a real engine.

    ``worst`` and ``worst_at_first`` are fractions of the mean, ``scale`` what the meter shows over what flows, ``late``
    the bank whose link rod is late against the other and by how many flats, ``worn`` the bank with lost motion in a
    joint of its link rod and what that is good for in flats. ``minutes`` are those at idle, ``bank_minutes`` those off
    idle, ``cold_minutes`` those of the cold engine; ``moves`` are those of the engine as it ran.
    """

    bores: tuple[TrueBore, ...]
    mean: float
    speed: float
    scale: float
    worst: float
    worst_at_first: float
    slack: Slack | None
    slipped: Coupler | None
    worn: tuple[str, float] | None
    late: tuple[str, float] | None
    minutes: float
    bank_minutes: float
    readings: int
    moves: int
    cold_minutes: float = 0.0


def of_engine(session: Session, engine_id: int) -> Practice | None:
    """Word that an engine is simulated; None for a real one."""
    return session.exec(select(Practice).where(Practice.engine_id == engine_id)).first()


SIMULATED = select(Practice.engine_id)
"""The engines that are simulated, for a statement that leaves them out."""


def ids(session: Session) -> frozenset[int]:
    """The engines that are simulated."""
    return frozenset(session.exec(SIMULATED).all())


def read(shop: Database, visit_id: int, key: str, new: NewReading, at: str) -> int:
    """Read a bore of the training engine and keep what the meter shows, whatever ``value`` says. Returns its id.

    Raises RejectedError for an engine that is real, NotFoundError.
    """
    key = checked(key)
    with shop.reading() as session:
        kept = session.exec(select(ReadingRow.id).where(ReadingRow.key == key)).first()
        record = loader.load(session, visit_id)
        practice = of_engine(session, record.engine.ident)
        if kept is not None:
            return kept
        if practice is None:
            raise RejectedError({"value": because(Rejection.REAL_ENGINE)})
        if new.bore not in record.layout.bores:
            raise RejectedError({"value": because(Rejection.NO_SUCH_BORE, bore=new.bore)})
        stand = current_state(session, practice, record)
    size = UNITS[record.meter.unit]
    step = record.meter.step
    opening, above = _opening(record, new)
    look = stand.read if record.meter.quantity == "flow" else stand.read_column
    shown = step * round(look(new.bore, opening=opening, from_above=above) / size / step)
    value = min(max(shown, record.meter.low), record.meter.high)
    kind = "again" if new.supersedes is not None else new.kind
    taken = NewReading(new.phase, new.round_number, new.bore, kind, value, new.by, from_above=new.from_above)
    return readings.add(shop, visit_id, key, taken, at)


def read_speed(shop: Database, visit_id: int, key: str, slug: str, item: str, by: str, at: str) -> int:
    """Look at the training engine's tachometer and keep what it shows under an item of a phase.

    Raises RejectedError for an engine that is real, NotFoundError.
    """
    with shop.reading() as session:
        record = loader.load(session, visit_id)
        practice = of_engine(session, record.engine.ident)
        if practice is None:
            raise RejectedError({"value": because(Rejection.REAL_ENGINE)})
        stand = current_state(session, practice, record)
    return checks.record(shop, visit_id, key, slug, {item: round(stand.read_speed() / REV_PER_MIN)}, by, at)


def read_opening_speed(shop: Database, visit_id: int, key: str, new: NewSpeed, at: str) -> int:
    """Look at the training engine's tachometer with the lever on its feeler, and keep what it shows with the round.

    Raises RejectedError for an engine that is real, NotFoundError.
    """
    with shop.reading() as session:
        record = loader.load(session, visit_id)
        practice = of_engine(session, record.engine.ident)
        if practice is None:
            raise RejectedError({"value": because(Rejection.REAL_ENGINE)})
        stand = current_state(session, practice, record)
    speed = stand.running_speed(*_opening(record, new)) / REV_PER_MIN
    return opening_speeds.record(shop, visit_id, key, replace(new, speed=float(round(speed))), at)


def current_state(session: Session, practice: Practice, record: VisitRecord) -> SimulatedEngine:
    """The engine after everything recorded at it. ``record`` is the visit under way, whose meter it is read with.

    Raises RejectedError when it was said that other bores are fitted: the simulated engine cannot follow.
    """
    told = sorted(loader.of_engine(session, practice.engine_id), key=lambda one: one.visit.number)
    if any(one.layout != record.layout for one in told):
        raise RejectedError({"value": because(Rejection.TRAINING_LAYOUT_CHANGED)})
    stand = replay(fresh(practice, record), [event for one in told for event in _done(one)])
    if isinstance(stand, RoughStand) and any(_repaired(session, one, stand.dead) for one in told):
        stand.repair()
    return stand


def _repaired(session: Session, record: VisitRecord, dead: int | None) -> bool:
    """Whether the coupler of a bore was repaired in a visit."""
    made = not_taken_back(stored(session, record.visit.ident))
    return any((row.word, row.bore) == ("coupler", dead) for row in made)


def truth(session: Session, visit_id: int) -> Truth:
    """How the training engine of a visit really stands. Raises NotFoundError for a real engine."""
    record, practice = _practiced(session, visit_id)
    stand = current_state(session, practice, record)
    flow, speed = stand.solve()
    mean, flat = float(flow.mean()), link_rotation(1.0, stand.hardware)
    bores = tuple(
        TrueBore(bore, float(one), float(one) / mean - 1, float(gap))
        for bore, one, gap in zip(record.layout.bores, flow, stand.gaps(), strict=True)
    )
    off_idle = [m for m in record.moves if m.phase == BANK_BALANCE.slug]
    read_off = [r for one in record.rounds if one.row.phase == BANK_BALANCE.slug for r in one.entered if r.value]
    bank_minutes = READ_MINUTES * len(read_off) + TURN_MINUTES * len(off_idle)
    return Truth(
        bores=bores,
        mean=mean,
        speed=speed,
        scale=float(stand.scale),
        worst=stand.worst(),
        worst_at_first=stand.worst_at_first,
        slack=_slack(stand) if practice.trouble == "loose" else None,
        slipped=stand.suspect if practice.trouble == "slipped" else None,
        worn=next(((bank, lost / flat) for bank, lost in stand.joint.items() if lost), None),
        late=_late(stand),
        minutes=minutes_of(record) - bank_minutes,
        bank_minutes=bank_minutes,
        readings=sum(r.value is not None for one in record.rounds for r in one.entered),
        moves=len(record.moves),
        cold_minutes=float(stand.cold_minutes),
    )


def expert(session: Session, visit_id: int) -> ReferenceRun:
    """What a careful technician would have needed to even the same engine at idle. Slow the first time."""
    record, practice = _practiced(session, visit_id)
    settings = record.settings
    window = settings.window(HEAT_SOAKED.slug)
    return _careful(record.layout, practice.seed, _rough(record), practice.trouble, tuple(settings.blades), window)


def minutes_of(record: VisitRecord) -> float:
    """The work of a visit in minutes: what its readings take and its moves of the engine as it ran."""
    taken = sum(r.value is not None for one in record.rounds for r in one.entered)
    moved = sum(RESET_MINUTES if kind_of(m.kind).unit == "leaves" else TURN_MINUTES for m in record.moves)
    return READ_MINUTES * taken + moved


@lru_cache(maxsize=64)
def _careful(
    layout: Layout, seed: int, rough: Imperfections, trouble: str, blades: tuple[float, ...], window: float
) -> ReferenceRun:
    return median_run(stand_of(layout, seed, rough, trouble), blades, window)


def fresh(practice: Practice, record: VisitRecord) -> SimulatedEngine:
    """A training engine before anything was done at it, read with the meter of ``record``."""
    return stand_of(record.layout, practice.seed, _rough(record), practice.trouble)


def stand_of(layout: Layout, seed: int, rough: Imperfections, trouble: str) -> SimulatedEngine:
    """The simulated engine of a seed, hot, with link rods set by eye."""
    ails = next(one for one in TROUBLES if one == trouble)
    made = RoughStand if trouble in grades() else SimulatedEngine
    return made(layout, seed, rough, ails, heated=RAN_BEFORE, links_off=True)


def _rough(record: VisitRecord) -> Imperfections:
    meter = record.meter_as_read()
    return Imperfections(repeatability=meter.repeatability, step=meter.step)


def _done(record: VisitRecord) -> list[Event]:
    """Plates set cold and the preset of bypass screws, then readings in their order, corrected ones too, since they
    were taken, and the moves that stand."""
    stamped: list[tuple[tuple[int, int], Event]] = [
        ((r.ident, 0), Reading(r.bore, 0.0, 0.0)) for one in record.rounds for r in one.entered if r.value is not None
    ]
    stamped += [((m.after_reading, record.first_told[m.ident]), move_of(m)) for m in record.moves]
    return [*record.set_cold, *record.screw_presets, *(event for _, event in sorted(stamped, key=lambda pair: pair[0]))]


def _opening(record: VisitRecord, new: NewReading | NewSpeed) -> tuple[float, bool]:
    """What holds the lever in the round that is read [m], and whether it is reached from above."""
    known = next((one for one in record.rounds if one.row.number == new.round_number), None)
    if known is not None:
        return known.lever
    try:
        return next_reading(record, phase_named(new.phase)).opening, bool(new.from_above)
    except KeyError:
        raise NotFoundError(because(Waiting.NO_SUCH_PHASE)) from None


def _practiced(session: Session, visit_id: int) -> tuple[VisitRecord, Practice]:
    record = loader.load(session, visit_id)
    practice = of_engine(session, record.engine.ident)
    if practice is None:
        raise NotFoundError(because(Rejection.NO_TRAINING_ENGINE))
    return record, practice


def _slack(stand: SimulatedEngine) -> Slack | None:
    if stand.suspect is None:
        return None
    coupler = stand.suspect
    rows = [stand.place[bore] for bore in stand.layout.bank_of(coupler.far).beyond(coupler)]
    flows = []
    for rest in (-0.5, 0.5):
        angles = stand.angles()
        angles[rows] = np.maximum(angles[rows] - stand.held[coupler] + rest * stand.slack[coupler], 0.0)
        flows.append(float(stand.solve(angles)[0][stand.place[coupler.far]]))
    return Slack(coupler, 2 * (flows[1] - flows[0]) / (flows[0] + flows[1]))


def _late(stand: SimulatedEngine) -> tuple[str, float] | None:
    if len(stand.layout.banks) < 2:
        return None
    (first, one), (second, other) = stand.link.items()
    flats = (other - one) / link_rotation(1.0, stand.hardware)
    return (second, -flats) if flats < 0 else (first, flats)
