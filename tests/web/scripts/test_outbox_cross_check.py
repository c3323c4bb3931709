"""What a test of the cross-check showed is held on the tablet until the shop computer has it, and stored once."""

import pytest
from playwright.sync_api import expect
from sqlmodel import select

from app.shop.procedure.phases import HEAT_SOAKED
from app.shop.store.database import Database
from app.shop.store.tables import FindingRow
from tests.proxy import Proxy
from tests.shop.yard import FOUR, heat_soaked, read_round
from tests.web.tablet import Tablet, said


def shown(shop: Database) -> list[tuple[int | None, float | None]]:
    """Every bore with the figure stored for it."""
    with shop.reading() as session:
        return [(row.bore, row.value) for row in session.exec(select(FindingRow)).all()]


@pytest.mark.parametrize("fault", ["refuse", "drop"])
def test_a_test_outlives_a_lost_link_and_is_there_once(hand: Tablet, link: Proxy, shop: Database, fault: str) -> None:
    visit_id = heat_soaked(shop, FOUR)
    read_round(shop, visit_id, HEAT_SOAKED)
    hand.page.goto(f"{link.address}/visits/{visit_id}/why?test=vacuum")
    link.fault, link.only = fault, b"POST"
    for bore in (1, 2, 3, 4):
        hand.page.locator(f"input[name=bore-{bore}]").fill(f"{37 + bore}")
    hand.page.get_by_role("button", name="Save", exact=True).click()
    expect(hand.bar).to_contain_text(said("no-connection"))
    assert len(shown(shop)) == (4 if fault == "drop" else 0)
    link.fault = "pass"
    hand.is_saved()
    expect(hand.page.locator(".why-table thead")).to_contain_text("Vacuum")
    assert shown(shop) == [(bore, 37.0 + bore) for bore in (1, 2, 3, 4)]
