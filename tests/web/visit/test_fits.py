"""Every page of a visit on the screens it is held on: none wider than the screen, every key on it, steps in sight."""

from collections.abc import Mapping

import pytest
from playwright.sync_api import Page, ViewportSize, expect

from app.shop.commands import opening_speeds
from app.shop.commands.opening_speeds import NewSpeed
from app.shop.procedure.phases import BANK_BALANCE, HEAT_SOAKED, PHASES
from app.shop.procedure.read_order import next_reading
from app.shop.store.database import Database
from app.sync.engine.layout import Bank, Layout
from tests.serving import serving
from tests.shop.bank_balance import at_the_banks
from tests.shop.yard import AT, FOUR, V8, engine, heat_soaked, key, read, read_round, visit, visit_record

PHONE: ViewportSize = {"width": 390, "height": 844}
TABLET: ViewportSize = {"width": 1280, "height": 800}
SHORT: ViewportSize = {"width": 1280, "height": 690}
ONE_ROW = 60
"""Pixels that a bar of one row takes, two lines of words in it."""
NAME_IN_BLADE = """() => {
  const blade = document.querySelector('.phase[aria-current="page"], .phase[aria-current="step"]');
  const words = document.createRange();
  words.selectNodeContents(blade.querySelector("span").firstChild);
  const [name, edge] = [words.getBoundingClientRect(), blade.getBoundingClientRect()];
  return name.right <= edge.right - 14 && name.bottom <= edge.bottom;
}"""
"""Whether the name of the phase in view stands clear of the round end of its blade, 14 pixels."""
V12 = Layout((Bank("A", (1, 2, 3, 4, 5, 6), 1, 1), Bank("B", (7, 8, 9, 10, 11, 12), 7, 7)))


@pytest.fixture
def browser_context_args(
    browser_context_args: Mapping[str, object], request: pytest.FixtureRequest
) -> dict[str, object]:
    """A screen of the size that a test asks for."""
    return {**browser_context_args, "viewport": getattr(request, "param", TABLET), "has_touch": True}


def beyond(page: Page) -> int:
    """By how much the page is wider than the screen, in pixels."""
    return int(page.evaluate("document.documentElement.scrollWidth - innerWidth"))


def below(page: Page) -> int:
    """By how much it is taller."""
    return int(page.evaluate("document.documentElement.scrollHeight - innerHeight"))


@pytest.mark.parametrize("browser_context_args", [PHONE], indirect=True, ids=["phone"])
@pytest.mark.parametrize("layout", [FOUR, V8, V12], ids=["one bank", "two banks of four", "twelve bores"])
def test_a_phone_shows_every_page_of_a_visit_without_moving_sideways(
    page: Page, shop: Database, layout: Layout
) -> None:
    visit_id = heat_soaked(shop, layout)
    read_round(shop, visit_id, HEAT_SOAKED)
    with serving(shop) as server:
        for phase in PHASES:
            for path in (phase.slug, f"{phase.slug}/readings") if phase.rounds != "none" else (phase.slug,):
                page.goto(f"{server}/visits/{visit_id}/{path}")
                expect(page.locator("main")).to_be_visible()
                assert beyond(page) <= 0, path
        of_visit = [f"visits/{visit_id}/{name}" for name in ("sign-off", "sheet")]
        of_engine = [f"engines/1{name}" for name in ("", "/paper", "/tag", "/worksheet")]
        for path in (*of_visit, *of_engine, "meters", "settings", "audit", ""):
            page.goto(f"{server}/{path}")
            assert beyond(page) <= 0, path
        if layout is not V8:
            return
        page.goto(f"{server}/visits/{visit_id}/{BANK_BALANCE.slug}")
        assert page.evaluate(NAME_IN_BLADE), "with text of the usual size"
        page.evaluate("document.documentElement.style.fontSize = '200%'")
        assert page.evaluate(NAME_IN_BLADE), "with text twice as large"


@pytest.mark.parametrize("browser_context_args", [PHONE], indirect=True, ids=["phone"])
@pytest.mark.parametrize("layout", [FOUR, V8, V12], ids=["one bank", "two banks of four", "twelve bores"])
def test_a_phone_shows_the_whole_keypad_at_once(page: Page, shop: Database, layout: Layout) -> None:
    visit_id = heat_soaked(shop, layout)
    with serving(shop) as server:
        page.goto(f"{server}/visits/{visit_id}/{HEAT_SOAKED.slug}/readings")
        keys = page.locator(".keys .key")
        expect(keys.first).to_be_visible()
        boxes = [box for key in keys.all() if (box := key.bounding_box()) is not None]
    assert len(boxes) == 16
    assert all(box["width"] >= 72 and box["height"] >= 72 for box in boxes)
    assert all(box["x"] >= 0 and box["x"] + box["width"] <= PHONE["width"] for box in boxes)
    top, bottom = min(box["y"] for box in boxes), max(box["y"] + box["height"] for box in boxes)
    assert bottom - top <= PHONE["height"]
    if layout is not V12:
        assert bottom <= PHONE["height"]


@pytest.mark.parametrize("browser_context_args", [PHONE], indirect=True, ids=["phone"])
def test_a_phone_shows_the_keys_of_a_training_engine_under_a_bar_of_one_row(page: Page, shop: Database) -> None:
    with serving(shop) as server:
        page.goto(f"{server}/practice")
        page.get_by_label("8 in 2 banks").check()
        page.get_by_label("Your initials").fill("KM")
        page.get_by_role("button", name="Start").click()
        key = page.get_by_role("button", name=".75", exact=True)
        expect(key).to_be_visible()
        box, bar = key.bounding_box(), page.locator(".top").bounding_box()
        assert box is not None
        assert bar is not None
        assert box["y"] + box["height"] <= PHONE["height"]
        assert bar["height"] <= ONE_ROW
        page.get_by_text("More", exact=True).click()
        expect(page.get_by_role("link", name="True state")).to_be_visible()
        page.get_by_role("link", name="Checklist").click()
        expect(page.get_by_role("heading", name="Checklist")).to_be_visible()
        page.goto(server)
        expect(page.get_by_role("link", name="New engine")).to_have_text("New", use_inner_text=True)
        bar = page.locator(".top").bounding_box()
        assert bar is not None
        assert bar["height"] <= ONE_ROW


UPRIGHT: ViewportSize = {"width": 800, "height": 1280}
EIGHT = Layout((Bank("A", tuple(range(1, 9)), 1, 1),))


@pytest.mark.parametrize("layout", [FOUR, EIGHT, V8, V12], ids=["four", "eight in line", "two of four", "twelve"])
def test_a_tablet_shows_every_key_from_the_first_reading_to_the_last(
    page: Page, shop: Database, layout: Layout
) -> None:
    visit_id = heat_soaked(shop, layout)
    with serving(shop) as server:
        for values in ((), (7.5,), (5.5, 9.5, 7.0, 8.25, 7.5, 7.5, 6.5, 7.75, 7.5, 7.5, 7.5)[: len(layout.bores) - 1]):
            for value in values:
                read(shop, visit_id, HEAT_SOAKED, value)
            page.goto(f"{server}/visits/{visit_id}/{HEAT_SOAKED.slug}/readings")
            for size in (TABLET, UPRIGHT):
                page.set_viewport_size(size)
                expect(page.locator(".keys .key")).to_have_count(16)
                assert below(page) <= 0, (values, size)


def test_a_tablet_shows_every_key_at_an_opening_of_the_lever(page: Page, shop: Database) -> None:
    """Beside a line for each opening."""
    visit_id = at_the_banks(shop)
    due = next_reading(visit_record(shop, visit_id), BANK_BALANCE)
    speed = NewSpeed(BANK_BALANCE.slug, due.round_number, 1200, "KM")
    opening_speeds.record(shop, visit_id, key(), speed, AT)
    with serving(shop) as server:
        page.goto(f"{server}/visits/{visit_id}/{BANK_BALANCE.slug}/readings")
        expect(page.locator(".keys .key")).to_have_count(16)
        assert below(page) <= 0


UNEVEN = (7.5, 7.5, 7.25, 7.5, 5.5, 7.5, 7.25, 7.25, 7.5)


def test_a_tablet_shows_every_key_beside_a_ruler_of_many_bores(page: Page, shop: Database) -> None:
    """Bores that are not sure to be inside are stacked; what is only told gives way."""
    visit_id = heat_soaked(shop, V8)
    for value in (7.5, 7.75, 8.75, 9.5, 7.5):
        read(shop, visit_id, HEAT_SOAKED, value)
    with serving(shop) as server:
        page.goto(f"{server}/visits/{visit_id}/{HEAT_SOAKED.slug}/readings")
        expect(page.locator(".ruler circle")).to_have_count(5)
        boxes = [box for key in page.locator(".keys .key").all() if (box := key.bounding_box()) is not None]
        assert below(page) <= 0
    assert len(boxes) == 16
    assert max(box["y"] + box["height"] for box in boxes) <= TABLET["height"]


@pytest.mark.parametrize("browser_context_args", [SHORT], indirect=True, ids=["short"])
def test_what_an_adjustment_asks_fits_a_short_screen(page: Page, shop: Database) -> None:
    visit_id = heat_soaked(shop, V8)
    for value in UNEVEN:
        read(shop, visit_id, HEAT_SOAKED, value)
    with serving(shop) as server:
        page.goto(f"{server}/visits/{visit_id}/{HEAT_SOAKED.slug}/readings")
        expect(page.get_by_role("button", name="Done as shown")).to_be_visible()
        assert below(page) <= 0
        page.set_viewport_size(TABLET)
        expect(page.locator(".ruler-scale")).to_be_visible()
        assert below(page) <= 0


AIR = {"its face": 40, "the computer's face": 30}
"""Pixels that a steps page leaves free at least, for a list that grows by a line (our judgement)."""

FREE = """() => innerHeight - parseFloat(getComputedStyle(document.body).paddingBottom)
    - Math.max(...[...document.querySelectorAll("main > * > *")].map((one) => one.getBoundingClientRect().bottom))"""


@pytest.mark.parametrize("face", AIR)
def test_the_steps_of_a_phase_leave_air_on_a_tablet(page: Page, shop: Database, face: str) -> None:
    visit_id = visit(shop, engine(shop, V8))
    if face != "its face":
        page.route("**/*.woff2", lambda route: route.abort())
    with serving(shop) as server:
        for phase in PHASES:
            page.goto(f"{server}/visits/{visit_id}/{phase.slug}")
            expect(page.get_by_role("heading", name="Checklist")).to_be_visible()
            page.wait_for_function("document.fonts.status === 'loaded'")
            assert page.evaluate("document.fonts.check('16px Evenbore')") == (face == "its face")
            assert below(page) <= 0, phase.slug
            assert page.evaluate(FREE) >= AIR[face], phase.slug


def test_the_enter_key_registers_an_engine_and_leaves_its_layout(page: Page, shop: Database) -> None:
    with serving(shop) as server:
        page.goto(f"{server}/engines/new")
        for label, value in (("Serial number", "31-0400"), ("Displacement", "1.6"), ("Target idle speed", "850")):
            page.get_by_label(label, exact=True).fill(value)
        page.get_by_label("Bank A: cylinder numbers, front first").fill("1 3 5 7")
        page.get_by_label("Bank B: cylinder numbers, front first").fill("2 4 6 8")
        page.get_by_label("Vehicle").press("Enter")
        expect(page.get_by_role("heading", name="Engine 31-0400")).to_be_visible()
        expect(page.get_by_text("1 3 5 7, stop screw at bore 1")).to_be_visible()


CROSS_CHECKS: tuple[ViewportSize, ...] = (
    {"width": 1180, "height": 820},
    {"width": 820, "height": 1180},
    PHONE,
)


@pytest.mark.parametrize("browser_context_args", CROSS_CHECKS, indirect=True, ids=["landscape", "portrait", "phone"])
@pytest.mark.parametrize("layout", [FOUR, V12], ids=["four bores", "twelve bores"])
def test_the_cross_check_is_no_wider_than_the_screen_and_is_filled_in_by_keyboard(
    page: Page, shop: Database, layout: Layout
) -> None:
    visit_id = heat_soaked(shop, layout)
    read_round(shop, visit_id, HEAT_SOAKED)
    bores = len(layout.bores)
    with serving(shop) as server:
        for test in ("vacuum", "heat", "mixture"):
            page.goto(f"{server}/visits/{visit_id}/why?test={test}")
            page.locator("input[name=bore-1]").focus()
            for bore in range(1, bores + 1):
                page.keyboard.type("0.97" if test == "mixture" else str(400 + bore))
                if bore < bores:
                    page.keyboard.press("Tab")
            page.keyboard.press("Enter")
            title = {"vacuum": "Vacuum", "heat": "Exhaust heat", "mixture": "Mixture"}[test]
            expect(page.locator(".why-table thead")).to_contain_text(title)

        assert beyond(page) <= 0
        assert page.locator(".why-table tbody tr").count() == bores
