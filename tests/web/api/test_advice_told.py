"""Advice for programs: whether its phase is open, what kind of cause a `cannot` has, and what is likely to follow."""

import re
from dataclasses import replace
from pathlib import Path

from starlette.testclient import TestClient

import app.shop.assessment
import app.sync.planning
from app.shop.assessment.advising import lever
from app.shop.assessment.assessment import assess
from app.shop.assessment.codes import StepReason
from app.shop.commands import checks, engines, readings
from app.shop.procedure.phases import BANK_BALANCE, COLD_PRESET, FIRST_FIRE, HEAT_SOAKED
from app.shop.queries.assessed import assessed
from app.shop.record.settings import DEFAULTS
from app.shop.store.database import Database
from app.sync.banks.banks import Extra
from app.sync.engine.hardware import Figure, likely_hardware
from app.sync.engine.units import MM
from app.sync.planning.advice import Advice, AdviceKind, AdviceReason
from app.web.api.advice import BECAUSE
from app.web.api.advising.to_do import to_do
from app.web.api.interface import document
from tests.shop.bank_balance import at_the_banks, read_with_one_bank_early
from tests.shop.yard import AT, FACTS, V8, check_all, heat_soaked, key, read, read_round, visit, visit_record
from tests.web.api.writes import HOT, cold, hot_begun

EARLY = "/api/visits/1/phases/first-fire/advice"


def test_advice_for_a_phase_that_is_not_open_says_so(client: TestClient, shop: Database) -> None:
    cold(shop)
    early = client.get(EARLY).json()
    assert (early["open"], early["waits_for_code"]) == (False, "earlier-phase")
    first = client.get("/api/visits/1/phases/cold-preset/advice").json()
    assert (first["open"], first["ready"]) == (True, False)


def test_advice_for_a_phase_that_is_ready_says_so(client: TestClient, shop: Database) -> None:
    hot_begun(shop)
    told = client.get(f"{HOT}/advice").json()
    assert (told["open"], told["ready"], told["waits_for_code"]) == (True, True, None)


def test_what_a_cannot_is_about_is_told_apart(client: TestClient, shop: Database) -> None:
    hot_begun(shop)
    assert client.get(f"{HOT}/advice").json()["cannot_because"] is None
    read(shop, 1, HEAT_SOAKED, 7.5, bore=1)
    assert client.get(f"{HOT}/advice").json()["cannot_because"] == "readings-in-question"
    checks.record(shop, 1, key(), HEAT_SOAKED.slug, {"coolant": 125.0}, "KM", AT)
    assert client.get(f"{HOT}/advice").json()["cannot_because"] == "engine-stopped"


def test_every_reason_of_a_cannot_has_a_kind_of_cause() -> None:
    found = set()
    for package in (app.shop.assessment, app.sync.planning):
        for file in Path(package.__path__[0]).rglob("*.py"):
            said = re.findall(r"AdviceKind\.CANNOT,\s+(AdviceReason|StepReason)\.(\w+)", file.read_text())
            found |= {{"AdviceReason": AdviceReason, "StepReason": StepReason}[enum][name] for enum, name in said}
    assert len(found) > 8
    assert found | {AdviceReason.BYPASS_END, AdviceReason.NO_ADJUSTER} <= set(BECAUSE)


def test_likely_next_moves_are_told_as_data(client: TestClient, shop: Database) -> None:
    heat_soaked(shop)
    for bore in (*V8.bores, 1):
        read(shop, 1, HEAT_SOAKED, {4: 8.5, 8: 8.5}.get(bore, 6.5), bore)
    with shop.reading() as session:
        step = assessed(session, 1).of(HEAT_SOAKED).step
    told = client.get(f"{HOT}/advice").json()["then"]
    assert step.then
    assert [(one["kind"], one["why"], one["bank"]) for one in told] == [
        (one.kind, one.why, one.bank) for one in step.then
    ]
    assert all(one["coupler"] or one["turns"] or one["flats"] for one in told)
    assert client.get(f"{HOT}/advice").json()["outside"] == []


def test_a_size_outside_the_range_of_the_flow_law_is_marked(client: TestClient, shop: Database) -> None:
    wide = replace(likely_hardware(FACTS.displacement, 8), bore_diameter=Figure(75 * MM, True))
    visit_id = visit(shop, engines.register(shop, key(), FACTS, V8, wide, AT))
    for phase in (COLD_PRESET, FIRST_FIRE, HEAT_SOAKED):
        check_all(shop, visit_id, phase)
        if phase is FIRST_FIRE:
            read_round(shop, visit_id, phase)
    for bore in (*V8.bores, 1):
        read(shop, 1, HEAT_SOAKED, {4: 8.5, 8: 8.5}.get(bore, 6.5), bore)
    told = client.get(f"{HOT}/advice").json()
    assert told["leaves_thou"] or told["turns"]
    assert (told["outside"], told["expected"], told["then"]) == (["bore"], [], [])
    assert "Outside the calculated range: bore diameter." in told["reason"]


def test_the_description_lists_every_reason() -> None:
    listed = document()["components"]["schemas"]["AdviceTold"]["properties"]["why"]["enum"]
    assert set(listed) >= {*AdviceReason, *StepReason}


def test_openings_that_are_to_be_read_again_come_in_turn_and_not_without_end(shop: Database) -> None:
    """A program was sent to the wider one again and again, which told nothing new, and never to the other."""
    visit_id = at_the_banks(shop)
    opened: list[float] = []
    done: list[str] = []
    read_with_one_bank_early(shop, visit_id)
    for _ in range(5):
        assessment = assess(visit_record(shop, visit_id))
        judged = assessment.of(BANK_BALANCE)
        assert judged.banks is not None
        unclear = replace(judged.banks, extra=Extra.AGAIN)
        judged = replace(judged, step=Advice(AdviceKind.MEASURE, Extra.AGAIN), banks=unclear)
        do = to_do(assessment, judged)
        assert do is not None
        done.append(do.operation)
        if do.operation == "begin_round":
            opening, _ = lever(assessment.record, judged.due, unclear, judged.step)
            opened.append(opening)
            readings.begin_round(shop, visit_id, key(), BANK_BALANCE.slug, AT, opening)
            for bore in (*V8.bores, 1):
                read(shop, visit_id, BANK_BALANCE, 8.0 if opening == DEFAULTS.openings[0] else 15.0, bore)
    assert opened == [*DEFAULTS.openings, *DEFAULTS.openings]  # each was read three times then
    assert done == ["begin_round"] * 4 + ["advice"]  # nothing else is missing here: the next phase
