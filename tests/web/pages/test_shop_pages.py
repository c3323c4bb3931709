"""The shop's own pages: people, tablets, copies, who did what."""

import re
from collections.abc import Iterator
from datetime import UTC, datetime

import pytest
from starlette.testclient import TestClient

from app.shop.commands import checks, moves, readings, visits
from app.shop.commands.access import tablets
from app.shop.commands.moves import NewMove
from app.shop.commands.readings import NewReading
from app.shop.procedure.phases import HEAT_SOAKED
from app.shop.queries import activity
from app.shop.reasons import because
from app.shop.record.measures import RECORDED
from app.shop.rejections import Rejection
from app.shop.store import copies
from app.shop.store.backup import keep_one
from app.shop.store.codes import Damage, HealthProblem
from app.shop.store.database import Database, FileDatabase
from app.sync.engine.units import THOU
from app.web.application import create_app
from app.web.security.pairing import Pairing
from app.wording.message import say
from app.wording.office.activity import done
from app.wording.program.store import SOUND
from app.wording.reasons import in_words
from tests.shop.rejections import on_page, rejects
from tests.shop.yard import AT, heat_soaked, key, read_round, ready_to_sign, visit_record

HOME = "http://192.168.7.20:8000"
PIN = "2580"


@pytest.fixture
def codes() -> Pairing:
    return Pairing(lambda: (f"{HOME}/", "http://192.168.7.20:8000/"))


@pytest.fixture
def here(shop: Database, codes: Pairing) -> Iterator[TestClient]:
    """A browser on the shop computer."""
    headers = {"Origin": HOME}
    with TestClient(create_app(shop, pairing=codes), base_url=HOME, headers=headers, client=("::1", 9)) as client:
        yield client


def test_people_are_added_given_another_pin_and_taken_out(here: TestClient) -> None:
    assert "No people listed" in here.get("/people").text
    wrong = here.post("/people", data={"key": key(), "name": "Kim Marlow", "pin": "1234", "again": "1234"})
    assert wrong.status_code == 422
    assert 'value="Kim Marlow"' in wrong.text
    assert on_page(Rejection.PIN_TOO_EASY) in wrong.text
    here.post("/people", data={"key": key(), "name": "Kim Marlow", "pin": PIN, "again": PIN})
    assert "<h2>Kim Marlow</h2>" in here.get("/people").text
    differ = here.post("/people/1/pin", data={"key": key(), "pin": "9042", "again": "9043"})
    assert on_page(Rejection.PINS_DIFFER) in differ.text
    assert here.post("/people/1/pin", data={"key": key(), "pin": "9042", "again": "9042"}).status_code == 200
    stale = here.post("/people/1/remove", data={"key": key()})
    assert stale.status_code == 409
    assert on_page(Rejection.CHANGED_BY_ANOTHER_TABLET) in stale.text
    assert "No people listed" in here.post("/people/2/remove", data={"key": key()}).text


def test_the_sign_off_asks_for_a_listed_name_and_its_pin(here: TestClient, shop: Database) -> None:
    ready_to_sign(shop)
    assert 'type="password"' not in here.get("/visits/1/sign-off").text
    here.post("/people", data={"key": key(), "name": "Kim Marlow", "pin": PIN, "again": PIN})
    form = here.get("/visits/1/sign-off").text
    assert '<option value="Kim Marlow" selected>' in form
    assert 'type="password"' in form
    for name, pin, says in (
        ("Kim Marlow", "", on_page(Rejection.PIN_MISSING)),
        ("Kim Marlow", "9999", on_page(Rejection.PIN_WRONG)),
        ("Another person", PIN, on_page(Rejection.NOT_LISTED)),
    ):
        answer = here.post("/visits/1/sign-off", data={"key": key(), "name": name, "pin": pin})
        assert answer.status_code == 422
        assert says in answer.text
    sent = {"key": key(), "name": "Kim Marlow"}
    assert here.post("/api/visits/1/sign-off", json=sent).status_code == 422
    with rejects(Rejection.PIN_MISSING):
        visits.sign_off(shop, 1, key(), "Kim Marlow", AT)


def test_the_code_is_drawn_on_the_shop_computer_and_nowhere_else(
    here: TestClient, shop: Database, codes: Pairing
) -> None:
    assert "Show code" in here.get("/tablets").text
    page = here.post("/tablets/code").text
    assert codes.code[:4] in page
    assert "If the tablet does not find that address, open <b>http://192.168.7.20:8000/</b>." in page
    assert "<svg" in page.partition("Pair a tablet")[2].partition("</section>")[0]
    tablet = TestClient(here.app, base_url=HOME, headers={"Origin": HOME}, client=("192.168.7.31", 9))
    assert codes.code[:4] not in tablet.get("/pair").text
    wrong = tablet.post("/pair", data={"key": key(), "code": "WRONGONE", "name": "test cell"})
    assert wrong.status_code == 422
    assert 'value="test cell"' in wrong.text
    assert tablet.post("/pair", data={"key": key(), "code": codes.code, "name": ""}).status_code == 422
    paired = tablet.post("/pair", data={"key": key(), "code": codes.code.lower(), "name": "test cell"})
    assert paired.url == f"{HOME}/"
    assert codes.code == ""
    page = tablet.get("/tablets").text
    assert "<h2>test cell</h2>" in page
    assert "Remove access" not in page
    assert "<h2>office</h2>" in here.post("/tablets/1/name", data={"key": key(), "name": "office"}).text
    assert here.post("/tablets/2/name", data={"key": key(), "name": ""}).status_code == 422
    assert here.post("/tablets/2/remove", data={"key": key()}).status_code == 200
    assert tablet.get("/tablets").status_code == 401


def test_the_shop_page_says_how_the_records_are(here: TestClient, shop: FileDatabase) -> None:
    page = here.get("/shop").text
    assert "No backups yet" in page
    assert say(SOUND) in page
    assert "by-hand-" in here.post("/shop/copies").text
    assert len(copies.listed(copies.folder_of(shop.folder))) == 1


def test_a_copy_that_is_damaged_is_said(here: TestClient, shop: FileDatabase) -> None:
    keep_one(shop.folder, datetime(2026, 11, 25, tzinfo=UTC)).write_bytes(b"not a data base.")
    problem = because(Damage.DATABASE_CHECK, found="file is not a database")
    (made,) = copies.listed(copies.folder_of(shop.folder))
    said = in_words(because(HealthProblem.BACKUP_DAMAGED, file=made.file.name, found=problem))
    assert said in here.get("/shop").text


def test_who_did_what_is_read_from_the_evidence(here: TestClient, shop: Database) -> None:
    visit_id = heat_soaked(shop)
    read_round(shop, visit_id, HEAT_SOAKED)
    wrong = visit_record(shop, visit_id).rounds[-1].entered[0]
    number = visit_record(shop, visit_id).rounds[-1].row.number
    corrected = NewReading(HEAT_SOAKED.slug, number, wrong.bore, wrong.kind, 7.5, "NA", supersedes=wrong.ident)
    readings.add(shop, visit_id, key(), corrected, AT)
    moves.make(shop, visit_id, key(), NewMove(HEAT_SOAKED.slug, "blade", "", 2, 3, 0.0, (3 * THOU,), False, "NA"), AT)
    checks.waive(shop, visit_id, key(), HEAT_SOAKED.slug, "Shown to an apprentice", "KM", AT)
    tablets.pair(shop, key(), "test cell", "token", AT)
    with shop.reading() as session:
        everything = activity.lines(session, 1000)
        of_visit = activity.lines(session, 1000, visit=visit_id)
    told = {(line.who, done(line.what, RECORDED)) for line in everything}
    assert ("", "Engine 31-0217 registered") in told
    assert ("KM", "Visit 1 opened, test cell") in told
    assert ("", "Round 2 started, Heat-soaked recheck") in told
    assert ("NA", f"Corrected: Bore {wrong.bore}: 7.50\u00a0kg/h, round 2, Heat-soaked recheck") in told
    assert ("NA", "Coupler 2–3 reset") in told
    assert ("KM", "Heat-soaked recheck waived: Shown to an apprentice") in told
    assert ("", "Tablet test cell paired") in told
    assert ("KM", "Plates open fully: checked") in told
    assert any(re.fullmatch(r"Coolant: [\d.]+[ \u00a0]°C", what) for _, what in told)
    assert {line.visit for line in of_visit} == {visit_id}
    rows = shop_rows(shop)
    assert len(everything) == rows
    page = here.get("/audit?page=1").text
    assert page.count("<tr>") == 1 + min(rows, 100)
    assert "Coupler 2–3 reset" in here.get(f"/audit?visit={visit_id}").text
    assert "No entries." in here.get("/audit?page=99").text
    assert here.get("/audit?page=0").status_code == 404


def shop_rows(shop: Database) -> int:
    """Every row that somebody's doing left behind: all evidence but the first fitting, and the engine."""
    tables = ("engine", "visit", "round", "reading", "move", '"check"', "override", "sign_off", "correction", "tablet")
    with shop.reading() as session:
        return sum(
            int(session.connection().exec_driver_sql(f"SELECT count(*) FROM {table}").scalar_one()) for table in tables
        )


def test_a_visit_that_was_not_begun_has_nothing_to_tell(here: TestClient) -> None:
    assert "No entries." in here.get("/audit?visit=7").text
