"""What no waiver passes: every required item of every phase, in each place and at each kind of engine.

Which those are is our judgement, by the hazards that the cautions of the phases name; the tables are written by hand.
"""

from dataclasses import replace

import pytest

from app.shop.assessment.gates import why_waiting
from app.shop.assessment.progress import items_of, must_have, progress
from app.shop.commands import checks, visits
from app.shop.commands.visits import NewVisit
from app.shop.procedure.held import BACK
from app.shop.procedure.items import PLACES, Phase
from app.shop.procedure.phases import BANK_BALANCE, COLD_PRESET, FIRST_FIRE, HEAT_SOAKED, LOCK_DOWN, PHASES
from app.shop.procedure.requirements import Runs, Waiting
from app.shop.record.entries import CheckEntry, MeterReading, RoundEntry
from app.shop.record.rounds import Round
from app.shop.record.visit_record import VisitRecord
from app.shop.store.database import Database
from app.sync.engine.layout import Layout
from tests.shop.rejections import rejects
from tests.shop.yard import (
    AIR_COOLED,
    AT,
    FOUR,
    ONE_MOTOR_A_BANK,
    ONE_MOTOR_A_BORE,
    TWINS,
    V8,
    check_all,
    engine,
    heat_soaked,
    key,
    read_round,
    visit_record,
)

KINDS = {
    "eight in two banks": V8,
    "four in line": FOUR,
    "shared shafts and bypass screws": TWINS,
    "air-cooled": AIR_COOLED,
    "a motor a bank": ONE_MOTOR_A_BANK,
    "a motor a bore": ONE_MOTOR_A_BORE,
}
BY_LINKAGE = ("eight in two banks", "four in line", "shared shafts and bypass screws", "air-cooled")
TWO_BANKS = ("eight in two banks", "air-cooled")

EVERYWHERE = {
    COLD_PRESET.slug: set[str](),
    FIRST_FIRE.slug: {"kill-switch", "exhaust-drawn", "fuel-dry", "bores-clear", "fire-ready"},
    HEAT_SOAKED.slug: set[str](),
    BANK_BALANCE.slug: set[str](),
    LOCK_DOWN.slug: {"tools-counted", "idle-control-back", "loads-back", "hoses-back"},
}
"""The list before a start, and at the end what was put down, held or led away."""

AT_THE_PLACE = {
    ("test cell", FIRST_FIRE.slug): {"not-alone", "guarded"},
    ("vehicle", FIRST_FIRE.slug): {"not-alone", "protected", "wheels-chocked", "fan-clear", "oil-lamp"},
    ("telephone", FIRST_FIRE.slug): {"protected", "wheels-chocked", "fan-clear", "oil-lamp"},
}
"""Nobody alone, guards and cover, wheels and fan; where no gauge is sure to be, the oil lamp."""

OF_LINKAGE = {
    COLD_PRESET.slug: {"battery-off", "wide-open", "closed-contact"},
    FIRST_FIRE.slug: {"throttle-returns", "battery-back"},
    LOCK_DOWN.slug: {"throttle-returns", "linkage-rest", "linkage-full", "stops-marked"},
}
OF_MOTORS = {
    COLD_PRESET.slug: {"throttle-power-off", "maker-instructions"},
    FIRST_FIRE.slug: {"plates-follow"},
    LOCK_DOWN.slug: {"plates-follow", "throttle-adapted"},
}
OF_A_FRESH_ENGINE = {
    FIRST_FIRE.slug: {"oil-primed", "base-timing", "run-in"},
    HEAT_SOAKED.slug: {"mixture-safe"},
}
COUPLED = ("eight in two banks", "four in line", "shared shafts and bypass screws", "air-cooled", "a motor a bank")


def never_waived(kind: str, place: str, fresh: bool, phase: str) -> set[str]:
    """The items of a phase that have to be recorded, by the tables above, where it was read."""
    wanted = EVERYWHERE[phase] | AT_THE_PLACE.get((place, phase), set())
    wanted |= (OF_LINKAGE if kind in BY_LINKAGE else OF_MOTORS).get(phase, set())
    if fresh:
        wanted |= OF_A_FRESH_ENGINE.get(phase, set())
    if phase == BANK_BALANCE.slug and kind in TWO_BANKS:
        wanted |= {"rev-limit", "lever-held"} | ({"wheels-chocked"} if place != "test cell" else set())
    if phase == LOCK_DOWN.slug:
        wanted |= {"couplers-tight"} if kind in COUPLED else set()
        wanted |= {"links-tight"} if kind in TWO_BANKS else set()
        wanted |= {"bypass-held"} if kind == "shared shafts and bypass screws" else set()
    return wanted


def opened(shop: Database, layout: Layout, place: str, runs: str) -> int:
    return visits.open_visit(shop, engine(shop, layout), key(), NewVisit(place, "", "", "KM", 1, runs=runs), AT)


def everything_held(record: VisitRecord) -> VisitRecord:
    """The record with a tick for each thing that is held, unplugged or led away for the work."""
    phase_of = {item.slug: phase.slug for phase in PHASES for item in phase.items}
    parts = [slug for slug in BACK if slug in {item.slug for one in PHASES for item in items_of(record, one)}]
    ticks = [
        CheckEntry(n, "", "", record.visit.ident, phase_of[slug], slug, None, "", 0, "KM", AT, None)
        for n, slug in enumerate(parts, 1)
    ]
    return replace(record, all_checks=tuple(ticks))


def with_a_bank_read(record: VisitRecord) -> VisitRecord:
    """The record with a bore read under an opened lever."""
    read = MeterReading(1, "", "", 1, 1, "turn", 6.5, "kg/h", "", "KM", AT, None)
    head = RoundEntry(1, "", "", record.visit.ident, BANK_BALANCE.slug, 1, 0.001, AT, None)
    return replace(record, rounds=(Round(head, (read,)),))


@pytest.mark.parametrize("runs", [Runs.FRESH, Runs.NEW_THROTTLES])
@pytest.mark.parametrize("place", PLACES)
@pytest.mark.parametrize("kind", KINDS)
def test_the_tables_of_the_phases(shop: Database, kind: str, place: str, runs: Runs) -> None:
    record = everything_held(visit_record(shop, opened(shop, KINDS[kind], place, runs)))
    unread, record = record, with_a_bank_read(record)
    assert not any(must_have(unread, BANK_BALANCE, item) for item in items_of(unread, BANK_BALANCE))
    for phase in PHASES:
        found = {item.slug for item in items_of(record, phase) if must_have(record, phase, item)}
        assert found == never_waived(kind, place, runs is Runs.FRESH, phase.slug), phase.slug


@pytest.mark.parametrize("place", PLACES)
@pytest.mark.parametrize("kind", KINDS)
def test_a_waiver_of_first_fire_is_refused_as_long_as_one_of_them_is_missing(
    shop: Database, kind: str, place: str
) -> None:
    visit_id = opened(shop, KINDS[kind], place, Runs.FRESH)
    check_all(shop, visit_id, COLD_PRESET)
    check_all(shop, visit_id, FIRST_FIRE)
    for slug in sorted(never_waived(kind, place, True, FIRST_FIRE.slug)):
        checks.take_back(shop, visit_id, key(), FIRST_FIRE.slug, slug, "KM", AT)
        with rejects(Waiting.REQUIRED):
            checks.waive(shop, visit_id, key(), FIRST_FIRE.slug, "It is late", "KM", AT)
        checks.record(shop, visit_id, key(), FIRST_FIRE.slug, {slug: None}, "KM", AT)
    checks.waive(shop, visit_id, key(), FIRST_FIRE.slug, "The quick round was read by ear", "KM", AT)


def test_banks_that_were_never_read_are_waived_without_a_word_on_their_lever(shop: Database) -> None:
    """An engine given up after its hot round: nobody opened the lever, so that nothing is ticked of it. What is asked
    of the engine that leaves stands in lock-down; and the banks are not read without those items all the same."""
    visit_id = heat_soaked(shop, V8)
    read_round(shop, visit_id, HEAT_SOAKED)
    checks.waive(shop, visit_id, key(), BANK_BALANCE.slug, "The customer takes it as it is", "KM", AT)
    record = visit_record(shop, visit_id)
    status = {one.phase: one for one in progress(record)}
    assert status[BANK_BALANCE].done
    must = {one.slug for one in status[LOCK_DOWN].missing if one.must}
    assert {"throttle-returns", "linkage-rest", "tools-counted", "links-tight"} <= must
    waits = why_waiting(record, BANK_BALANCE)
    assert waits is not None
    assert waits.code is Waiting.CHECK_FIRST


ON_ITS_OWN = {
    COLD_PRESET.slug: {"battery-off", "throttle-power-off"},
    FIRST_FIRE.slug: {
        *("kill-switch", "exhaust-drawn", "fuel-dry", "throttle-returns", "plates-follow", "wheels-chocked"),
        "oil-lamp",
    },
    HEAT_SOAKED.slug: {"mixture-safe", "leak-checked"},
    BANK_BALANCE.slug: {"lever-held", "wheels-chocked"},
    LOCK_DOWN.slug: {"throttle-returns", "plates-follow"},
}
"""What is looked at and ticked by itself, never with the rest by one tap: what runs away, burns, poisons, starts by
itself or rolls, an engine without oil or with a mixture that harms it, and a leak that would be evened out."""

AFTER_THE_LAST_MOVE = {
    *("couplers-tight", "bypass-held", "links-tight", "stops-marked", "tools-counted", "throttle-returns"),
    *("linkage-rest", "linkage-full", "plates-follow", "throttle-adapted", "sensor-learned"),
    *("idle-control-back", "loads-back", "hoses-back", "intake-back"),
}
"""What says nothing any more once a screw was turned: all that lock-down ticks."""

ONCE_IT_RUNS = {
    FIRST_FIRE.slug: {"oil-pressure", "oil-lamp", "run-in"},
    LOCK_DOWN.slug: {"idle-control-back", "loads-back", "hoses-back", "intake-back", "idle"},
}
"""What only a running engine shows: it is not asked for before a start, nor ticked with the rest."""

BEFORE_A_READING = {
    FIRST_FIRE.slug: {"oil-pressure", "oil-lamp", "run-in"},
    HEAT_SOAKED.slug: {"leak-checked"},
}
"""What the engine is not read before: its oil, and a leak that would be evened out."""

HANDS_AT_THE_LINKAGE = {
    BANK_BALANCE.slug: {"free-play", "joints-tight", "full-open", "gauged-first", "gauged-second"},
    LOCK_DOWN.slug: {
        *("couplers-tight", "bypass-held", "links-tight", "stops-marked", "tools-counted", "throttle-returns"),
        *("linkage-rest", "linkage-full", "plates-follow"),
    },
}
"""What takes hands or tools at plates and linkage of an engine that may run: it is asked for with the engine off."""


@pytest.mark.parametrize("phase", PHASES, ids=lambda one: one.slug)
def test_no_single_tap_stands_for_a_danger_and_none_outlives_a_move(phase: Phase) -> None:
    ticks = {item.slug for item in phase.items if item.kind == "tick"}
    assert {item.slug for item in phase.items if item.apart} == ON_ITS_OWN[phase.slug]
    assert ON_ITS_OWN[phase.slug].isdisjoint(item.slug for item in phase.items if item.in_a_row)
    assert {item.slug for item in phase.items if not item.before_running} == ONCE_IT_RUNS.get(phase.slug, set())
    assert {item.slug for item in phase.items if item.ahead} == BEFORE_A_READING.get(phase.slug, set())
    assert {item.slug for item in phase.items if item.engine_off} == HANDS_AT_THE_LINKAGE.get(phase.slug, set())
    fresh = {item.slug for item in phase.items if item.fresh}
    assert fresh == (AFTER_THE_LAST_MOVE & ticks if phase is LOCK_DOWN else set())
