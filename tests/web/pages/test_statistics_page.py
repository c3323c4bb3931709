"""The page across engines, and its tables as files."""

import csv
import io
import re
from collections.abc import Iterator

import pytest
from starlette.testclient import TestClient

from app.shop.queries.statistics import Slug
from app.shop.rejections import Rejection
from app.shop.store.database import Database
from app.web.application import create_app
from app.wording.message import say
from app.wording.office.statistics import TITLES
from tests.shop.past import Past
from tests.shop.rejections import on_page

ORIGIN = "http://127.0.0.1"
EVEN = [6.5] * 8
SLIPPED = [6.5, 6.5, 7.75, 7.75, 6.5, 6.5, 6.5, 6.5]


@pytest.fixture
def client(shop: Database) -> Iterator[TestClient]:
    with TestClient(create_app(shop), base_url=ORIGIN) as opened:
        yield opened


def test_every_table_has_a_plot_and_a_file(client: TestClient, shop: Database) -> None:
    past = Past(shop)
    past.visit(EVEN, EVEN, by="=KM")
    past.visit(SLIPPED, EVEN, by="=KM")
    page = client.get("/statistics").text
    assert "1 engine<" in page
    slugs = re.findall(r'href="/statistics/(\w+)\.csv"', page)
    assert slugs == ["adjusters", "layouts", "hardware", "lasts", "moves", "meters", "people"]
    assert page.count('<svg class="plot"') == len(slugs)
    assert f'aria-label="{say(TITLES[Slug.LAYOUTS])}: 4 + 4 100\u00a0% of 1"' in page
    for slug in slugs:
        answer = client.get(f"/statistics/{slug}.csv")
        assert answer.status_code == 200
        assert answer.headers["content-type"].startswith("text/csv")
        head, *rows = csv.reader(io.StringIO(answer.text))
        assert rows
        assert {len(row) for row in rows} == {len(head)}
    assert "'=KM" in client.get("/statistics/people.csv").text


def test_a_table_that_is_not_there_and_an_empty_shop(client: TestClient) -> None:
    absent = client.get("/statistics/nothing.csv")
    assert absent.status_code == 404
    assert on_page(Rejection.NO_SUCH_TABLE) in absent.text
    assert "no engine has come back" in client.get("/statistics").text
