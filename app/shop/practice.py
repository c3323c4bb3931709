"""Practice: a simulated engine in the shop, to train on.

Its state is worked out each time from its seed and from what was recorded at it, like everything else here. A move is
made by recording it, and the simulated hand makes it imperfectly; every value entered counts as a reading taken.
"""

import uuid
from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from datetime import datetime, timedelta
from functools import lru_cache
from typing import get_args

import numpy as np
from sqlmodel import Session, func, select

from app.shop import checks, engines, readings, visits
from app.shop.database import Database
from app.shop.engines import EngineFacts, folded
from app.shop.items import Phase
from app.shop.keys import checked, earlier, fingerprint, part_key
from app.shop.phases import BANK_BALANCE, COLD_PRESET, FIRST_FIRE, HEAT_SOAKED, phase_named
from app.shop.progress import items_of
from app.shop.readings import NewReading
from app.shop.refusals import NotThereError, RefusedError
from app.shop.story import UNITS, Story, move_of
from app.shop.tables import Engine, MeterRow, Practice, ReadingRow
from app.shop.typical import TYPICAL
from app.shop.visits import NewVisit
from app.shop.walk import due
from app.sync.events import Event, Reading
from app.sync.expert import Careful, careful
from app.sync.hardware import likely_hardware
from app.sync.layout import Bank, Coupler, JointKind, Layout
from app.sync.linkage import link_rotation
from app.sync.stand import (
    BLADE_MINUTES,
    PER_BORE,
    READING_MINUTES,
    STOP_MINUTES,
    WANTED,
    Roughness,
    Stand,
    Trouble,
    fit_to_practise,
    replay,
)
from app.sync.units import REV_PER_MIN


def _layout(*banks: tuple[int, ...], joints: tuple[JointKind, ...] = (), bypass: Iterable[int] = ()) -> Layout:
    """Banks with the stop screw near their middle and the link at their front."""
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
"""The engines there are to practise on."""

TROUBLES: tuple[Trouble, ...] = get_args(Trouble)
MOST_SEEDS = 200
STARTS = ("hot", "cold")
RAN_BEFORE = 40.0
"""Minutes that a practice engine ran before: it is hot right through."""

GAUGES = ((20, 83.0, 85.0), (10, 84.0, 86.0), (0, 84.0, 86.0))
"""Minutes before the start, coolant and oil [°C]: what was read while it warmed."""


@dataclass(frozen=True, slots=True)
class NewPractice:
    """An engine to practise on: one of SHAPES, what ails it, whether to begin ``hot`` at the readings or ``cold``."""

    shape: str
    trouble: str
    start: str
    by: str


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
    """What nobody sees at a real engine.

    ``worst`` and ``worst_at_first`` are fractions of the mean, ``scale`` what the meter shows over what flows, ``late``
    the bank whose link is late against the other and by how many flats, ``worn`` the bank with lost motion in a joint
    of its link and what that is good for in flats. ``minutes`` are those at idle, ``bank_minutes`` those off idle.
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


def start(shop: Database, key: str, new: NewPractice, at: str) -> int:
    """Register a practice engine, open its visit, and return the visit's id. Sent again it goes on where it stopped.

    Begun ``hot``, everything before the first fine reading is recorded as done. Raises RefusedError.
    """
    key = checked(key)
    problems = {}
    if new.shape not in SHAPES:
        problems["shape"] = "One of the engines listed."
    if new.trouble not in TROUBLES:
        problems["trouble"] = "One of the choices listed."
    elif new.trouble == "worn" and len(SHAPES.get(new.shape, SHAPES["8-two"]).banks) < 2:
        problems["trouble"] = "One bank has no links: choose an engine with two."
    if new.start not in STARTS:
        problems["start"] = "At the readings, or at the cold preset."
    if not new.by.strip():
        problems["by"] = "Initials of whoever practises."
    if len(new.by) > engines.LONGEST:
        problems["by"] = f"At most {engines.LONGEST} characters fit here."
    if problems:
        raise RefusedError(problems)
    layout = SHAPES[new.shape]
    engine_id = _register(shop, key, layout, at)
    _mark(shop, part_key(key, "practice"), engine_id, layout, new.trouble, at)
    with shop.reading() as session:
        meter_id = _flow_meter(session)
    opened = NewVisit("test cell", "", "Practice", new.by, meter_id)
    visit_id = visits.open_visit(shop, engine_id, part_key(key, "visit"), opened, at)
    if new.start == "hot":
        _warm_up(shop, key, visit_id, new.by, at)
    return visit_id


def of_engine(session: Session, engine_id: int) -> Practice | None:
    """Word that an engine is simulated; None for a real one."""
    return session.exec(select(Practice).where(Practice.engine_id == engine_id)).first()


def ids(session: Session) -> frozenset[int]:
    """The engines that are simulated."""
    return frozenset(session.exec(select(Practice.engine_id)).all())


def read(shop: Database, visit_id: int, key: str, new: NewReading, at: str) -> int:
    """Read a bore of the practice engine and keep what the meter shows, whatever ``value`` says. Returns its id.

    Raises RefusedError for an engine that is real, NotThereError.
    """
    key = checked(key)
    with shop.reading() as session:
        kept = session.exec(select(ReadingRow.id).where(ReadingRow.key == key)).first()
        story = visits.load(session, visit_id)
        practice = of_engine(session, story.engine.ident)
        if kept is not None:
            return kept
        if practice is None:
            raise RefusedError({"value": "This engine is real: read it with the meter."})
        if story.meter.quantity != "flow":
            raise RefusedError({"value": "The practice engine answers a flow meter only."})
        if new.bore not in story.layout.bores:
            raise RefusedError({"value": f"This engine has no bore {new.bore}."})
        stand = as_it_stands(session, practice, story)
    size = UNITS[story.meter.unit]
    step = story.meter.step
    opening, above = _opening(story, new)
    shown = step * round(stand.read(new.bore, opening=opening, from_above=above) / size / step)
    value = min(max(shown, story.meter.low), story.meter.high)
    kind = "again" if new.supersedes is not None else new.kind
    taken = NewReading(new.phase, new.round_number, new.bore, kind, value, new.by, from_above=new.from_above)
    return readings.add(shop, visit_id, key, taken, at)


def read_speed(shop: Database, visit_id: int, key: str, slug: str, item: str, by: str, at: str) -> int:
    """Look at the practice engine's tachometer and keep what it shows under an item of a phase.

    Raises RefusedError for an engine that is real, NotThereError.
    """
    with shop.reading() as session:
        story = visits.load(session, visit_id)
        practice = of_engine(session, story.engine.ident)
        if practice is None:
            raise RefusedError({"value": "This engine is real: read its tachometer."})
        stand = as_it_stands(session, practice, story)
    return checks.record(shop, visit_id, key, slug, {item: round(stand.read_speed() / REV_PER_MIN)}, by, at)


def as_it_stands(session: Session, practice: Practice, story: Story) -> Stand:
    """The engine after everything recorded at it. ``story`` is the visit under way, whose meter it is read with.

    Raises RefusedError when it was said that other bores are fitted: the simulated engine cannot follow.
    """
    told = sorted(visits.of_engine(session, practice.engine_id), key=lambda one: one.visit.number)
    if any(one.layout != story.layout for one in told):
        raise RefusedError({"value": "Its layout was changed: this practice engine answers no more. Start another."})
    return replay(_fresh(practice, story), [event for one in told for event in _done(one)])


def truth(session: Session, visit_id: int) -> Truth:
    """How the practice engine of a visit really stands. Raises NotThereError for a real engine."""
    story, practice = _practised(session, visit_id)
    stand = as_it_stands(session, practice, story)
    flow, speed = stand.breathe()
    mean, flat = float(flow.mean()), link_rotation(1.0, stand.hardware)
    bores = tuple(
        TrueBore(bore, float(one), float(one) / mean - 1, float(gap))
        for bore, one, gap in zip(story.layout.bores, flow, stand.gaps(), strict=True)
    )
    off_idle = [m for m in story.all_moves if m.phase == BANK_BALANCE.slug]
    read_off = [r for one in story.rounds if one.row.phase == BANK_BALANCE.slug for r in one.entered if r.value]
    bank_minutes = READING_MINUTES * len(read_off) + STOP_MINUTES * len(off_idle)
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
        minutes=minutes_of(story) - bank_minutes,
        bank_minutes=bank_minutes,
        readings=sum(r.value is not None for one in story.rounds for r in one.entered),
        moves=len(story.all_moves),
    )


def expert(session: Session, visit_id: int) -> Careful:
    """What somebody careful would have needed to even the same engine at idle. Takes some seconds the first time."""
    story, practice = _practised(session, visit_id)
    settings = story.settings
    window = settings.window(HEAT_SOAKED.slug)
    return _careful(story.layout, practice.seed, _rough(story), practice.trouble, tuple(settings.blades), window)


def minutes_of(story: Story) -> float:
    """The work of a visit in minutes: what its readings and moves take."""
    taken = sum(r.value is not None for one in story.rounds for r in one.entered)
    moved = sum(BLADE_MINUTES if m.kind == "blade" else STOP_MINUTES for m in story.all_moves)
    return READING_MINUTES * taken + moved


@lru_cache(maxsize=64)
def _careful(
    layout: Layout, seed: int, rough: Roughness, trouble: str, blades: tuple[float, ...], window: float
) -> Careful:
    return careful(_stand(layout, seed, rough, trouble), blades, window)


def _fresh(practice: Practice, story: Story) -> Stand:
    return _stand(story.layout, practice.seed, _rough(story), practice.trouble)


def _stand(layout: Layout, seed: int, rough: Roughness, trouble: str) -> Stand:
    ails = next(one for one in TROUBLES if one == trouble)
    return Stand(layout, seed, rough, ails, heated=RAN_BEFORE, links_off=True)


def _rough(story: Story) -> Roughness:
    meter = story.meter_as_read()
    return Roughness(repeatability=meter.repeatability, step=meter.step)


def _done(story: Story) -> list[Event]:
    """The readings and moves of a visit in their order, also those that were corrected later: they were made."""
    stamped: list[tuple[tuple[int, int], Event]] = [
        ((r.ident, 0), Reading(r.bore, 0.0, 0.0)) for one in story.rounds for r in one.entered if r.value is not None
    ]
    stamped += [((m.after_reading, m.ident), move_of(m)) for m in story.all_moves]
    return [event for _, event in sorted(stamped, key=lambda pair: pair[0])]


def _opening(story: Story, new: NewReading) -> tuple[float, bool]:
    """What holds the lever in the round that is read [m], and whether it is reached from above."""
    known = next((one for one in story.rounds if one.row.number == new.round_number), None)
    if known is not None:
        return known.row.opening, bool(known.row.from_above)
    try:
        return due(story, phase_named(new.phase)).opening, bool(new.from_above)
    except KeyError:
        raise NotThereError("phase of that name") from None


def _practised(session: Session, visit_id: int) -> tuple[Story, Practice]:
    story = visits.load(session, visit_id)
    practice = of_engine(session, story.engine.ident)
    if practice is None:
        raise NotThereError("practice engine in that visit")
    return story, practice


def _slack(stand: Stand) -> Slack | None:
    if stand.suspect is None:
        return None
    coupler = stand.suspect
    rows = [stand.place[bore] for bore in stand.layout.bank_of(coupler.far).beyond(coupler)]
    flows = []
    for rest in (-0.5, 0.5):
        angles = stand.angles()
        angles[rows] = np.maximum(angles[rows] - stand.held[coupler] + rest * stand.slack[coupler], 0.0)
        flows.append(float(stand.breathe(angles)[0][stand.place[coupler.far]]))
    return Slack(coupler, 2 * (flows[1] - flows[0]) / (flows[0] + flows[1]))


def _late(stand: Stand) -> tuple[str, float] | None:
    if len(stand.layout.banks) < 2:
        return None
    (first, one), (second, other) = stand.link.items()
    flats = (other - one) / link_rotation(1.0, stand.hardware)
    return (second, -flats) if flats < 0 else (first, flats)


def _register(shop: Database, key: str, layout: Layout, at: str) -> int:
    n = len(layout.bores)
    with shop.reading() as session:
        before = session.exec(select(Engine).where(Engine.key == key)).first()
        serial = before.serial if before else _free_serial(session)
    facts = EngineFacts(
        serial, "Practice engine: simulated", PER_BORE * n, "L", "Practice", "Nothing of it is real", WANTED
    )
    return engines.register(shop, key, facts, layout, likely_hardware(facts.displacement, n), at)


def _free_serial(session: Session) -> str:
    number = session.exec(select(func.count()).select_from(Practice)).one() + 1
    while session.exec(select(Engine.id).where(Engine.serial_folded == folded(f"Practice {number}"))).first():
        number += 1
    return f"Practice {number}"


def _mark(shop: Database, key: str, engine_id: int, layout: Layout, trouble: str, at: str) -> None:
    sent = fingerprint(engine=engine_id, trouble=trouble)
    seed = _seed_for(layout, trouble, uuid.UUID(key).int % 2**31)
    with shop.writing() as session:
        if not earlier(session, Practice, key, sent):
            session.add(Practice(key=key, payload=sent, engine_id=engine_id, seed=seed, trouble=trouble, at=at))


def _seed_for(layout: Layout, trouble: str, first: int) -> int:
    """The first seed from ``first`` on that gives an engine worth practising on."""
    seeds = range(first, first + MOST_SEEDS)
    return next((seed for seed in seeds if fit_to_practise(_stand(layout, seed, Roughness(), trouble))), first)


def _flow_meter(session: Session) -> int:
    """The shop's first flow meter, which every shop has had from the start."""
    return session.exec(select(MeterRow).where(MeterRow.quantity == "flow").order_by(MeterRow.id)).all()[0].ident  # type: ignore[arg-type]


def _warm_up(shop: Database, key: str, visit_id: int, by: str, at: str) -> None:
    """Record what comes before the first fine reading; the quick round of a first fire is passed over, and said so."""

    def record(phase: Phase, values: Mapping[str, float | None], part: str, read_at: str = "") -> None:
        checks.record(shop, visit_id, part_key(key, part), phase.slug, values, by, at, read_at)

    with shop.reading() as session:
        story = visits.load(session, visit_id)
        practice = of_engine(session, story.engine.ident)
        assert practice is not None
        speed = 10 * round(_fresh(practice, story).breathe()[1] / REV_PER_MIN / 10)
    typical = {**TYPICAL, "idle-speed": float(speed)}
    for phase in (COLD_PRESET, FIRST_FIRE):
        record(phase, _answers(story, phase, typical), phase.slug)
    why = "Practice: the engine was warmed up before, and its first look is left to the readings."
    checks.override(shop, visit_id, part_key(key, "override"), FIRST_FIRE.slug, why, by, at)
    for minutes, coolant, oil in GAUGES:
        read_at = datetime.fromisoformat(at) - timedelta(minutes=minutes)
        gauges = {"coolant": coolant, "oil": oil}
        record(HEAT_SOAKED, gauges, f"gauges {minutes}", read_at.isoformat(timespec="milliseconds"))
    rest = {item: n for item, n in _answers(story, HEAT_SOAKED, typical).items() if item not in ("coolant", "oil")}
    record(HEAT_SOAKED, rest, HEAT_SOAKED.slug)


def _answers(story: Story, phase: Phase, typical: Mapping[str, float]) -> dict[str, float | None]:
    return {
        item.slug: typical[item.slug] if item.kind == "number" else None
        for item in items_of(story, phase)
        if item.needed
    }
