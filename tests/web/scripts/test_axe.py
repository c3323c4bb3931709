"""The accessibility checker axe-core finds nothing on any page, in either look: WCAG 2.2 with its AAA contrast (1.4.6)
and target size (2.5.8), and axe's own good practices.

The pages are taken from the routes, so a new one is checked from its first day.
"""

import pytest
from playwright.sync_api import Page, expect

from app.shop.commands.moves import NewMove, make
from app.shop.commands.readings import NewReading, add
from app.shop.procedure.phases import HEAT_SOAKED
from app.shop.store.database import Database
from tests.shop.yard import AT, heat_soaked, key, read, read_round
from tests.web.axe import COLORS, each_page, faults, paths
from tests.web.tablet import Tablet, said


@pytest.fixture
def busy(shop: Database) -> Database:
    """A shop with one visit under way, a round of it read with one value far off and one in question."""
    heat_soaked(shop)
    read_round(shop, 1, HEAT_SOAKED)
    for bore, kind, value in ((2, "again", 39.0), (3, "turn", 7.25)):
        add(shop, 1, key(), NewReading(HEAT_SOAKED.slug, 2, bore, kind, value, "KM"), AT)
    return shop


@pytest.mark.slow
def test_axe_finds_nothing_on_any_page(page: Page, server: str, busy: Database) -> None:
    found: list[str] = []
    for _ in each_page(page, server, paths()):
        page.emulate_media(color_scheme="light")
        found += faults(page)
        page.emulate_media(color_scheme="dark")
        found += faults(page, COLORS)
    assert found == []


def test_axe_finds_nothing_while_things_wait_and_come_back(page: Page, server: str, shop: Database) -> None:
    heat_soaked(shop)
    hand = Tablet(page, page.context)
    hand.open(server, 1)
    page.context.set_offline(True)
    hand.read("6.25", then="Bore 2")
    page.get_by_role("button", name="Skip").click()
    expect(hand.bar).to_contain_text(said("waiting", what="1 reading"))
    assert faults(page) == []
    turned = NewMove(HEAT_SOAKED.slug, "stop", "A", None, None, 0.125, (), True, "KM")
    read(shop, 1, HEAT_SOAKED)
    make(shop, 1, key(), turned, AT)
    page.context.set_offline(False)
    expect(page.get_by_role("list", name="Not saved")).to_be_visible()
    assert faults(page) == []
