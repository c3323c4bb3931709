"""An adjuster that does not exist, told of from here alone: planned, learned, recorded, shown, printed, exported.

A trim screw turns the plate of its own bore on the shaft, turned out to open it. Nothing under ``app`` knows of it.
"""

import re
from collections.abc import Iterator
from pathlib import Path
from typing import Any, ClassVar

import pytest
from starlette.testclient import TestClient

from app.shop.commands import engines
from app.shop.exchange.exports import engine_file, written
from app.shop.exchange.imports import bring_in, read
from app.shop.procedure.phases import HEAT_SOAKED
from app.shop.record import loader
from app.shop.record.fittings import layout_from_json
from app.shop.record.visit_record import move_of
from app.shop.rejections import Rejection
from app.shop.store.database import Database
from app.shop.store.upgrade import open_shop
from app.sync.engine.adjusters import registry
from app.sync.engine.adjusters.kind import Effect, ScrewWithGain
from app.sync.engine.engine_air import usual_breathing
from app.sync.engine.events import Meter, OtherTurn
from app.sync.engine.hardware import Hardware, likely_hardware
from app.sync.engine.layout import Bank, Layout, OtherScrew
from app.sync.engine.units import THOU
from app.sync.estimation.filter import run_filter
from app.sync.estimation.posterior import prior_for
from app.sync.estimation.predict import predict
from app.sync.planning.advice import Advice, AdviceReason
from app.sync.planning.planner import next_move
from app.sync.simulation.reference_run import follow_advice
from app.sync.simulation.simulator import WANTED, SimulatedEngine
from app.sync.slips.slip_detection import Pooled, slipped
from app.web.application import create_app
from app.web.presenters import adjusters as drawings
from app.web.presenters.adjusters import Drawing
from app.wording.message import Message
from app.wording.office.slips import suspect_name
from app.wording.work import adjusters as words
from app.wording.work.adjusters import AdjusterWords, Both
from app.wording.work.telephone import advice_prompt
from tests.shop import yard
from tests.shop.rejections import rejects
from tests.shop.yard import AT, key, visit_record
from tests.sync.oracles import influence

ORIGIN = "http://127.0.0.1"
HOT = f"/visits/1/{HEAT_SOAKED.slug}"
API = f"/api/visits/1/phases/{HEAT_SOAKED.slug}"
BLADES = tuple(t * THOU / 2 for t in range(3, 20))
MARK = "M3 9h18v9h-18zM12 18v22"


class Trim(ScrewWithGain):
    """Positive is out, which turns the plate of its bore open [turns]."""

    slug = "trim"
    positive = "out"
    most = 3.0
    effect: ClassVar[Effect] = "turns plates"
    step = 1 / 16

    def size(self, hardware: Hardware) -> float:
        """A turn of half a millimeter on an arm of 15 mm [rad]."""
        return 0.5 / 15


class Jet(ScrewWithGain):
    """Positive is in, which lets more air past the plate of its bore [turns]; it has a seat, and two turns from it."""

    slug = "trim"
    most = 2.0
    effect: ClassVar[Effect] = "lets air past"
    step = 1 / 8
    preset, travel = 1.0, 2.0

    def size(self, hardware: Hardware) -> float:
        """Area of a turn [m2]."""
        return 0.8e-6


TRIM_WORDS = AdjusterWords(
    name=Message("Trim screw"),
    place=Message("Bore {near}"),
    title=Both(Message("Turn trim screw {near} out {turns}"), Message("Turn trim screw {near} in {turns}")),
    effect=Both(Message("Opens plate {near} only."), Message("Closes plate {near} only.")),
    then=Message("trim screw {places}", many="trim screws {places}"),
    made=Both(Message("Trim screw {near} turned out {turns}."), Message("Trim screw {near} turned in {turns}.")),
    told=Both(
        Message("Turn the trim screw of intake {intake} out by {turns}."),
        Message("Turn the trim screw of intake {intake} in by {turns}."),
    ),
    called=Message("trim screw {near}"),
    several=Message("trim screw {places}", many="trim screws {places}"),
    logged=Message("Trim screw {near} was turned"),
    fitted=Message("trim screw at bore {bores}", many="trim screws at bores {bores}"),
)
LAYOUT = Layout(
    (Bank("A", (1, 2, 3, 4), 2, 2, ("shaft", "shaft", "shaft")),),
    extra=tuple(OtherScrew("trim", bore) for bore in (1, 2, 3, 4)),
)
"""Four plates on one shaft: nothing but their trim screws sets them apart."""


@pytest.fixture(params=[Trim(), Jet()], ids=["turns a plate", "lets air past"])
def kind(request: pytest.FixtureRequest) -> Iterator[ScrewWithGain]:
    registry.register(request.param)
    yield request.param
    registry.unregister("trim")


@pytest.fixture
def trim() -> Iterator[None]:
    registry.register(Trim())
    words.register("trim", TRIM_WORDS)
    drawings.register("trim", Drawing("trim", MARK))
    yield
    drawings.unregister("trim")
    words.unregister("trim")
    registry.unregister("trim")


@pytest.fixture
def client(shop: Database, trim: None) -> Iterator[TestClient]:
    with TestClient(create_app(shop), base_url=ORIGIN, headers={"Origin": ORIGIN}, follow_redirects=False) as opened:
        yield opened


@pytest.fixture
def elsewhere(tmp_path: Path) -> Iterator[Database]:
    opened = open_shop(tmp_path / "elsewhere")
    yield opened
    opened.close()


def hot(shop: Database) -> None:
    """A first visit at an engine with trim screws whose fourth bore was read too closed, hot, the round complete."""
    yard.heat_soaked(shop, LAYOUT)
    for bore, value in zip(LAYOUT.bores, (6.5, 6.5, 6.5, 5.0), strict=True):
        yard.read(shop, 1, HEAT_SOAKED, value, bore)
    yard.read(shop, 1, HEAT_SOAKED)


def turned_as_advised(client: TestClient) -> dict[str, Any]:
    """The advice, followed by a program; what it was told of the move."""
    advice = client.get(f"{API}/advice").json()
    sent = {"key": key(), "kind": advice["kind"], "bore": advice["bore"], "turns": advice["turns"], "advised": True}
    answer = client.post(f"{API}/moves", json={**sent, "by": "KM"})
    assert answer.status_code == 201, answer.text
    told: dict[str, Any] = answer.json()
    return told


def test_every_kind_has_words_and_a_drawing_and_none_is_without_a_kind() -> None:
    slugs = {one.slug for one in registry.kinds()}
    assert slugs == set(words.ADJUSTERS)
    assert {drawings.drawing_of(slug).mark for slug in slugs} == {"stop", "coupler", "screw", "link", "bypass"}
    assert "trim" not in slugs


def test_it_is_planned_and_brings_a_simulated_engine_to_even(kind: ScrewWithGain) -> None:
    turned, even = set(), 0

    def advise(*facts: object) -> Advice:
        found = next_move(*facts)  # type: ignore[arg-type]
        turned.add(found.kind)
        return found

    for seed in range(5000, 5006):
        stand = SimulatedEngine(LAYOUT, seed)
        said = follow_advice(stand, BLADES, 0.08, advise)
        even += said.startswith("done") and stand.worst() <= 0.1
    assert even >= 5
    assert "trim" in turned <= {"trim", "stop", "measure", "done", "cannot"}


def test_what_a_turn_of_it_does_is_learned_from_the_reading_after_it(kind: ScrewWithGain) -> None:
    stand = SimulatedEngine(LAYOUT, 5001)
    before = prior_for(LAYOUT, stand.hardware, usual_breathing(4, 2e-3, WANTED))
    screw = OtherScrew("trim", 3)
    at = before.at_gain(screw)
    for bore in LAYOUT.bores:
        stand.read(bore)
    stand.make(OtherTurn("trim", 3, 1.0, 0.0))
    for bore in LAYOUT.bores:
        stand.read(bore)
    after = run_filter(before, stand.meter, stand.events)
    assert after.covariance[at, at] < 0.9 * before.covariance[at, at]
    assert abs(after.mean[at] - stand.per_turn[screw]) < 3 * after.covariance[at, at] ** 0.5


def test_it_acts_on_its_own_bore_by_what_its_kind_says(kind: ScrewWithGain) -> None:
    fitted = likely_hardware(2e-3, 4)
    before = prior_for(LAYOUT, fitted, usual_breathing(4, 2e-3, WANTED))
    after = predict(before, OtherTurn("trim", 3, 1 / 64, 0.0))
    changed = (after.areas - before.areas) / before.width * 64
    per_turn = influence(LAYOUT, fitted, gap=float(before.gaps[2])).of(OtherScrew("trim", 3))
    assert changed == pytest.approx([0, 0, per_turn[3], 0], rel=0.02, abs=1e-12)


def test_it_goes_no_further_than_its_ends() -> None:
    assert Jet().room(0.5) == (-12, 4)
    assert Trim().room(5.0) == (-16, 16)


def test_a_program_is_advised_to_turn_it_and_is_told_what_was_turned(client: TestClient, shop: Database) -> None:
    hot(shop)
    advice = client.get(f"{API}/advice").json()
    assert (advice["kind"], advice["bore"], advice["why"]) == ("trim", 4, "tight")
    assert advice["turns"] > 0
    assert (advice["coupler"], advice["flats"], advice["leaves_thou"], advice["moves_bores"]) == (None, None, [], [4])
    told = turned_as_advised(client)
    assert (told["kind"], told["bore"], told["turns"], told["flats"]) == ("trim", 4, advice["turns"], None)
    assert told["sentence"].startswith("Trim screw 4 turned out ")
    (move,) = visit_record(shop, 1).moves
    assert move_of(move) == OtherTurn("trim", 4, advice["turns"], move_of(move).at)
    then = client.get(f"{API}/advice").json()
    assert (then["kind"], then["bore"]) != ("trim", 4)  # nothing was read since it was turned
    assert "trim" in client.get(API).json()["moves"]


@pytest.mark.parametrize(
    ("changed", "pointer"),
    [({"turns": 3.5}, "#/turns"), ({"turns": 0.0}, "#/turns"), ({"bore": 9}, "#/bore"), ({"turns": "1"}, "#/turns")],
)
def test_a_turn_that_cannot_be_is_refused_at_its_field(
    client: TestClient, shop: Database, changed: dict[str, object], pointer: str
) -> None:
    hot(shop)
    sent = {"key": key(), "kind": "trim", "bore": 4, "turns": 0.25, "by": "KM", **changed}
    answer = client.post(f"{API}/moves", json=sent)
    assert answer.status_code == 422
    assert [fault["pointer"] for fault in answer.json()["errors"]] == [pointer]


def test_an_engine_is_registered_and_fitted_with_it_by_programs_and_by_people(
    client: TestClient, shop: Database
) -> None:
    facts = {"key": key(), "serial": "7", "displacement": 2.0, "displacement_unit": "L", "idle_speed_rpm": 850}
    bank = {"bores": [1, 2, 3, 4], "stop": 2}
    sent = {**facts, "layout": {"banks": [bank], "extra": {"trim": [3, 1]}}}
    answer = client.post("/api/engines", json=sent)
    assert answer.status_code == 201, answer.text
    unknown = {**sent, "key": key(), "layout": {"banks": [bank], "extra": {"stop": [1]}}}
    refused = client.post("/api/engines", json=unknown)
    assert [fault["pointer"] for fault in refused.json()["errors"]] == ["#/layout/extra"]
    form = client.get("/engines/1/fitting").text
    assert re.search(r'name="extra_trim" value="1 3"', form)
    filled = {"a_bores": "1 2 3 4", "a_stop": "2", "extra_trim": "1 4", "why": "Two more", "key": key()}
    assert client.post("/engines/1/fitting", data=filled).status_code == 303
    with shop.reading() as session:
        layout = layout_from_json(engines.fitting_now(session, 1).layout)
    assert layout.extra == (OtherScrew("trim", 1), OtherScrew("trim", 4))


def test_the_reading_page_draws_it_words_it_and_keeps_it_as_shown(client: TestClient, shop: Database) -> None:
    hot(shop)
    page = client.get(f"{HOT}/readings").text
    assert re.search(r"Turn trim screw 4 out [0-9 /]+\xa0turn", page)
    assert "Opens plate 4 only." in page
    assert page.count("data-trim") == 4
    assert page.count("draw-standing") == 2  # at the screw, and in the card
    assert f'd="{MARK}"' in page
    card = page[page.index('<form class="answers"') :]
    sent = dict(re.findall(r'<input type="hidden" name="([a-z_]+)" value="([^"]*)"', card[: card.index("</form>")]))
    assert (sent["kind"], sent["place"], sent["way"]) == ("trim", "4", "out")
    assert client.post(f"{HOT}/moves", data={**sent, "advised": "1"}).status_code == 303
    (move,) = visit_record(shop, 1).moves
    assert (move.kind, move.bank, move.near, move.far, move.amount) == ("trim", "A", 4, None, float(sent["amount"]))
    assert "Trim screw 4 turned out" in client.get(HOT).text


def test_a_turn_made_otherwise_is_kept_the_way_it_was_made(client: TestClient, shop: Database) -> None:
    hot(shop)
    page = client.get(f"{HOT}/moves/new?kind=trim&place=4").text
    assert "Trim screw" in page
    assert re.search(r'<option value="4"[^>]*selected', page)
    sent = {"key": key(), "kind": "trim", "place": "2", "amount": "0.25", "way": "out", "by": "KM"}
    assert client.post(f"{HOT}/moves", data=sent).status_code == 303
    (move,) = visit_record(shop, 1).moves
    assert (move.near, move.amount, move.advised) == (2, 0.25, 0)


def test_it_is_read_out_over_the_telephone(trim: None) -> None:
    said = advice_prompt(Advice("trim", AdviceReason.OPEN, near=4, turns=-0.25, bores=(4,)), LAYOUT)
    assert "Turn the trim screw of intake 4 in by 1/4" in said


def test_the_sheet_prints_what_is_fitted_and_what_was_turned(client: TestClient, shop: Database) -> None:
    hot(shop)
    turned_as_advised(client)
    sheet = client.get("/visits/1/sheet").text
    assert "Trim screw 4 turned out" in sheet
    assert "trim screws at bores 1 2 3 4" in sheet


def test_the_engine_page_and_the_activity_log_tell_of_it(client: TestClient, shop: Database) -> None:
    hot(shop)
    turned_as_advised(client)
    page = client.get("/engines/1").text
    assert "trim screws at bores 1 2 3 4" in page
    assert "trim screw 4" in page
    assert "Trim screw 4 was turned" in client.get("/audit").text


def test_it_may_have_slipped_and_is_named(trim: None) -> None:
    left = {bore: Pooled(6.5 / 3600, 4) for bore in LAYOUT.bores}
    found = {**left, 4: Pooled(8.5 / 3600, 4)}
    slip = slipped(LAYOUT, left, found, Meter(), same_meter=True).named
    assert slip is not None
    assert suspect_name(slip.suspect) == "trim screw 4"


def test_it_goes_with_the_engine_into_another_shop(client: TestClient, shop: Database, elsewhere: Database) -> None:
    hot(shop)
    turned_as_advised(client)
    with shop.reading() as session:
        text = written(engine_file(session, 1, AT))
    engine_id = bring_in(elsewhere, read(text), {})
    with elsewhere.reading() as session:
        (there,) = loader.of_engine(session, engine_id)
    here = visit_record(shop, 1)
    assert there.layout == LAYOUT
    assert [move_of(move) for move in there.moves] == [move_of(move) for move in here.moves]
    with elsewhere.reading() as session:
        assert written(engine_file(session, engine_id, AT)) == text


def test_a_shop_that_does_not_know_it_refuses_the_file(shop: Database, client: TestClient) -> None:
    hot(shop)
    turned_as_advised(client)
    with shop.reading() as session:
        text = written(engine_file(session, 1, AT))
    kind = registry.kind_of("trim")
    registry.unregister("trim")
    try:
        with rejects(Rejection.FILE_NOT_BY_SCHEMA):
            read(text)
    finally:
        registry.register(kind)
