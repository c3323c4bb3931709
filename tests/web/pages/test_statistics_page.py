"""The page across engines, and its tables as files."""

import csv
import io
import re
from collections.abc import Iterator
from itertools import pairwise

import pytest
from playwright.sync_api import Page, ViewportSize, expect
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
    assert slugs == ["adjusters", "layouts", "hardware", "lasts", "moves", "meters"]
    assert '<ul class="plot"' not in page
    assert page.count("Every line has fewer than 5.") == len(slugs)
    assert f'aria-label="{say(TITLES[Slug.LAYOUTS])}"' in page
    assert "draw-dot" not in page
    assert "=KM" not in page
    for slug in slugs:
        answer = client.get(f"/statistics/{slug}.csv")
        assert answer.status_code == 200
        assert answer.headers["content-type"].startswith("text/csv")
        head, *rows = csv.reader(io.StringIO(answer.text))
        assert rows
        assert {len(row) for row in rows} == {len(head)}
    assert client.get("/statistics/people.csv").status_code == 404


def test_a_share_of_enough_is_a_dot_with_its_interval(client: TestClient, shop: Database) -> None:
    """Six returns of one coupler, all slipped: each share of enough has a dot and an interval."""
    past = Past(shop)
    past.visit(EVEN, EVEN)
    for _ in range(6):
        past.visit(SLIPPED, EVEN)
    page = client.get("/statistics").text
    assert "<b>Most often: coupler 2 from the stop screw.</b> 6 of 6." in page
    dots, ends = page.count('class="draw-dot"'), re.findall(r'class="draw-interval" x1="(\S+)%" x2="(\S+)%"', page)
    assert dots == len(ends) > 3
    assert all(0 <= float(low) < float(high) <= 100 for low, high in ends)


def test_a_table_that_is_not_there_and_an_empty_shop(client: TestClient) -> None:
    absent = client.get("/statistics/nothing.csv")
    assert absent.status_code == 404
    assert on_page(Rejection.NO_SUCH_TABLE) in absent.text
    assert "no engine has come back" in client.get("/statistics").text


PAPER: ViewportSize = {"width": 688, "height": 970}
"""What A4 leaves for a page between its margins [CSS px], 14 mm at either side."""


def test_on_paper_the_axis_can_be_read_and_nothing_leads_elsewhere(page: Page, server: str, shop: Database) -> None:
    past = Past(shop)
    past.visit(EVEN, EVEN)
    for _ in range(5):  # fewer than five returns are not drawn
        past.visit(SLIPPED, EVEN)
    page.set_viewport_size(PAPER)
    page.emulate_media(media="print")
    page.goto(f"{server}/statistics")
    for part in (".menu", ".menu-key", "details.more"):
        expect(page.locator(part).first).to_be_attached()
        expect(page.locator(part).first).to_be_hidden()
    axes = page.locator(".plot-ends").all()
    assert axes
    for axis in axes:
        boxes = [box for one in axis.locator("span").all() if (box := one.bounding_box())]
        assert len(boxes) == 3
        for left, right in pairwise(boxes):
            assert right["x"] - left["x"] - left["width"] >= 16
