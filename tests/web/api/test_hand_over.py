"""An engine handed over by another store's program: whose an open visit is, and what a person here is asked."""

import json
import threading
from collections.abc import Iterator
from contextlib import contextmanager
from datetime import UTC, datetime
from pathlib import Path
from typing import Any

import pytest
from sqlmodel import Session, col, select
from starlette.testclient import TestClient

from app.server.handing_over import LineError, one_turn
from app.shop.commands import engines, meters, readings, visits
from app.shop.commands.access import sites
from app.shop.commands.access.programs import let_one_in
from app.shop.commands.access.scopes import AccessScope
from app.shop.commands.meters import NewMeter
from app.shop.commands.readings import NewReading
from app.shop.commands.visits import NewVisit
from app.shop.exchange.handing import receiving, sending
from app.shop.exchange.handing.codes import HandOverProblem
from app.shop.exchange.handing.setting import Receiver, forget, keep, kept
from app.shop.procedure.phases import HEAT_SOAKED
from app.shop.procedure.requirements import Waiting
from app.shop.record import loader
from app.shop.record.stored_reasons import read_back
from app.shop.rejections import Rejection
from app.shop.store.database import Database, FileDatabase
from app.shop.store.handing.tables import Elsewhere
from app.shop.store.tables import MeterRow, SignOff, Visit
from app.shop.store.upgrade import open_shop
from app.web.application import create_app
from app.web.pages.shop.programs import known
from tests.at_once import AtOnce
from tests.shop.exchange.files import EVEN, SLIPPED, first_meter_of_old, out
from tests.shop.past import Past
from tests.shop.rejections import on_page, rejects
from tests.shop.yard import AT, FOUR, engine, heat_soaked, key, read_round

ORIGIN = "http://127.0.0.1"
PATH = "/api/hand-over"


@pytest.fixture
def office(tmp_path: Path) -> Iterator[Database]:
    opened = open_shop(tmp_path / "office")
    yield opened
    opened.close()


@pytest.fixture
def door(office: Database, monkeypatch: pytest.MonkeyPatch) -> Iterator[TestClient]:
    """The office, asked by the program of the north yard."""
    monkeypatch.setattr("app.web.application.Apart", AtOnce)
    token = let_one_in(office, key(), "North yard", {AccessScope.HAND_OVER}, 30, datetime.now(UTC))
    headers = {"Authorization": f"Bearer {token}", "Content-Type": "application/json"}
    with TestClient(create_app(office), base_url=ORIGIN, headers=headers) as one:
        yield one


def hand_in(door: TestClient, text: str) -> dict[str, Any]:
    answer = door.post(PATH, content=text)
    assert answer.status_code == 200, answer.text
    told: dict[str, Any] = answer.json()
    return told


def facts(shop: Database, vehicle: str) -> None:
    """Say of the first engine that it is in another vehicle."""
    with shop.reading() as session:
        here = engines.get(session, 1)
    said = {name: getattr(here, name) for name in ("serial", "description", "displacement", "displacement_unit")}
    said |= {"customer": here.customer, "vehicle": vehicle, "idle_speed": here.idle_speed}
    engines.change(shop, 1, here.version, engines.EngineFacts(**said))


def questions(office: Database) -> list[str]:
    with office.reading() as session:
        return [one.id for one in receiving.open_questions(session)]


def test_every_key_is_acknowledged_and_sent_again_nothing_is_stored(shop: Database, door: TestClient) -> None:
    Past(shop).visit(SLIPPED, EVEN)
    with shop.reading() as session:
        one = sending.parcel(session, 1, AT)
    assert one is not None
    first = hand_in(door, one.text.decode())
    assert one.keys <= set(first["keys"])
    assert (first["unsealed"], first["asked"]) == (0, [])
    assert hand_in(door, one.text.decode()) == first


def test_an_open_visit_belongs_to_its_store_until_the_sign_off(
    shop: Database, office: Database, door: TestClient
) -> None:
    visit_id = heat_soaked(shop, FOUR)
    read_round(shop, visit_id, HEAT_SOAKED)
    there = hand_in(door, out(shop))["engine_id"]
    with office.reading() as session:
        (record,) = loader.of_engine(session, there)
    assert record.rounds, "it is shown"
    new = NewReading(HEAT_SOAKED.slug, 1, 1, "again", 6.5, "KM")
    with rejects(Waiting.ELSEWHERE):
        readings.add(office, record.visit.ident, key(), new, AT)
    with rejects(Waiting.ELSEWHERE):
        visits.sign_off(office, record.visit.ident, key(), "Foreman of the office", AT)
    with TestClient(door.app, base_url=ORIGIN) as program:
        rounds = f"/api/visits/{record.visit.ident}/phases/{HEAT_SOAKED.slug}/rounds"
        answer = program.post(rounds, json={"key": key()})
        assert (answer.status_code, answer.json()["code"]) == (422, "visit-elsewhere")
        assert "North yard" in answer.json()["detail"]
        assert program.get(f"/visits/{record.visit.ident}").status_code == 200


@pytest.mark.parametrize(("site", "belongs"), [("NORTH YARD", True), ("South yard", False)])
def test_a_visit_handed_over_is_of_the_site_that_its_store_is_called_after(
    shop: Database, office: Database, door: TestClient, site: str, belongs: bool
) -> None:
    known_here = sites.add(office, key(), site, "KM", AT)
    visit_id = heat_soaked(shop, FOUR)
    read_round(shop, visit_id, HEAT_SOAKED)
    there = hand_in(door, out(shop))["engine_id"]
    with office.reading() as session:
        (came,) = session.exec(select(Visit).where(Visit.engine_id == there)).all()
    assert came.site_id == (known_here if belongs else None)


def test_a_visit_handed_over_with_a_token_for_a_site_is_that_sites(
    shop: Database, office: Database, door: TestClient
) -> None:
    """Whatever the token is called, and where another site has worked on the engine as well."""
    north, south = (sites.add(office, key(), name, "KM", AT) for name in ("North", "South"))
    past = Past(shop)
    past.visit(EVEN, EVEN)
    with door_of(office, south) as other:
        hand_in(other, out(shop))
    past.visit(EVEN, EVEN)
    with door_of(office, north) as mine:
        hand_in(mine, out(shop))
    with office.reading() as session:
        assert session.exec(select(Visit.site_id).order_by(col(Visit.number))).all() == [south, north]


@contextmanager
def door_of(office: Database, site: int) -> Iterator[TestClient]:
    """The office, asked with a token for one of its sites."""
    token = let_one_in(office, key(), f"hand-over {site}", {AccessScope.HAND_OVER}, 30, datetime.now(UTC), site)
    headers = {"Authorization": f"Bearer {token}", "Content-Type": "application/json"}
    with TestClient(create_app(office), base_url=ORIGIN, headers=headers) as one:
        yield one


def test_after_the_sign_off_a_new_visit_is_anybodys(shop: Database, office: Database, door: TestClient) -> None:
    past = Past(shop)
    past.visit(EVEN, EVEN, signed=False)
    there = hand_in(door, out(shop))["engine_id"]
    with shop.writing() as session:
        past_visit = session.exec(select(Visit)).one()
        _sign(session, past_visit.ident)
    hand_in(door, out(shop))
    with office.reading() as session:
        meter = session.exec(select(MeterRow)).first()
        assert meter is not None
    opened = visits.open_visit(office, there, key(), NewVisit("vehicle", "", "Rough", "KM", meter.ident), AT)
    with office.reading() as session:
        assert loader.load(session, opened).elsewhere is None


def _sign(session: Session, visit_id: int) -> None:
    session.add(SignOff(key=key(), payload="", visit_id=visit_id, name="Foreman", at=AT))


def test_facts_that_differ_are_asked_and_the_rows_come_in_meanwhile(
    shop: Database, office: Database, door: TestClient
) -> None:
    past = Past(shop)
    past.visit(EVEN, EVEN)
    hand_in(door, out(shop))
    facts(office, "Red van")
    past.visit(SLIPPED, EVEN)
    told = hand_in(door, out(shop))
    assert told["asked"] == ["facts"]
    with office.reading() as session:
        assert len(loader.of_engine(session, told["engine_id"])) == 2
        assert engines.get(session, told["engine_id"]).vehicle == "Red van"
    (asked,) = questions(office)
    receiving.answer(office, asked, "theirs")
    with office.reading() as session:
        assert engines.get(session, told["engine_id"]).vehicle == "Blue coupe"
    assert hand_in(door, out(shop))["asked"] == []
    assert questions(office) == []


def test_facts_that_a_person_kept_are_asked_again_only_when_the_others_change(
    shop: Database, office: Database, door: TestClient
) -> None:
    Past(shop).visit(EVEN, EVEN)
    hand_in(door, out(shop))
    facts(office, "Red van")
    hand_in(door, out(shop))
    receiving.answer(office, questions(office)[0], "mine")
    assert hand_in(door, out(shop))["asked"] == []
    facts(shop, "Green van")
    assert hand_in(door, out(shop))["asked"] == ["facts"]
    assert len(questions(office)) == 1


@pytest.mark.parametrize(("answer", "count"), [("join", 1), ("apart", 2)])
def test_an_engine_of_the_same_serial_waits_for_a_person(
    shop: Database, office: Database, door: TestClient, answer: str, count: int
) -> None:
    for one in (shop, office):
        Past(one).visit(EVEN, EVEN)
    refused = door.post(PATH, content=out(shop))
    assert (refused.status_code, refused.json()["code"]) == (409, "hand-over-asked")
    (asked,) = questions(office)
    with rejects(Rejection.NOT_ONE_OF):
        receiving.answer(office, asked, "perhaps")
    receiving.answer(office, asked, answer)
    hand_in(door, out(shop))
    with office.reading() as session:
        assert engines.count(session) == count


def test_the_meter_that_every_shop_once_began_with_is_another_one_once_for_each_store(
    shop: FileDatabase, office: Database, door: TestClient
) -> None:
    for one in (shop, office):
        first_meter_of_old(one)
    Past(office, serial="in the way").visit(EVEN, EVEN)
    for serial in ("31-0217", "22-0098"):
        past = Past(shop, serial=serial)
        past.visit(EVEN, EVEN)
        hand_in(door, out(shop, past.engine_id))
    with office.reading() as session:
        assert [row.name for row in session.exec(select(MeterRow)).all()] == ["Bench meter", "Bench meter, North yard"]


def test_two_open_visits_are_told_to_the_sender_and_nothing_is_stored(
    shop: Database, office: Database, door: TestClient
) -> None:
    past = Past(shop)
    past.visit(EVEN, EVEN)
    there = hand_in(door, out(shop))["engine_id"]
    column = meters.register(office, key(), NewMeter("Column", "mmHg", 2, 0, 760))
    visits.open_visit(office, there, key(), NewVisit("vehicle", "", "Rough", "KM", column), AT)
    past.visit(EVEN, signed=False)
    answer = door.post(PATH, content=out(shop))
    assert (answer.status_code, answer.json()["code"]) == (422, "file-open-visits")


@pytest.mark.parametrize(
    ("change", "code"),
    [
        (lambda file: file["visits"][0]["readings"][0].update(value=1.25), "file-seals"),
        (lambda file: file.update(version=99), "file-version"),
    ],
)
def test_a_file_that_changed_on_the_way_is_not_taken(
    shop: Database, office: Database, door: TestClient, change: Any, code: str
) -> None:
    Past(shop).visit(EVEN, EVEN)
    file = json.loads(out(shop))
    change(file)
    answer = door.post(PATH, content=json.dumps(file))
    assert (answer.status_code, answer.json()["code"]) == (422, code)
    assert "errors" not in answer.json(), "the body is the file: no field of it has that name"
    with office.reading() as session:
        assert engines.count(session) == 0


def test_a_token_of_another_scope_hands_nothing_over(shop: Database, office: Database, door: TestClient) -> None:
    Past(shop).visit(EVEN, EVEN)
    others = {*AccessScope} - {AccessScope.HAND_OVER}
    token = let_one_in(office, key(), "Bench", others, 30, datetime.now(UTC))
    door.app.state.programs = known(office)  # type: ignore[attr-defined]
    answer = door.post(PATH, content=out(shop), headers={"Authorization": f"Bearer {token}"})
    assert answer.status_code == 403
    with TestClient(door.app, base_url=ORIGIN) as nobody:
        refused = nobody.post(PATH, content=out(shop), headers={"Content-Type": "application/json"})
    assert (refused.status_code, refused.json()["code"]) == (422, "hand-over-unnamed")


def test_a_visit_that_was_taken_over_takes_no_more_of_its_store(
    shop: Database, office: Database, door: TestClient
) -> None:
    visit_id = heat_soaked(shop, FOUR)
    there = hand_in(door, out(shop))["engine_id"]
    with office.reading() as session:
        (record,) = loader.of_engine(session, there)
    receiving.take_over(office, key(), record.visit.ident, "KM", AT)
    read_round(office, record.visit.ident, HEAT_SOAKED)
    assert hand_in(door, out(shop))["engine_id"] == there, "there is nothing more of it yet"
    read_round(shop, visit_id, HEAT_SOAKED)
    answer = door.post(PATH, content=out(shop))
    assert (answer.status_code, answer.json()["code"]) == (422, "visit-taken-over")
    with office.reading() as session:
        assert [row.away for row in session.exec(select(Elsewhere)).all()] == [1, 0]


def test_what_failed_is_kept_with_its_engine_and_the_others_go(shop: Database, office: Database) -> None:
    """No server answers at that address."""
    engine(shop)
    to = Receiver("http://127.0.0.1:9", "token")
    with pytest.raises(LineError):
        one_turn(shop, to, lambda: datetime.fromisoformat(AT), threading.Event())
    with shop.reading() as session:
        now = sending.standing(session, to.to, 10)
    assert (now.whole, now.count) == (0, 1)
    told = read_back(now.waiting[0].problem)
    assert told is not None
    assert told[0].code == HandOverProblem.NO_ANSWER


def test_where_engines_go_is_for_this_user_only(tmp_path: Path) -> None:
    assert kept(tmp_path) is None
    keep(tmp_path, Receiver("https://office:8000", "secret"))
    assert kept(tmp_path) == Receiver("https://office:8000", "secret")
    assert (tmp_path / "hand-over.json").stat().st_mode & 0o777 == 0o600
    assert forget(tmp_path)
    assert not forget(tmp_path)
    assert kept(tmp_path) is None


def test_the_page_shows_what_waits_and_what_failed_and_takes_answers(
    shop: Database, office: Database, door: TestClient
) -> None:
    Past(shop).visit(EVEN, EVEN)
    hand_in(door, out(shop))
    facts(office, "Red <van>")
    hand_in(door, out(shop))
    other = Past(shop, serial="22-0098")
    other.visit(EVEN, signed=False)
    hand_in(door, out(shop, other.engine_id))
    keep(office.folder, Receiver("http://127.0.0.1:9", "secret"))
    with pytest.raises(LineError):
        one_turn(
            office, Receiver("http://127.0.0.1:9", "secret"), lambda: datetime.fromisoformat(AT), threading.Event()
        )
    with TestClient(door.app, base_url=ORIGIN, headers={"Origin": ORIGIN}, follow_redirects=False) as person:
        page = person.get("/hand-over").text
        assert "Red &lt;van&gt;" in page
        assert "Blue coupe" in page
        assert "2 engines" in page
        assert "did not answer" in page
        assert "Opened at North yard" in page
        assert "secret" not in page
        assert ">Use theirs<" in page, "no person here has seen a file"
        assert "file" not in page.partition("<main")[2].partition("</section>")[0]
        assert "1 question about an engine" in person.get("/shop").text
        (asked,) = questions(office)
        assert person.post("/hand-over/answers", data={"question": asked, "answer": "theirs"}).status_code == 303
        assert "question about an engine" not in person.get("/shop").text
        assert person.post("/hand-over/answers", data={"question": "none:facts", "answer": "mine"}).status_code == 404
        with office.reading() as session:
            (away,) = receiving.elsewhere(session)
        to = f"/hand-over/visits/{away.visit.ident}"
        unsigned = person.post(to, data={"key": key(), "by": ""})
        assert unsigned.status_code == 422
        form = unsigned.text.partition("<details open>")[2].partition("</details>")[0]
        assert on_page(Rejection.INITIALS_MISSING) in form
        assert unsigned.text.count(on_page(Rejection.INITIALS_MISSING)) == 1
        assert person.post(to, data={"key": key(), "by": "KM"}).headers["location"] == f"/visits/{away.visit.ident}"
        page = person.get("/hand-over").text
        assert "Red" not in page
        assert "Opened at" not in page
