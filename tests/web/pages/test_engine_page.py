"""The page of an engine: its history first, in per cent, and what says on every printed page whose it is."""

import io
import re
from dataclasses import replace
from typing import cast
from unittest.mock import Mock

import pytest
from playwright.sync_api import Page
from pypdf import PdfReader
from starlette.testclient import TestClient

from app.shop.assessment.visit_summary import VisitSummary
from app.shop.commands import settings_versions
from app.shop.record.settings import DEFAULTS
from app.shop.store.database import Database
from app.web.application import create_app
from app.web.presenters.history.history import history
from app.web.presenters.lists import PER_PAGE
from app.web.presenters.paper.edge import printed_edge
from app.wording.message import say
from app.wording.office import slips
from tests.shop.exchange.files import EVEN, SLIPPED
from tests.shop.past import Past
from tests.shop.yard import AT, key

ORIGIN = "http://127.0.0.1"


def shown(shop: Database) -> str:
    with TestClient(create_app(shop), base_url=ORIGIN) as client:
        return client.get("/engines/1").text


def test_history_comes_before_what_is_fitted(shop: Database) -> None:
    past = Past(shop)
    past.visit(EVEN, EVEN)
    past.visit(SLIPPED, EVEN)
    heads = re.findall(r"<h2>([^<]*)</h2>", shown(shop))
    assert heads == [
        "Check first",
        "History",
        "Changes between visits",
        "Spread round by round",
        "What slipped, and the evidence",
        "Engine data",
    ]


def test_found_and_left_are_the_largest_difference_in_per_cent(shop: Database) -> None:
    """7.75 is 13.8 % above an average of 6.81, as the sheet says it; the estimate draws it nearer to the rest."""
    Past(shop).visit(SLIPPED, EVEN)
    found, left = re.findall(r'<td class="num" [^>]*><b>(\d+)\u00a0%</b>', shown(shop))
    assert int(found) == pytest.approx(13.8, abs=3)
    assert int(left) == 0


def test_visits_of_one_day_are_told_apart_by_the_hour() -> None:
    """Three visits, two of them of one day."""
    days = ("2026-09-03T08:00:00+00:00", "2026-09-03T13:30:00+00:00", "2026-10-01T08:00:00+00:00")
    assert [one.with_time for one in history([opened(day) for day in days], {})] == [False, True, True]


def opened(at: str) -> VisitSummary:
    """A visit of which nothing but the time counts."""
    return cast(VisitSummary, Mock(spec=VisitSummary, opened_at=at, found=None, left=None, moves=(), intake=None))


@pytest.mark.parametrize("paper", ["A4", "Letter"])
def test_every_printed_page_says_whose_it_is_and_which_of_how_many(
    page: Page, server: str, shop: Database, paper: str
) -> None:
    past = Past(shop)
    for _ in range(4):
        past.visit(EVEN, EVEN)
    page.goto(f"{server}/engines/1")
    pages = [one.extract_text() for one in PdfReader(io.BytesIO(page.pdf(format=paper))).pages]
    assert len(pages) > 1
    for number, text in enumerate(pages, 1):
        assert "Engine 31-0217, C-104" in text
        assert f"Page {number} of {len(pages)}" in text
        assert len(text) > 200  # no page of nothing but its edge


@pytest.mark.parametrize(
    ("path", "head"),
    [
        ("/statistics", "Answers, Quayside Engine Works"),
        ("/audit", "Activity log, Quayside Engine Works"),
        ("/visits/2/hours", "Engine 31-0217, C-104"),
        ("/visits/2/slipped", "Engine 31-0217, C-104"),
    ],
)
def test_every_other_printed_page_says_what_it_is_of(
    page: Page, server: str, shop: Database, path: str, head: str
) -> None:
    past = Past(shop)
    for _ in range(2):
        past.visit(EVEN, EVEN)
    settings_versions.change(shop, key(), 0, replace(DEFAULTS, shop_name="Quayside Engine Works"), "Told", "KM", AT)
    page.goto(server + path)
    pages = [one.extract_text() for one in PdfReader(io.BytesIO(page.pdf(format="A4"))).pages]
    for number, text in enumerate(pages, 1):
        assert head in text
        assert f"Page {number} of {len(pages)}" in text


def test_no_text_of_a_customer_is_a_rule_of_a_style_sheet() -> None:
    told = printed_edge('31"', '"; } body { display: none } \\ */ ü')
    assert told.count("{") == told.count("}") == 3
    assert "body {" not in told


def test_a_long_history_comes_a_page_at_a_time_newest_first(shop: Database) -> None:
    past = Past(shop)
    for _ in range(2 * PER_PAGE + 3):
        past.visit(EVEN, EVEN)
    with TestClient(create_app(shop), base_url=ORIGIN) as client:
        pages = [client.get("/engines/1", params={"page": number}).text for number in (1, 2, 3, 4)]
    numbers = [[int(one) for one in re.findall(r'aria-label="Visit (\d+)"', text)] for text in pages]
    assert numbers[0] + numbers[1] + numbers[2] == list(range(2 * PER_PAGE + 3, 0, -1))
    assert [len(one) for one in numbers] == [PER_PAGE, PER_PAGE, 3, 3]
    assert "26 to 50 of 53" in pages[1]
    assert '<a class="way" href="/engines/1?page=3">3</a>' in pages[0]
    came_from = [[int(one) for one in re.findall(r"Visit (\d+) to \d+,", text)] for text in pages]
    assert came_from[0] == list(range(52, 27, -1))
    assert came_from[2] == [2, 1]  # before the first one there was none to compare it with


def test_a_short_history_has_no_pages(shop: Database) -> None:
    past = Past(shop)
    for _ in range(2):
        past.visit(EVEN, EVEN)
    assert "is-pages" not in shown(shop)


def test_what_is_said_of_all_visits_is_the_same_on_every_page(shop: Database) -> None:
    """Slipped twice, long ago and lately, and the charts of a page draw no visit of another."""
    past = Past(shop)
    for number in range(PER_PAGE + 5):
        past.visit(SLIPPED if number in (3, PER_PAGE + 2) else EVEN, EVEN)
    with TestClient(create_app(shop), base_url=ORIGIN) as client:
        newest, oldest = (client.get("/engines/1", params={"page": number}).text for number in (1, 2))
    said = say(slips.SLIPPED_OFTEN, suspect="Coupler 2–3", count=2, visits=PER_PAGE + 4)
    assert said in newest
    assert said in oldest
    assert newest.count("slipped open</span>") == oldest.count("slipped open</span>") == 2
    dots = [max(len(re.findall("M", path)) for path in re.findall(r'class="draw-left" d="(M[^"]+a[^"]+)"', text))
            for text in (newest, oldest)]  # fmt: skip
    assert dots == [PER_PAGE, 5]
