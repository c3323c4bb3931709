"""Two people change one engine: the later is told what the other stored, and chooses."""

from collections.abc import Iterator

import pytest
from starlette.testclient import TestClient

from app.shop.commands import engines
from app.shop.rejections import Rejection
from app.shop.store.database import Database
from app.web.application import create_app
from tests.shop.rejections import on_page
from tests.shop.yard import engine

HOME = "http://127.0.0.1"
FORM = {
    "version": "1",
    "serial": "31-0217",
    "description": "Eight",
    "displacement": "3.9",
    "displacement_unit": "L",
    "customer": "C-104",
    "vehicle": "Blue coupe",
    "idle_speed": "850",
}
CHANGE = "/engines/1/change"


@pytest.fixture
def browser(shop: Database) -> Iterator[TestClient]:
    engine(shop)
    with TestClient(create_app(shop), base_url=HOME, headers={"Origin": HOME}, follow_redirects=False) as client:
        assert client.post(CHANGE, data={**FORM, "vehicle": "Red coupe"}).status_code == 303  # somebody else
        yield client


def stored(shop: Database) -> tuple[str, str, int]:
    with shop.reading() as session:
        found = engines.get(session, 1)
        return found.vehicle, found.customer, found.version


def test_the_later_sees_both_and_nothing_is_stored(browser: TestClient, shop: Database) -> None:
    answer = browser.post(CHANGE, data={**FORM, "customer": "C-200"})
    assert answer.status_code == 409
    assert on_page(Rejection.CHANGED_BY_ANOTHER_TABLET) in answer.text
    assert '<th scope="row">Vehicle</th><td>Red coupe</td><td>Blue coupe</td>' in answer.text
    assert "<td>C-104</td><td>C-200</td>" in answer.text
    assert '<th scope="row">Serial number</th>' not in answer.text  # the same in both
    assert 'value="C-200"' in answer.text
    assert 'name="version" value="2"' in answer.text
    assert "Discard my entry" in answer.text
    assert stored(shop) == ("Red coupe", "C-104", 2)


def test_the_later_may_replace_what_was_seen(browser: TestClient, shop: Database) -> None:
    assert browser.post(CHANGE, data={**FORM, "version": "2", "customer": "C-200"}).status_code == 303
    assert stored(shop) == ("Blue coupe", "C-200", 3)


def test_a_typing_mistake_in_between_does_not_hide_the_other_s_change(browser: TestClient, shop: Database) -> None:
    """The form that comes back for the mistake still names the version that was seen, not the one stored since."""
    mistaken = browser.post(CHANGE, data={**FORM, "idle_speed": "fast"})
    assert mistaken.status_code == 422
    assert 'name="version" value="1"' in mistaken.text
    assert browser.post(CHANGE, data={**FORM, "customer": "C-200"}).status_code == 409
    assert stored(shop) == ("Red coupe", "C-104", 2)


def test_the_same_change_twice_is_no_conflict(browser: TestClient, shop: Database) -> None:
    assert browser.post(CHANGE, data={**FORM, "vehicle": "Red coupe"}).status_code == 303
    assert stored(shop) == ("Red coupe", "C-104", 2)
