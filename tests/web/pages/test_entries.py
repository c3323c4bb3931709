"""What may be typed in a field is one law, by page and by program: signs that show nothing are refused beside it."""

from collections.abc import Iterator

import pytest
from starlette.testclient import TestClient

from app.shop.commands import engines
from app.shop.entries import hidden_sign
from app.shop.rejections import Rejection
from app.shop.store.database import Database
from app.web.application import create_app
from tests.shop.rejections import on_page
from tests.shop.yard import FOUR, heat_soaked, key

HOME = "http://127.0.0.1"

HIDDEN = (
    *("\x00", "\x07", "\x1b", "\x7f", "\x85"),  # controls of ASCII and of ISO 8859-1
    *("\u202a", "\u202e", "\u2066", "\u2069", "\u200e", "\u061c"),  # Unicode Standard Annex 9, section 2
    *("\u200b", "\u200c", "\u200d", "\u2060", "\ufeff", "\u00ad", "\u034f", "\u3164", "\ufe0f"),
    *("\u2028", "\u2029", "\n", "\t"),
)


@pytest.fixture
def client(shop: Database) -> Iterator[TestClient]:
    heat_soaked(shop, FOUR)
    headers = {"Origin": HOME}
    with TestClient(create_app(shop), base_url=HOME, headers=headers, follow_redirects=False) as opened:
        yield opened


def code(sign: str) -> str:
    return f"U+{ord(sign):04X}"


@pytest.mark.parametrize("name", ["serial", "customer"])
def test_a_sign_that_shows_nothing_is_refused_beside_its_field(client: TestClient, name: str) -> None:
    form = {"serial": "31-0218", "displacement": "3.9", "idle_speed": "850", "a_bores": "1 2"}
    body = {"serial": "31-0218", "displacement": 3.9, "idle_speed_rpm": 850, "layout": {"banks": [{"bores": [1, 2]}]}}
    for sign in HIDDEN:
        typed = f"31-{sign}0217"
        assert hidden_sign(typed) == code(sign)
        page = client.post("/engines", data={**form, "key": key(), name: typed})
        assert page.status_code == 422, code(sign)
        beside = page.text.partition(f'id="{name}-message"')[2].partition("</span>")[0]
        assert beside.endswith(on_page(Rejection.HIDDEN_SIGN, sign=code(sign)))
        told = client.post("/api/engines", json={**body, "key": key(), name: typed})
        assert told.status_code == 422, told.text
        (fault,) = told.json()["errors"]
        assert (fault["pointer"], fault["code"]) == (f"#/{name}", str(Rejection.HIDDEN_SIGN))
        assert code(sign) in fault["detail"]


FORMS: dict[str, dict[str, str]] = {
    "/visits/1/sign-off": {"name": "Kim\u202e"},
    "/people": {"name": "Kim\u200b", "pin": "2580", "again": "2580"},
    "/sites": {"name": "North\u200b", "by": "KM"},
    "/visits/1/heat-soaked-recheck/readings": {
        **{"round": "2", "bore": "1", "kind": "skip", "value": "", "by": "KM"},
        "why": "port \u2066blocked",
    },
    "/visits/1/heat-soaked-recheck/checks": {"coolant": "84", "by": "K\x07M"},
    "/visits/1/heat-soaked-recheck/overrides": {"why": "shown\x00", "override_by": "KM"},
    "/meters": {"name": "Bench\u00ad", "unit": "kg/h", "step": "0.25", "low": "0", "high": "30"},
    "/settings": {"why": "tried\ufeff", "by": "KM", "version": "0"},
}


@pytest.mark.parametrize("path", FORMS)
def test_no_form_stores_one(client: TestClient, shop: Database, path: str) -> None:
    before = shop.writes
    assert client.post(path, data={"key": key(), **FORMS[path]}).status_code == 422
    assert shop.writes == before


def test_scripts_that_join_letters_may(client: TestClient, shop: Database) -> None:
    """Persian writes "they go" with a joiner of zero width between two letters."""
    form = {"serial": "31-0218", "displacement": "3.9", "idle_speed": "850", "a_bores": "1 2"}
    answer = client.post("/engines", data={"key": key(), **form, "customer": "می\u200cروند"})
    assert answer.status_code == 303
    with shop.reading() as session:
        assert engines.get(session, 2).customer == "می\u200cروند"


def test_the_people_of_the_settings_are_a_line_each() -> None:
    assert hidden_sign("KM Kim Marlow\r\nNA Noor Adel", lines=True) is None
    assert hidden_sign("KM Kim\u202e Marlow\nNA Noor Adel", lines=True) == "U+202E"


ENGINE = '{"serial": "7", "displacement": %s, "idle_speed_rpm": %s, "layout": {"banks": [{"bores": [1]}]}, '
PHASE = "/api/visits/1/phases/heat-soaked-recheck"


@pytest.mark.parametrize(
    ("path", "body"),
    [
        ("/api/engines", ENGINE % ("@", "850")),
        ("/api/engines", ENGINE % ("3.9", "@")),
        ("/api/engines/1/visits", '{"place": "test cell", "by": "KM", "meter_id": @, '),
        (f"{PHASE}/readings", '{"round": 2, "bore": 1, "kind": "turn", "by": "KM", "value": @, '),
        (f"{PHASE}/moves", '{"kind": "stop", "bank": "A", "by": "KM", "turns": @, '),
        (f"{PHASE}/checks", '{"by": "KM", "numbers": {"coolant": @}, '),
    ],
)
def test_a_number_that_is_none_is_refused(client: TestClient, shop: Database, path: str, body: str) -> None:
    before = shop.writes
    for number in ("1e999", "-1e999", "NaN", "Infinity", "9" * 40):
        content = f'{body.replace("@", number)}"key": "{key()}"}}'
        answer = client.post(path, content=content, headers={"Content-Type": "application/json"})
        assert answer.status_code == 422, (number, answer.text)
        assert answer.json()["errors"]
    assert shop.writes == before


def test_so_is_one_on_a_page(client: TestClient) -> None:
    visit = {"place": "test cell", "job": "1", "why": "", "by": "KM", "intake": "filter-off"}
    reading = {"round": "2", "bore": "1", "kind": "turn", "by": "KM"}
    for number in ("1e999", "-1e999", "nan", "1e300", "9" * 40):
        for path, fields in (
            ("/visits/1/heat-soaked-recheck/readings", {**reading, "value": number}),
            ("/engines/1/visits", {**visit, "meter": number}),
        ):
            assert client.post(path, data={"key": key(), **fields}).status_code == 422, (path, number)
