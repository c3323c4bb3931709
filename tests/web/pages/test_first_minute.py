"""A shop with no engine: three answers, one open at a time, and the form that opens the first visit."""

import re

import pytest
from playwright.sync_api import Page, expect
from starlette.testclient import TestClient

from app.shop.commands import engines, meters
from app.shop.commands.meters import NewMeter
from app.shop.reasons import because
from app.shop.rejections import Rejection
from app.shop.store.codes import Noticed
from app.shop.store.database import Database
from app.shop.store.tables import Engine
from app.web.application import create_app
from app.web.pages.engine.first_minute import PICTURED
from tests.shop.rejections import on_page
from tests.shop.yard import FOUR, engine, key
from tests.web.axe import faults
from tests.web.screens import SIZES, faults_on_screen

ORIGIN = "http://127.0.0.1"
ENGINE = {"layout": "v12", "serial": "44-0101", "displacement": "5,3", "displacement_unit": "L", "idle_speed": "850"}
ANSWERS = {"meter": "1", **ENGINE, "by": "KM"}
HEADINGS = ("What do you read with?", "Which engine is it?", "Who are you?")


@pytest.fixture
def client(shop: Database) -> TestClient:
    return TestClient(create_app(shop), base_url=ORIGIN, headers={"Origin": ORIGIN}, follow_redirects=False)


def opened(page: str) -> str:
    """Which answer a page asks for: the one with the number in full."""
    named = re.search(r'class="first-mark is-now"[^>]*>(\d)</span><div class="first-answer"><h2>([^<]*)</h2>', page)
    assert named is not None
    assert named[2] == HEADINGS[int(named[1]) - 1]
    return named[2]


@pytest.mark.parametrize(
    ("step", "told", "asked"),
    [
        ("", {}, 0),
        ("nothing", {}, 0),
        ("engine", {"meter": "1"}, 1),
        ("engine", {"meter": "9"}, 0),
        ("initials", {"meter": "1", **ENGINE}, 2),
        ("initials", {"meter": "1", **ENGINE, "serial": ""}, 1),
        ("initials", {"meter": "1", **ENGINE, "idle_speed": "abc"}, 1),
        ("meter", ANSWERS, 0),
    ],
)
def test_one_answer_is_open_and_none_is_passed_while_it_is_wrong(
    client: TestClient, step: str, told: dict[str, str], asked: int
) -> None:
    page = client.get("/", params={"step": step, **told}).text
    assert opened(page) == HEADINGS[asked]
    assert page.count("is-advised") == 1
    for name, value in told.items():
        if name != "layout" and value != "9":
            assert f'name="{name}" value="{value}"' in page or f'name="{name}"\nvalue="{value}"' in page, name


def test_a_meter_that_was_added_is_the_one_chosen_and_has_its_name(client: TestClient, shop: Database) -> None:
    """Who adds a meter before the first engine reads with it."""
    assert '<input type="radio" name="meter" value="1" checked' in client.get("/").text
    meters.register(shop, key(), NewMeter("Columns", "inHg", 0.5, 0, 30))
    page = client.get("/").text
    assert '<input type="radio" name="meter" value="2" checked' in page
    assert "Columns: Vacuum, 0 to 30 inHg, steps of 0.5" in page.replace("\xa0", " ")


def test_the_engine_is_registered_and_its_visit_can_be_opened(client: TestClient, shop: Database) -> None:
    more = meters.register(shop, key(), NewMeter("Columns", "kPa", 1.0, 0.0, 100.0))
    sent = {"key": key(), **ANSWERS, "meter": str(more)}
    answer = client.post("/first", data=sent)
    assert (answer.status_code, answer.headers["location"]) == (303, f"/engines/1/visits/new?meter={more}")
    assert client.post("/first", data=sent).headers["location"] == answer.headers["location"]
    with shop.reading() as session:
        assert engines.count(session) == 1
        kept = engines.get(session, 1)
    assert isinstance(kept, Engine)
    assert kept.serial == "44-0101"
    assert kept.displacement == pytest.approx(5.3e-3)
    form = client.get(answer.headers["location"]).text
    assert 'aria-label="Initials: KM, change"' in form
    assert f'value="{more}" selected' in form


@pytest.mark.parametrize(
    ("wrong", "code", "asked"),
    [
        ({"by": ""}, Rejection.INITIALS_MISSING, 2),
        ({"by": "far too many letters"}, Rejection.TOO_LONG, 2),
        ({"idle_speed": ""}, Rejection.IDLE_SPEED_MISSING, 1),
        ({"meter": "9"}, Rejection.NOT_ONE_OF, 0),
    ],
)
def test_what_is_wrong_stands_beside_its_answer_and_stores_nothing(
    client: TestClient, shop: Database, wrong: dict[str, str], code: Rejection, asked: int
) -> None:
    answer = client.post("/first", data={"key": key(), **ANSWERS, **wrong})
    assert answer.status_code == 422
    assert opened(answer.text) == HEADINGS[asked]
    assert on_page(code, most=12, choices=("1",)) in answer.text
    with shop.reading() as session:
        assert engines.count(session) == 0


def test_a_shop_with_an_engine_shows_its_board(client: TestClient, shop: Database) -> None:
    assert "Three answers" in client.get("/").text
    engine(shop, FOUR)
    assert "Three answers" not in client.get("/").text


def test_what_a_start_found_is_told_on_the_first_page_of_an_empty_shop(client: TestClient, shop: Database) -> None:
    assert on_page(Noticed.FILE_HELD) not in client.get("/").text
    shop.noticed.append(because(Noticed.FILE_HELD))
    assert on_page(Noticed.FILE_HELD) in client.get("/").text


def test_three_answers_and_the_first_visit_at_hand(page: Page, server: str) -> None:
    """Each of the pages on every screen, and by the accessibility checker; the wrong field has the cursor."""
    page.goto(server)

    def looked_at() -> None:
        found = [one for size in SIZES.values() for one in faults_on_screen(page, size)]
        assert found + faults(page) == []

    looked_at()
    page.get_by_role("button", name="Next: the engine").click()
    for layout in PICTURED:
        expect(page.locator(f"input[value={layout}]")).to_be_visible()
    page.get_by_label("Serial number").fill("44-0101")
    page.get_by_label("Target idle speed").fill("850")
    page.get_by_label("Displacement", exact=True).fill("5.3 liters")
    page.keyboard.press("Enter")
    expect(page.get_by_label("Displacement", exact=True)).to_be_focused()
    looked_at()
    page.get_by_label("Displacement", exact=True).fill("5.3")
    page.get_by_role("button", name="Next: your initials").click()
    page.get_by_label("Your initials").fill("KM")
    looked_at()
    page.get_by_role("button", name="Which engine is it? Change").click()
    expect(page.get_by_label("Serial number")).to_have_value("44-0101")
    page.get_by_role("button", name="Next: your initials").click()
    expect(page.get_by_label("Your initials")).to_have_value("KM")
    page.get_by_role("button", name="Register engine").last.click()
    expect(page.get_by_text("Engine 44-0101")).to_be_visible()
    expect(page.get_by_role("button", name="Open the visit")).to_be_visible()
