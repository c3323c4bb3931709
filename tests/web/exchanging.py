"""Files sent to a shop and fetched from one, through its pages."""

import html
import re

import httpx2 as httpx
from starlette.testclient import TestClient

from app.shop.apart import Apart
from app.shop.commands import engines
from app.shop.store.database import Database
from app.web.application import create_app
from tests.at_once import AtOnce

ORIGIN = "http://127.0.0.1"


def client(shop: Database, *, apart: bool = False) -> TestClient:
    """A browser at a shop whose imports are done in the process of the test, or ``apart`` as the program does them."""
    app = create_app(shop)
    if apart:
        app.state.errands.apart = Apart(ahead=("app.shop.exchange.import_work",))
    else:
        app.state.errands.apart, app.state.errands.patience = AtOnce(), 60.0
    return TestClient(app, base_url=ORIGIN, headers={"Origin": ORIGIN}, follow_redirects=False)


def exported(shop: Database) -> bytes:
    with client(shop) as out:
        answer = out.get("/engines/1/export.json")
    assert answer.status_code == 200
    assert answer.headers["content-disposition"] == 'attachment; filename="31-0217.json"'
    return bytes(answer.content)


def look(to: TestClient, file: bytes) -> httpx.Response:
    return to.post("/exchange/look", files={"file": ("engine.json", file, "application/json")})


def hidden(page: str) -> dict[str, str]:
    return {name: html.unescape(v) for name, v in re.findall(r'type="hidden" name="([^"]+)" value="([^"]*)"', page)}


def count(shop: Database) -> int:
    with shop.reading() as session:
        return engines.count(session)


def fetched(to: TestClient, answer: httpx.Response) -> httpx.Response:
    """An answer, or what it says is to be fetched, as often as that takes."""
    while answer.status_code == 202:
        answer = to.get(re.findall('href="(/exchange/answers/[^"]+)"', answer.text)[0])
    return answer
