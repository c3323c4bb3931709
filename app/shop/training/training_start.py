"""The training engines there are, and one of them put into the shop with a visit started.

It is registered, fitted and read like any engine. A row with its fault tells it from a real one.
"""

import uuid
from collections.abc import Callable, Iterable, Mapping
from dataclasses import dataclass
from datetime import datetime, timedelta

from sqlmodel import Session, func, select

from app.shop.assessment.progress import items_of
from app.shop.commands import checks, engines, visits
from app.shop.commands.engines import EngineFacts, folded
from app.shop.commands.visits import NewVisit
from app.shop.errors import Problems, RejectedError
from app.shop.procedure.items import Phase
from app.shop.procedure.phases import COLD_PRESET, FIRST_FIRE, HEAT_SOAKED
from app.shop.reasons import because
from app.shop.record import loader
from app.shop.record.intake import IntakeState
from app.shop.record.visit_record import VisitRecord
from app.shop.rejections import Rejection
from app.shop.store.database import Database
from app.shop.store.idempotency import checked, earlier, fingerprint, part_key
from app.shop.store.tables import Engine, MeterRow, Practice
from app.shop.training.training import TROUBLES, fresh, of_engine, stand_of
from app.shop.training.typical import TYPICAL
from app.sync.engine.hardware import likely_hardware
from app.sync.engine.layout import Bank, JointKind, Layout
from app.sync.engine.units import REV_PER_MIN
from app.sync.simulation.simulator import PER_BORE, WANTED, Imperfections, usable_for_training


def _layout(*banks: tuple[int, ...], joints: tuple[JointKind, ...] = (), bypass: Iterable[int] = ()) -> Layout:
    """Banks with the stop screw near their middle and the link rod at their front."""
    made = (
        Bank(name, bores, bores[(len(bores) - 1) // 2], bores[0], joints)
        for name, bores in zip("AB", banks, strict=False)
    )
    return Layout(tuple(made), bypass=frozenset(bypass))


SHAPES: Mapping[str, Layout] = {
    "4": _layout((1, 2, 3, 4)),
    "4-two": _layout((1, 2), (3, 4)),
    "6": _layout((1, 2, 3, 4, 5, 6)),
    "6-two": _layout((1, 2, 3), (4, 5, 6)),
    "8": _layout((1, 2, 3, 4, 5, 6, 7, 8)),
    "8-two": _layout((1, 2, 3, 4), (5, 6, 7, 8)),
    "12-two": _layout((1, 2, 3, 4, 5, 6), (7, 8, 9, 10, 11, 12)),
    "4-screws": _layout((1, 2, 3, 4), joints=("screw", "screw", "screw")),
    "4-twins": _layout((1, 2, 3, 4), joints=("shaft", "screw-in", "shaft"), bypass=(1, 2, 3, 4)),
}
"""The training engines there are."""

MOST_SEEDS = 200
STARTS = ("hot", "cold")

GAUGES = ((20, 83.0, 85.0), (10, 84.0, 86.0), (0, 84.0, 86.0))
"""Minutes before the start, coolant and oil [°C]: what was read while it warmed."""


@dataclass(frozen=True, slots=True)
class NewPractice:
    """A training engine: one of SHAPES, its fault, whether to start ``hot`` at the readings or ``cold``.

    ``meter_id`` is what it is read with, None for the shop's first flow meter.
    """

    shape: str
    trouble: str
    start: str
    by: str
    meter_id: int | None = None


@dataclass(frozen=True, slots=True)
class Texts:
    """What the records of a training engine say in place of what a person would type.

    ``serial`` makes the serial number of the so-many-th training engine; ``waived_why`` is why first fire is waived.
    """

    serial: Callable[[int], str]
    description: str
    customer: str
    vehicle: str
    visit_why: str
    waived_why: str


def start(shop: Database, key: str, new: NewPractice, texts: Texts, at: str) -> int:
    """Register a training engine, open its visit, and return the visit's id. Sent again it continues where it stopped.

    Started ``hot``, everything before the first fine reading is recorded as done. Raises RejectedError.
    """
    key = checked(key)
    problems: Problems = {}
    if new.shape not in SHAPES:
        problems["shape"] = because(Rejection.NOT_LISTED)
    if new.trouble not in TROUBLES:
        problems["trouble"] = because(Rejection.NOT_LISTED)
    elif new.trouble == "worn" and len(SHAPES.get(new.shape, SHAPES["8-two"]).banks) < 2:
        problems["trouble"] = because(Rejection.TRAINING_NO_LINK_RODS)
    if new.start not in STARTS:
        problems["start"] = because(Rejection.NOT_LISTED)
    if not new.by.strip():
        problems["by"] = because(Rejection.INITIALS_MISSING)
    if len(new.by) > engines.LONGEST:
        problems["by"] = because(Rejection.TOO_LONG, most=engines.LONGEST)
    with shop.reading() as session:
        meter_id = _flow_meter(session) if new.meter_id is None else new.meter_id
        if session.get(MeterRow, meter_id) is None:
            problems["meter"] = because(Rejection.NO_SUCH_METER)
    if problems:
        raise RejectedError(problems)
    layout = SHAPES[new.shape]
    engine_id = _register(shop, key, layout, texts, at)
    _mark(shop, part_key(key, "practice"), engine_id, layout, new.trouble, at)
    opened = NewVisit("test cell", "", texts.visit_why, new.by, meter_id, intake=IntakeState.AS_IT_RUNS)
    visit_id = visits.open_visit(shop, engine_id, part_key(key, "visit"), opened, at)
    if new.start == "hot":
        _warm_up(shop, key, visit_id, texts.waived_why, new.by, at)
    return visit_id


def _register(shop: Database, key: str, layout: Layout, texts: Texts, at: str) -> int:
    n = len(layout.bores)
    with shop.reading() as session:
        before = session.exec(select(Engine).where(Engine.key == key)).first()
        serial = before.serial if before else _free_serial(session, texts.serial)
    facts = EngineFacts(serial, texts.description, PER_BORE * n, "L", texts.customer, texts.vehicle, WANTED)
    return engines.register(shop, key, facts, layout, likely_hardware(facts.displacement, n), at)


def _free_serial(session: Session, serial: Callable[[int], str]) -> str:
    number = session.exec(select(func.count()).select_from(Practice)).one() + 1
    while session.exec(select(Engine.id).where(Engine.serial_folded == folded(serial(number)))).first():
        number += 1
    return serial(number)


def _mark(shop: Database, key: str, engine_id: int, layout: Layout, trouble: str, at: str) -> None:
    sent = fingerprint(engine=engine_id, trouble=trouble)
    seed = _seed_for(layout, trouble, uuid.UUID(key).int % 2**31)
    with shop.writing() as session:
        if not earlier(session, Practice, key, sent):
            session.add(Practice(key=key, payload=sent, engine_id=engine_id, seed=seed, trouble=trouble, at=at))


def _seed_for(layout: Layout, trouble: str, first: int) -> int:
    """The first seed from ``first`` on that gives an engine worth training on."""
    seeds = range(first, first + MOST_SEEDS)
    return next(
        (seed for seed in seeds if usable_for_training(stand_of(layout, seed, Imperfections(), trouble))), first
    )


def _flow_meter(session: Session) -> int:
    """The shop's first flow meter, which every shop has had from the start."""
    return session.exec(select(MeterRow).where(MeterRow.quantity == "flow").order_by(MeterRow.id)).all()[0].ident  # type: ignore[arg-type]


def _warm_up(shop: Database, key: str, visit_id: int, waived_why: str, by: str, at: str) -> None:
    """Record what comes before the first fine reading; the quick round of first fire is waived with a reason."""

    def enter(phase: Phase, values: Mapping[str, float | None], part: str, read_at: str = "") -> None:
        checks.record(shop, visit_id, part_key(key, part), phase.slug, values, by, at, read_at)

    with shop.reading() as session:
        record = loader.load(session, visit_id)
        practice = of_engine(session, record.engine.ident)
        assert practice is not None
        speed = 10 * round(fresh(practice, record).solve()[1] / REV_PER_MIN / 10)
    typical = {**TYPICAL, "idle-speed": float(speed)}
    for phase in (COLD_PRESET, FIRST_FIRE):  # the second asks back what the first one held
        with shop.reading() as session:
            record = loader.load(session, visit_id)
        enter(phase, _answers(record, phase, typical), phase.slug)
    checks.waive(shop, visit_id, part_key(key, "override"), FIRST_FIRE.slug, waived_why, by, at)
    for minutes, coolant, oil in GAUGES:
        read_at = datetime.fromisoformat(at) - timedelta(minutes=minutes)
        gauges = {"coolant": coolant, "oil": oil}
        enter(HEAT_SOAKED, gauges, f"gauges {minutes}", read_at.isoformat(timespec="milliseconds"))
    rest = {item: n for item, n in _answers(record, HEAT_SOAKED, typical).items() if item not in ("coolant", "oil")}
    enter(HEAT_SOAKED, rest, HEAT_SOAKED.slug)


def _answers(record: VisitRecord, phase: Phase, typical: Mapping[str, float]) -> dict[str, float | None]:
    return {
        item.slug: typical[item.slug] if item.kind == "number" else None
        for item in items_of(record, phase)
        if item.needed
    }
