"""One engine goes all the way through, on a tablet, and comes back."""

import random
from collections.abc import Mapping, Sequence
from dataclasses import replace
from datetime import datetime
from io import BytesIO

import pytest
from playwright.sync_api import BrowserContext, Page, ViewportSize, expect
from pypdf import PdfReader

from app.shop.commands import people, settings_versions
from app.shop.demo.technician import DemoTechnician
from app.shop.procedure.phases import BANK_BALANCE, HEAT_SOAKED
from app.shop.record import loader
from app.shop.record.settings import DEFAULTS
from app.shop.store.database import Database
from tests.clock import Day
from tests.serving import serving
from tests.shop.yard import AT, V8, engine, key
from tests.web.story import Technician, lock_down, opened, signed_off
from tests.web.taps import Taps

LANDSCAPE: ViewportSize = {"width": 1280, "height": 800}
SIGNS, PIN = "Foreman of the yard", "2718"
PORTRAIT: ViewportSize = {"width": 800, "height": 1280}


@pytest.fixture(params=[LANDSCAPE, PORTRAIT], ids=["landscape", "portrait"])
def browser_context_args(
    browser_context_args: Mapping[str, object], request: pytest.FixtureRequest
) -> dict[str, object]:
    """Held sideways and upright, with touch."""
    return {**browser_context_args, "viewport": request.param, "has_touch": True}


def quiet(page: Page, server: str) -> list[str]:
    """What must stay empty: requests that leave the server, console errors, errors of a script."""
    heard: list[str] = []
    page.on("request", lambda r: None if r.url.startswith((server, "data:")) else heard.append(f"left: {r.url}"))
    page.on("console", lambda m: heard.append(f"console: {m.text}") if m.type in ("error", "warning") else None)
    page.on("pageerror", lambda error: heard.append(f"script: {error}"))
    return heard


def fits(page: Page) -> bool:
    """Whether the page needs no scrolling."""
    size = page.evaluate(
        "() => [document.documentElement.scrollHeight - innerHeight, document.documentElement.scrollWidth - innerWidth]"
    )
    return bool(size[0] <= 0 and size[1] <= 0)


def registered(page: Page, hand: Technician) -> None:
    """A new engine, with a figure in the units that the form offers."""
    hand.press("New engine")
    page.get_by_label("Serial").fill("31-0217")
    page.get_by_label("Description").fill("Eight with raised intakes")
    page.get_by_label("Displacement").fill("238")
    page.get_by_label("cubic inches").check()
    page.get_by_label("Target idle speed").fill("850")
    page.get_by_label("Customer reference").fill("C-104")
    page.get_by_label("Vehicle").fill("Blue coupe")
    page.get_by_text("Other places: stop screws").click()
    page.get_by_label("Throttle position sensor (TPS) on the shaft of bore").fill("8")
    hand.press("Register engine")
    expect(page.get_by_role("heading", name="Engine 31-0217")).to_be_visible()
    expect(page.get_by_text("238\u00a0cu\u00a0in (3.9\u00a0L)")).to_be_visible()
    expect(page.get_by_text("estimate", exact=True)).to_have_count(7)


def begun(page: Page, hand: Technician) -> None:
    """From the cold preset to the first reading when hot; reading needs no scrolling."""
    expect(page.get_by_role("heading", name="Cold preset")).to_be_visible()
    hand.record_everything()
    expect(page.get_by_role("heading", name="First fire")).to_be_visible()
    hand.record_everything()
    expect(page.locator("#entry-heading")).to_have_text("Bore 1")
    assert fits(page)
    hand.read_on()
    hand.press("Continue with heat-soaked recheck")

    expect(page.get_by_role("heading", name="Heat-soaked recheck")).to_be_visible()
    hand.record_everything()
    expect(page.locator("#entry-heading")).to_have_text("Bore 1")


def evened(page: Page, hand: Technician) -> None:
    """Every bore even when hot, each reading and move at the page."""
    hand.follow()
    assert fits(page)
    hand.press("Show what is missing")
    hand.blip()


def evened_beside(page: Page, hand: Technician, server: str, hands: DemoTechnician) -> None:
    """The same, the first move at the page and what is more of it beside."""
    hand.follow(moves=1)
    assert fits(page)
    hands.even_out(1, hand.bench)
    page.goto(f"{server}/visits/1/{HEAT_SOAKED.slug}/readings")
    assert fits(page)
    hand.press("Continue with part-throttle bank balance")


def balanced(page: Page, hand: Technician, openings: Sequence[float] = DEFAULTS.openings) -> None:
    """The banks read at these openings, which are all unless told otherwise."""
    expect(page.get_by_role("heading", name="Part-throttle bank balance")).to_be_visible()
    hand.record_everything()
    for opening in openings:
        expect(page.get_by_text(f"{opening / 25.4e-3:.3f} in feeler under the central lever")).to_be_visible()
        hand.tap_speed(opening)
        for _ in range(9):
            hand.tap_reading(hand.bench.read(int(hand.heading().split()[1]), opening))


def printed(page: Page) -> None:
    """The handover sheet on paper, the customer's page first."""
    expect(page.get_by_role("heading", name="Handover sheet").first).to_be_visible()
    for paper in ("A4", "Letter"):
        sheet = PdfReader(BytesIO(page.pdf(format=paper)))
        assert len(sheet.pages) == 2, paper
        text = sheet.pages[0].extract_text()
        for words in ("31-0217", "as found", "as left", "Foreman of the yard", "KM", "Next check", "1184"):
            assert words in text, words


def recorded(shop: Database, hand: Technician) -> None:
    """What the shop holds of that visit."""
    with shop.reading() as session:
        record = loader.load(session, 1)
    assert record.sign_off is not None
    assert len(record.moves) >= hand.moves > 0
    found, left = record.as_found(), record.as_left()
    assert found is not None
    assert left is not None
    assert left.row.phase == "lock-down"


def comes_back(page: Page, hand: Technician, server: str) -> None:
    """Found by any of its words; one coupler has slipped since, and the steps compare with the last visit."""
    for words in ("0217", "c-104", "coupe", "118"):
        page.goto(server)
        page.get_by_label("Find an engine").fill(words)
        hand.press("Find")
        expect(page.get_by_role("heading", name="Engine 31-0217")).to_be_visible()  # the only one found is opened
    hand.bench.slip(next(iter(hand.bench.layout.couplers())), 1.5)
    hand.press("Open a visit")
    page.get_by_label("Vehicle").check()
    page.get_by_label("As it runs").check()
    expect(page.get_by_label("Initials: KM, change")).to_be_visible()  # asked once, at the first visit
    hand.press("Open the visit")
    expect(page.get_by_role("heading", name="First fire")).to_be_visible()
    hand.record_everything()
    expect(page.get_by_role("heading", name="Heat-soaked recheck")).to_be_visible()
    hand.record_everything()
    expect(page.locator("#entry-heading")).to_have_text("Bore 1")
    hand.read_on()
    hand.press("Checklist")
    expect(page.get_by_role("heading", name="Compared with visit 1 as left")).to_be_visible()
    expect(page.get_by_role("row")).to_have_count(9)


@pytest.mark.slow
def test_an_engine_goes_through_and_comes_back(context: BrowserContext, shop: Database) -> None:
    """Every page is seen and worked at; what is only more of the same is entered through the store's verbs."""
    page = context.new_page()
    hand = Technician(page)
    hands = DemoTechnician(shop, random.Random(11), datetime.fromisoformat(AT))
    with serving(shop, clock=lambda: hands.now) as server:
        heard = quiet(page, server)
        page.goto(server)
        registered(page, hand)
        opened(page, hand)
        begun(page, hand)
        evened_beside(page, hand, server, hands)
        balanced(page, hand, DEFAULTS.openings[:1])
        hands.read_round(1, BANK_BALANCE, hand.bench)
        page.goto(f"{server}/visits/1/{BANK_BALANCE.slug}/readings")
        hand.press("Continue with lock-down")
        signed_off(page, hand, server)
        printed(page)
        recorded(shop, hand)
        comes_back(page, hand, server)
        assert heard == []


@pytest.mark.slow
@pytest.mark.parametrize("browser_context_args", [LANDSCAPE], indirect=True)
def test_the_whole_job_in_under_200_taps(context: BrowserContext, shop: Database) -> None:
    """From the engine's page to the signed sheet, every touch and every key counted by the page itself.

    One tap a reading where a key says it in full, else the whole number first; safety items one by one.
    """
    people.add(shop, key(), SIGNS, PIN, PIN, AT)
    settings_versions.change(shop, key(), 0, replace(DEFAULTS, people=(("KM", SIGNS),)), "", "KM", AT)
    engine(shop, V8)
    day, taps = Day(), Taps.counted(context)
    page = context.new_page()
    page.clock.install()
    hand = Technician(page, wait=day.wait)
    with serving(shop, clock=day) as server:
        page.goto(f"{server}/engines/1")
        opened(page, hand)
        begun(page, hand)
        evened(page, hand)
        balanced(page, hand)
        hand.press("Continue with lock-down")
        lock_down(page, hand)
        hand.press("Sign off")
        expect(page.get_by_label("Responsible person")).to_have_value(SIGNS)
        hand.type(page.get_by_label("PIN"), PIN)
        hand.press("Sign off")
        expect(page.get_by_role("heading", name="Handover sheet").first).to_be_visible()
    print(taps.said())
    assert hand.moves
    assert taps.total < 200, taps.said()
