"""Air-cooled engines, electronic throttles, three plates on one shaft: registered, asked for what they have, warned."""

import html
import re

import pytest
from starlette.testclient import TestClient

from app.shop.assessment.assessment import assess
from app.shop.assessment.codes import StepReason
from app.shop.assessment.progress import progress
from app.shop.commands import checks, engines, moves
from app.shop.commands.moves import NewMove
from app.shop.errors import RejectedError
from app.shop.exchange import exports
from app.shop.procedure.items import PLACES
from app.shop.procedure.parts import parts_of, temperatures_of
from app.shop.procedure.phases import BANK_BALANCE, COLD_PRESET, FIRST_FIRE, HEAT_SOAKED, LOCK_DOWN, PHASES
from app.shop.procedure.requirements import NotNeeded, Requirement
from app.shop.reasons import because
from app.shop.record.fittings import layout_from_json, layout_to_json
from app.shop.rejections import Rejection
from app.shop.store.database import Database
from app.sync.engine.layout import Layout, LayoutFault
from app.sync.engine.units import THOU
from app.sync.estimation.conformity import Conformity
from app.sync.planning.advice import AdviceKind
from app.wording.names import other_adjusters
from app.wording.work.next_step import step_words
from app.wording.work.phases import phase_goal, phase_steps
from app.wording.work.safety import safety_lines
from tests.shop.rejections import codes_of, on_page
from tests.shop.yard import (
    AIR_COOLED,
    AT,
    FOUR,
    ONE_MOTOR_A_BANK,
    ONE_MOTOR_A_BORE,
    V8,
    check_all,
    engine,
    heat_soaked,
    key,
    read,
    read_round,
    visit,
    visit_record,
)

MOTORS = [ONE_MOTOR_A_BANK, ONE_MOTOR_A_BORE]
BY_HAND = ("feeler under", "stop screws", "by the turns", "link rod", "bond", "loosen")


def form(**changes: str) -> dict[str, str]:
    usual = {"serial": "31-0217", "displacement": "2.0", "displacement_unit": "L", "idle_speed": "850"}
    return {"key": key(), **usual, "a_bores": "1 2 3", "b_bores": "4 5 6", **changes}


def layout_of(shop: Database) -> Layout:
    with shop.reading() as session:
        return layout_from_json(engines.fitting_now(session, 1).layout)


def asked(layout: Layout, place: str = "test cell") -> set[str]:
    return {i.slug for phase in PHASES for i in phase.items if i.when in parts_of(layout) and place in i.where}


def uneven(shop: Database, visit_id: int) -> None:
    for bore in visit_record(shop, visit_id).layout.bores:
        read(shop, visit_id, HEAT_SOAKED, 9.0 if bore == 3 else 6.5, bore)
    read(shop, visit_id, HEAT_SOAKED, 6.5)


@pytest.mark.parametrize("typed", ["1-2-3 4-5-6", "3-2-1, 4–5–6", "1-2 2-3 4-5 5-6"])
def test_three_plates_on_a_shaft_are_typed_in_a_row_and_shown_so(
    client: TestClient, shop: Database, typed: str
) -> None:
    assert client.post("/engines", data=form(shafts=typed)).status_code == 303
    assert layout_of(shop).shared_shafts == ((1, 2, 3), (4, 5, 6))
    assert "bores 1, 2 and 3 on one shaft, bores 4, 5 and 6 on one shaft" in client.get("/engines/1").text
    assert 'value="1-2-3 4-5-6"' in client.get("/engines/1/fitting").text


@pytest.mark.parametrize(
    ("typed", "said"),
    [
        ("1-2-4", on_page(Rejection.NOT_NEIGHBORS, first=2, second=4)),
        ("3-4-5", on_page(Rejection.NOT_NEIGHBORS, first=3, second=4)),
        ("1-2-2", on_page(Rejection.NOT_NEIGHBORS, first=2, second=2)),
        ("1-2-3 2-3", on_page(Rejection.PAIR_TWICE, first=2, second=3)),
    ],
)
def test_a_row_that_is_none_is_said_beside_its_field(client: TestClient, typed: str, said: str) -> None:
    answer = client.post("/engines", data=form(shafts=typed))
    assert answer.status_code == 422
    assert re.search(rf'id="shafts-message">[^<]*{re.escape(said)}', answer.text)


@pytest.mark.parametrize(
    ("sent", "expected", "words"),
    [
        ({"cooling": "air"}, ("air", "linkage"), "air-cooled"),
        ({"actuation": "motor-per-bank"}, ("liquid", "motor-per-bank"), "electronic throttles, one motor a bank"),
        ({"actuation": "motor-per-bore"}, ("liquid", "motor-per-bore"), "electronic throttles, one motor a bore"),
        ({}, ("liquid", "linkage"), ""),
    ],
)
def test_an_engine_is_registered_as_it_is_and_refitted_as_it_was(
    client: TestClient, shop: Database, sent: dict[str, str], expected: tuple[str, str], words: str
) -> None:
    assert client.post("/engines", data=form(**sent)).status_code == 303
    layout = layout_of(shop)
    assert (layout.cooling, layout.actuation) == expected
    assert words in client.get("/engines/1").text
    assert ", ".join(other_adjusters(layout)) == words
    refit = client.get("/engines/1/fitting").text
    for name, value in zip(("cooling", "actuation"), expected, strict=True):
        assert f'name="{name}" value="{value}" checked' in refit


def test_that_a_visit_is_open_is_said_before_hardware_is_typed(client: TestClient, shop: Database) -> None:
    engine_id = engine(shop, FOUR)
    said = on_page(Rejection.VISIT_OPEN)
    assert said not in client.get(f"/engines/{engine_id}/fitting").text
    visit(shop, engine_id)
    page = client.get(f"/engines/{engine_id}/fitting").text
    assert (said in page, "Save" in page) == (True, False)


def test_what_cannot_be_is_said_beside_its_field(client: TestClient) -> None:
    answer = client.post("/engines", data=form(actuation="motor-per-bore", shafts="1-2"))
    assert answer.status_code == 422
    assert re.search(
        rf'id="actuation-message">[^<]*{re.escape(on_page(LayoutFault.JOINED_BESIDE_MOTORS))}', answer.text
    )
    assert client.post("/engines", data=form(cooling="steam")).status_code == 422


def test_what_every_older_engine_has_leaves_its_record_as_it_was() -> None:
    assert "cooling" not in layout_to_json(V8)
    assert "actuation" not in layout_to_json(V8)
    for layout in (AIR_COOLED, *MOTORS):
        assert layout_from_json(layout_to_json(layout)) == layout


@pytest.mark.parametrize("place", PLACES)
def test_where_air_cools_the_engine_its_heads_are_asked_for_and_coolant_is_not(place: str) -> None:
    air, liquid = asked(AIR_COOLED, place), asked(V8, place)
    assert {"head", "air-path-clear"} <= air
    assert not {"coolant", "coolant-full"} & air
    assert {"coolant", "coolant-full"} <= liquid
    assert not {"head", "air-path-clear"} & liquid
    assert (temperatures_of(AIR_COOLED), temperatures_of(V8)) == (("head", "oil"), ("coolant", "oil"))


def test_no_page_of_an_air_cooled_engine_names_coolant(client: TestClient, shop: Database) -> None:
    visit_id = heat_soaked(shop, AIR_COOLED)
    read_round(shop, visit_id, HEAT_SOAKED)
    seen = [f"/visits/{visit_id}/{phase.slug}" for phase in PHASES]
    seen += [f"/visits/{visit_id}/{HEAT_SOAKED.slug}/readings", "/engines/1", "/engines/1/worksheet"]
    for address in seen:
        page = client.get(address)
        assert page.status_code == 200, address
        assert "coolant" not in page.text.lower(), address
    hot = client.get(f"/visits/{visit_id}/{HEAT_SOAKED.slug}").text
    assert "Squares: cylinder head." in hot
    assert "Cylinder head temperature, hottest head" in hot


def test_an_air_cooled_engine_waits_for_its_heads_and_stops_when_they_are_too_hot(shop: Database) -> None:
    visit_id = visit(shop, engine(shop, AIR_COOLED))
    for phase in (COLD_PRESET, FIRST_FIRE):
        check_all(shop, visit_id, phase)
    read_round(shop, visit_id, FIRST_FIRE)
    with pytest.raises(RejectedError, match="not-heat-soaked"):
        read(shop, visit_id, HEAT_SOAKED)
    checks.record(shop, visit_id, key(), HEAT_SOAKED.slug, {"head": 240.0}, "KM", AT)
    status = next(s for s in progress(visit_record(shop, visit_id)) if s.phase is HEAT_SOAKED)
    assert [stop.code for stop in status.stops] == [Requirement.HEAD_HOT]


@pytest.mark.parametrize("layout", MOTORS, ids=["a bank", "a bore"])
@pytest.mark.parametrize("place", PLACES)
def test_electronic_throttles_are_told_of_nothing_to_set_by_hand(layout: Layout, place: str) -> None:
    parts = parts_of(layout)
    for phase in PHASES:
        if phase is BANK_BALANCE:
            continue
        told = " ".join((phase_goal(phase, parts), *phase_steps(phase, parts))).lower()
        assert not [words for words in BY_HAND if words in told], phase.slug
    assert {"throttle-power-off", "maker-instructions", "plates-follow", "throttle-adapted"} <= asked(layout, place)
    by_hand = {"base-blade", "preset-turns", "stop-spring", "stops-marked", "links-tight", "throttle-returns"}
    assert not by_hand & asked(layout, place)
    for phase in (COLD_PRESET, LOCK_DOWN):
        cautions = " ".join(str(one) for one in safety_lines(phase.cautions_at(place, parts)))
        assert "its motor can shut a plate without warning" in cautions
        assert "It crushes fingers." in cautions


@pytest.mark.parametrize("layout", MOTORS, ids=["a bank", "a bore"])
def test_it_is_measured_and_said_how_even_it_is_but_nothing_is_advised_at_its_plates(
    client: TestClient, shop: Database, layout: Layout
) -> None:
    visit_id = heat_soaked(shop, layout)
    cold = assess(visit_record(shop, visit_id)).of(COLD_PRESET)
    assert (cold.preset, cold.step.why) == (None, StepReason.NOTHING_READ)
    uneven(shop, visit_id)
    judged = assess(visit_record(shop, visit_id)).of(HEAT_SOAKED)
    assert (judged.step.kind, judged.step.why) == (AdviceKind.CANNOT, StepReason.ELECTRONIC)
    assert judged.round is not None
    assert judged.round.verdict is Conformity.NOT_EVEN
    where = step_words(judged)[1]
    assert ("Couplers could be set: power off" in where) is bool(layout.couplers())
    page = client.get(f"/visits/{visit_id}/{HEAT_SOAKED.slug}/readings").text
    assert html.escape(where) in page.replace("&#39;", "&#x27;")
    banks = next(s for s in progress(visit_record(shop, visit_id)) if s.phase is BANK_BALANCE)
    if len(layout.banks) > 1:
        assert banks.not_needed_because == because(NotNeeded.ELECTRONIC)


def reset(power_off: bool) -> NewMove:
    return NewMove(HEAT_SOAKED.slug, "blade", "", 2, 3, 0.0, (4 * THOU,), False, "KM", power_off)


def test_a_coupler_is_refused_while_the_throttles_have_power(client: TestClient, shop: Database) -> None:
    visit_id = heat_soaked(shop, ONE_MOTOR_A_BANK)
    uneven(shop, visit_id)
    with pytest.raises(RejectedError) as refused:
        moves.make(shop, visit_id, key(), reset(power_off=False), AT)
    assert codes_of(refused) == {"power_off": Rejection.THROTTLES_HAVE_POWER}
    there = f"/visits/{visit_id}/{HEAT_SOAKED.slug}"
    shown = client.get(f"{there}/moves/new").text
    assert 'name="power_off"' in shown
    assert "its motor can shut a plate without warning" in shown
    sent = {"key": key(), "kind": "blade", "place": "2-3", "leaf": "4", "by": "KM"}
    answer = client.post(f"{there}/moves", data=sent)
    assert answer.status_code == 422
    assert "nothing at a plate is set while they have power" in answer.text
    assert client.post(f"{there}/moves", data={**sent, "power_off": "1"}).status_code == 303
    (move,) = visit_record(shop, visit_id).moves
    assert move.power_off == 1
    for page in (f"{there}/recorded", f"/visits/{visit_id}/sheet"):
        assert "Throttle power off." in client.get(page).text


def test_where_a_linkage_opens_the_plates_nobody_is_asked_about_power(client: TestClient, shop: Database) -> None:
    visit_id = heat_soaked(shop, FOUR)
    uneven(shop, visit_id)
    assert "power_off" not in client.get(f"/visits/{visit_id}/{HEAT_SOAKED.slug}/moves/new").text
    moves.make(shop, visit_id, key(), reset(power_off=False), AT)
    assert [move.power_off for move in visit_record(shop, visit_id).moves] == [None]


def test_programs_say_what_an_engine_is_and_are_refused_the_same_way(client: TestClient, shop: Database) -> None:
    facts = {"displacement": 3.0, "idle_speed_rpm": 850}
    banks = [{"bores": [1, 2, 3]}, {"bores": [4, 5, 6]}]
    three = {"banks": banks, "shafts": [[1, 2, 3], [4, 5, 6]], "cooling": "air"}
    sent = {"key": key(), "serial": "air", "layout": three, **facts}
    told = client.post("/api/engines", json=sent).json()["fitting"]["layout"]
    assert (told["shafts"], told["cooling"], told["actuation"]) == ([[1, 2, 3], [4, 5, 6]], "air", "linkage")
    assert [bank["joints"] for bank in told["banks"]] == [["shaft", "shaft"]] * 2
    motors = {"key": key(), "serial": "motors", "layout": {"banks": banks, "actuation": "motor-per-bore"}, **facts}
    told = client.post("/api/engines", json=motors).json()["fitting"]["layout"]
    assert (told["actuation"], told["banks"][0]["joints"]) == ("motor-per-bore", [])
    for wrong, field in (
        ({"banks": banks, "shafts": [[1, 3]]}, "layout/shafts"),
        ({"banks": banks, "shafts": [[3, 4]]}, "layout/shafts"),
        ({"banks": banks, "shafts": [[1, 2]], "actuation": "motor-per-bore"}, "layout/actuation"),
    ):
        answer = client.post("/api/engines", json={**sent, "key": key(), "serial": "wrong", "layout": wrong})
        assert answer.status_code == 422
        assert field in answer.text
    visit_id = visit(shop, engine(shop, ONE_MOTOR_A_BANK, serial="a bank"))
    move = {"key": key(), "kind": "stop", "bank": "A", "turns": 0.125, "by": "KM"}
    for phase in (COLD_PRESET, FIRST_FIRE):
        check_all(shop, visit_id, phase)
    answer = client.post(f"/api/visits/{visit_id}/phases/{FIRST_FIRE.slug}/moves", json=move)
    assert answer.status_code == 422
    assert "throttles-have-power" in answer.text
    powered_off = {**move, "key": key(), "power_off": True}
    answer = client.post(f"/api/visits/{visit_id}/phases/{FIRST_FIRE.slug}/moves", json=powered_off)
    assert (answer.status_code, answer.json()["power_off"]) == (201, True)
    with shop.reading() as session:
        kept = exports.engine_file(session, visit_record(shop, visit_id).engine.ident, AT)
    assert [move.power_off for one in kept.visits for move in one.moves] == [True]


SEEN = re.compile(r">([^<]+)<|(?:aria-label|title)=\"([^\"]*)\"")
PHASE_OF_TWO = ("Part-throttle bank balance", "Not needed: this engine has one bank.")


def seen(page: str) -> list[str]:
    """What a person sees or hears of a page, without the name of the phase that one bank does not need."""
    shown = re.sub(r"<(script|style|template).*?</\1>", "", page, flags=re.DOTALL)
    texts = [html.unescape(one or other).strip() for one, other in SEEN.findall(shown)]
    return [one for one in texts if one.rstrip(":") not in PHASE_OF_TWO]


@pytest.mark.parametrize("place", PLACES)
def test_an_engine_with_one_bank_is_told_of_no_banks_and_no_link_rods(
    client: TestClient, shop: Database, place: str
) -> None:
    engine_id = engine(shop, FOUR)
    visit_id = visit(shop, engine_id, place)
    here = f"/visits/{visit_id}"
    addresses = [f"{here}/{phase.slug}" for phase in PHASES]
    for phase in (COLD_PRESET, FIRST_FIRE):
        check_all(shop, visit_id, phase)
    read_round(shop, visit_id, FIRST_FIRE)
    check_all(shop, visit_id, HEAT_SOAKED)
    uneven(shop, visit_id)
    addresses += [f"{here}/{phase.slug}/readings" for phase in PHASES if phase is not COLD_PRESET]
    addresses += [f"{here}/{HEAT_SOAKED.slug}/moves/new", f"{here}/sheet", f"{here}/sign-off"]
    addresses += [f"/engines/{engine_id}", f"/engines/{engine_id}/worksheet"]
    for address in addresses:
        answer = client.get(address)
        assert answer.status_code == 200, address
        told = [one for one in seen(answer.text) if re.search(r"\bbanks?\b|link rod", one, re.IGNORECASE)]
        assert told == [], address


@pytest.mark.parametrize("layout", MOTORS, ids=["a bank", "a bore"])
def test_no_stop_screw_is_drawn_or_named_where_motors_move_the_plates(
    client: TestClient, shop: Database, layout: Layout
) -> None:
    visit_id = heat_soaked(shop, layout)
    uneven(shop, visit_id)
    engine_page = client.get(f"/engines/{visit_record(shop, visit_id).engine.ident}").text
    assert "stop screw" not in engine_page.lower()
    assert "link rod" not in engine_page.lower()
    assert "stop screw" not in client.get(f"/visits/{visit_id}/sheet").text.lower()
