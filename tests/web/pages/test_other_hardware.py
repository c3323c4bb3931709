"""Shared shafts, bypass screws, couplers with a screw and a plenum on the pages: registered, shown, moved, on paper."""

import re

import pytest
from markupsafe import escape
from playwright.sync_api import Page, expect
from starlette.testclient import TestClient

from app.shop.commands import engines
from app.shop.commands.readings import NewReading
from app.shop.procedure.parts import parts_of
from app.shop.procedure.phases import COLD_PRESET, HEAT_SOAKED
from app.shop.record.fittings import layout_from_json
from app.shop.rejections import Rejection
from app.shop.store.database import Database
from app.shop.training import training, training_start
from app.shop.training.training_start import NewPractice
from app.sync.engine.layout import Layout, LayoutFault
from app.wording.names import other_adjusters
from app.wording.office.training import record_texts
from app.wording.work.phases import item_label, phase_steps
from tests.shop.past import Past
from tests.shop.rejections import on_page
from tests.shop.yard import AT, FOUR, TWINS, V8, engine, heat_soaked, key, read, visit, visit_record
from tests.web.pieces import plain

CHOSEN = ("layout", "displacement_unit", "plenum", "cooling", "actuation")
"""Fields with a few choices, of which the form would send the one that is checked."""

PLATES_APART = "11111111-2222-4333-8444-000000000001"
"""The key of a practice engine that only its bypass screws even."""
HOT = f"/visits/1/{HEAT_SOAKED.slug}"


def form(**changes: str) -> dict[str, str]:
    return {
        "key": key(),
        "serial": "31-0217",
        "displacement": "2.0",
        "displacement_unit": "L",
        "idle_speed": "850",
        "a_bores": "1 2 3 4",
        "a_stop": "2",
        "shafts": "2-1, 3–4",
        "screws_in": "2-3",
        "bypass": "1 4",
        "plenum": "yes",
        **changes,
    }


def layout_of(shop: Database) -> Layout:
    with shop.reading() as session:
        return layout_from_json(engines.fitting_now(session, 1).layout)


def read_uneven(shop: Database) -> None:
    """A closed round at the twins that asks for the bypass screw of bore 4, out."""
    for bore, value in zip(TWINS.bores, (6.5, 6.5, 6.5, 5.25), strict=True):
        read(shop, 1, HEAT_SOAKED, value, bore)
    read(shop, 1, HEAT_SOAKED)


def test_an_engine_is_registered_with_what_joins_its_plates_and_its_page_says_so(
    client: TestClient, shop: Database
) -> None:
    answer = client.post("/engines", data=form())
    assert answer.status_code == 303, answer.text
    assert (layout_of(shop).banks, layout_of(shop).bypass, layout_of(shop).plenum) == (TWINS.banks, TWINS.bypass, True)
    page = client.get("/engines/1").text
    joined = ", ".join(other_adjusters(layout_of(shop)))
    assert joined.startswith("bores 1 and 2 on one shaft, bores 3 and 4 on one shaft, coupler 2–3 set by a screw that")
    assert joined.endswith("when turned in, bypass screws at bores 1 4, balance plenum")
    assert joined in page
    refit = client.get("/engines/1/fitting").text
    for filled in ("1-2 3-4", "2-3", "1 4"):
        assert f'value="{filled}"' in refit
    assert '<details class="more" open>' in refit


@pytest.mark.parametrize(
    ("field", "typed", "said"),
    [
        ("shafts", "1-3", on_page(Rejection.NOT_NEIGHBORS, first=1, second=3)),
        ("shafts", "1-2-3", on_page(Rejection.PAIR_TWICE, first=2, second=3)),
        ("shafts", "1-2-3-4-5", on_page(Rejection.NOT_A_PAIR, typed="1-2-3-4-5")),
        ("screws", "1-2-3", on_page(Rejection.NOT_A_PAIR, typed="1-2-3")),
        ("shafts", "one", on_page(Rejection.NOT_A_PAIR, typed="one")),
        ("screws", "2-3", on_page(Rejection.PAIR_TWICE, first=2, second=3)),
        ("bypass", "9", on_page(LayoutFault.BYPASS_ELSEWHERE)),
        ("bypass", "x", on_page(Rejection.NOT_A_BORE, typed="x")),
    ],
)
def test_what_joins_no_two_plates_is_said_beside_its_field_and_kept(
    client: TestClient, shop: Database, field: str, typed: str, said: str
) -> None:
    answer = client.post("/engines", data=form(**{field: typed}))
    assert answer.status_code == 422
    assert re.search(rf'id="[a-z_]+-message">[^<]*{re.escape(said)}', answer.text)
    assert f'value="{typed}"' in answer.text
    with shop.reading() as session:
        assert engines.count(session) == 0


@pytest.mark.parametrize("layout", ["opposed4", "opposed6", "twins"])
def test_every_layout_offered_registers_as_it_is_filled_in(client: TestClient, shop: Database, layout: str) -> None:
    shown = client.get("/engines/new", params={"layout": layout}).text
    filled = dict(re.findall(r'name="([a-z_]+)" value="([^"]*)"', shown))
    kept = {name: value for name, value in filled.items() if name not in CHOSEN}
    sent = {**kept, "serial": "7", "displacement": "2", "displacement_unit": "L", "idle_speed": "850"}
    answer = client.post("/engines", data=sent)
    assert answer.status_code == 303, answer.text
    assert len(layout_of(shop).banks) == (1 if layout == "twins" else 2)
    assert bool(layout_of(shop).bypass) is (layout == "twins")


def test_the_reading_page_draws_one_bar_through_two_plates_and_marks_the_bypass_screw_to_turn(
    client: TestClient, shop: Database
) -> None:
    heat_soaked(shop, TWINS)
    read_uneven(shop)
    page = client.get(f"{HOT}/readings").text
    assert page.count("data-shaft") == 4
    assert page.count("data-bypass") == 2
    assert page.count("one shaft</span>") == 2
    assert page.count("coupler set by its screw</span>") == 1
    assert re.search(r"Turn bypass screw 4 out [0-9\xa0/]+\xa0turn", page)
    assert "Lets more air past plate 4 only." in page
    assert page.count("draw-standing") == 2  # at the screw, and in the card


def test_a_bypass_screw_turned_as_advised_is_kept_out_and_said_so(client: TestClient, shop: Database) -> None:
    heat_soaked(shop, TWINS)
    read_uneven(shop)
    page = client.get(f"{HOT}/readings").text
    card = page[page.index('<form class="answers"') :]
    sent = dict(re.findall(r'<input type="hidden" name="([a-z_]+)" value="([^"]*)"', card[: card.index("</form>")]))
    assert (sent["kind"], sent["place"], sent["way"]) == ("bypass", "4", "out")
    assert client.post(f"{HOT}/moves", data={**sent, "advised": "1"}).status_code == 303
    (move,) = visit_record(shop, 1).moves
    assert (move.kind, move.near, move.amount, move.advised) == ("bypass", 4, float(sent["amount"]), 1)
    assert "Bypass screw 4 turned out" in client.get(HOT).text


@pytest.mark.parametrize(
    ("kind", "place", "way", "amount", "words"),
    [
        ("bypass", "4", "in", -0.25, "Bypass screw 4 turned in 1/4\u00a0turn."),
        ("screw", "2-3", "in", 0.25, "Coupler screw 2–3 turned in 1/4\u00a0turn."),
        ("screw", "2-3", "out", -0.25, "Coupler screw 2–3 turned out 1/4\u00a0turn."),
    ],
)
def test_a_move_made_differently_is_kept_the_way_it_was_turned(
    client: TestClient, shop: Database, kind: str, place: str, way: str, amount: float, words: str
) -> None:
    heat_soaked(shop, TWINS)
    read_uneven(shop)
    offered = client.get(f"{HOT}/moves/new", params={"kind": kind, "place": place}).text
    assert "Coupler screw" in offered
    assert "Coupler on a feeler" not in offered  # this engine has none
    assert "Bore 1</option>" in offered
    assert "Bore 2</option>" not in offered  # no bypass screw there
    sent = {"key": key(), "kind": kind, "place": place, "way": way, "amount": "0.25", "by": "KM"}
    assert client.post(f"{HOT}/moves", data=sent).status_code == 303
    assert visit_record(shop, 1).moves[-1].amount == amount
    assert words in plain(client.get(HOT).text)


@pytest.mark.parametrize(("kind", "place"), [("blade", "2-3"), ("screw", "1-2"), ("bypass", "2")])
def test_an_adjuster_that_does_not_exist_is_refused(client: TestClient, shop: Database, kind: str, place: str) -> None:
    heat_soaked(shop, TWINS)
    read_uneven(shop)
    sent = {"key": key(), "kind": kind, "place": place, "way": "in", "amount": "0.25", "leaf": "4", "by": "KM"}
    assert client.post(f"{HOT}/moves", data=sent).status_code == 422
    assert visit_record(shop, 1).all_moves == ()


def test_the_phases_ask_and_warn_for_what_the_engine_has(client: TestClient, shop: Database) -> None:
    visit(shop, engine(shop, TWINS))
    visit(shop, engine(shop, V8, "31-0218"))
    twins, eight = (client.get(f"/visits/{n}/{COLD_PRESET.slug}").text for n in (1, 2))
    usual, parts = phase_steps(COLD_PRESET, parts_of(V8)), parts_of(TWINS)
    own = [step for step in phase_steps(COLD_PRESET, parts) if step not in usual]
    own += [item_label(item, parts) for item in ("bypass-turns", "shaft-plates")]
    assert len(own) > 3
    for words in own:
        assert str(escape(words)) in twins
        assert str(escape(words)) not in eight
    assert phase_steps(HEAT_SOAKED, parts)[-1] in client.get(f"/visits/1/{HEAT_SOAKED.slug}").text


def test_a_program_is_told_to_turn_a_bypass_screw(client: TestClient, shop: Database) -> None:
    heat_soaked(shop, TWINS)
    read_uneven(shop)
    told = client.get(f"/api/visits/1/phases/{HEAT_SOAKED.slug}/advice").json()
    assert (told["kind"], told["bore"], told["moves_bores"], told["bank"], told["coupler"]) == (
        *("bypass", 4, [4], None, None),
    )
    assert told["turns"] > 0
    (expected,) = told["expected"]
    assert expected["value"] > 5.25
    assert expected["low"] < expected["value"] < expected["high"]
    said = client.get(f"/api/visits/1/phases/{HEAT_SOAKED.slug}").json()
    assert said["moves"] == ["stop", "screw", "bypass"]
    sent = {"key": key(), "kind": "bypass", "bore": told["bore"], "turns": told["turns"], "by": "KM", "advised": True}
    kept = client.post(f"/api/visits/1/phases/{HEAT_SOAKED.slug}/moves", json=sent).json()
    assert (kept["bore"], kept["turns"]) == (4, told["turns"])


def test_a_program_brings_twin_plates_to_even_by_what_it_is_told(client: TestClient, shop: Database) -> None:
    """Told by the JSON interface alone, at a simulated engine two of whose plates stand apart on their shaft."""
    phase = f"/api/visits/1/phases/{HEAT_SOAKED.slug}"
    engine_wanted = NewPractice("4-twins", "sound", "hot", "KM")
    assert training_start.start(shop, PLATES_APART, engine_wanted, record_texts(), AT) == 1
    kinds = set()
    for _ in range(60):
        told = client.get(f"{phase}/advice").json()
        kinds.add(told["kind"])
        sent = {"key": key(), "by": "KM"}
        if told["kind"] in ("done", "cannot"):
            break
        if told["kind"] != "measure":
            parts = ("kind", "bank", "bore", "coupler", "turns")
            named = {part: told[part] for part in parts if told[part] is not None}
            assert client.post(f"{phase}/moves", json={**sent, **named, "advised": True}).status_code == 201
        elif not told["readings"]:
            assert client.post(f"{phase}/rounds", json=sent).status_code == 201
        else:
            asked = told["readings"][0]
            new = NewReading(HEAT_SOAKED.slug, asked["round"], asked["bore"], asked["kind"], None, "KM")
            training.read(shop, 1, key(), new, AT)
    assert told["kind"] == "done", told["reason"]
    assert {"measure", "bypass", "done"} <= kinds <= {"measure", "stop", "screw", "bypass", "done"}
    with shop.reading() as session:
        truth = training.truth(session, 1)
    assert truth.worst <= 0.1 < truth.worst_at_first


def test_paper_follows(client: TestClient, shop: Database) -> None:
    past = Past(shop, TWINS)
    past.visit([6.5, 6.5, 6.5, 5.25])
    sheet = client.get("/visits/1/sheet").text
    assert ", ".join(other_adjusters(TWINS)) in sheet
    assert "1 and 2 on one shaft" in sheet
    worksheet = client.get("/engines/1/worksheet").text
    assert all(step in worksheet for step in phase_steps(COLD_PRESET, parts_of(TWINS)))
    assert "1 and 2 on one shaft" in worksheet
    assert "1 and 2 on one shaft" not in client.get(f"/engines/{Past(shop, FOUR, 'other').engine_id}/worksheet").text


def test_a_reading_typed_without_a_link_keeps_the_shaft_drawn(page: Page, server: str, shop: Database) -> None:
    """The tile is drawn anew by the page's script while its value is on the way."""
    heat_soaked(shop, TWINS)
    page.goto(f"{server}{HOT}/readings")
    page.get_by_role("button", name="6", exact=True).click()
    page.get_by_role("button", name=".50").click()
    tile = page.get_by_role("link", name=re.compile("^Bore 1, 6.50"))
    expect(tile.locator("[data-shaft]")).to_have_count(1)
    expect(tile.locator("[data-bypass]")).to_have_count(1)
