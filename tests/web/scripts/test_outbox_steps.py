"""Forms of a visit beside its readings: steps are held like readings, a PIN never is."""

import re

from playwright.sync_api import Route, expect

from app.shop.commands import people
from app.shop.procedure.phases import HEAT_SOAKED
from app.shop.store.database import Database
from tests.proxy import Proxy
from tests.shop.yard import AT, FOUR, heat_soaked, key, read_round, visit_record
from tests.web.tablet import Tablet, entered, said


def test_steps_recorded_without_a_link_go_over_and_the_page_goes_on(hand: Tablet, link: Proxy, shop: Database) -> None:
    visit_id = heat_soaked(shop, FOUR)
    read_round(shop, visit_id, HEAT_SOAKED)
    before = len(visit_record(shop, visit_id).all_checks)
    hand.page.goto(f"{link.address}/visits/{visit_id}/{HEAT_SOAKED.slug}")
    form = hand.page.get_by_role("form", name="Checklist")
    form.locator("input[name=coolant]").fill("91")
    link.fault, link.only = "drop", b"POST"
    form.get_by_role("button", name="Save").click()
    expect(hand.bar).to_contain_text(said("waiting", what="1 checklist entry"))
    link.fault = "pass"
    hand.is_saved()
    assert visit_record(shop, visit_id).checks[(HEAT_SOAKED.slug, "coolant")].number == 91
    assert len(visit_record(shop, visit_id).all_checks) == before + 1
    expect(hand.page).to_have_url(re.compile(f"/visits/{visit_id}/lock-down"))


def test_steps_refused_come_back_beside_their_fields(hand: Tablet, server: str, shop: Database) -> None:
    visit_id = heat_soaked(shop, FOUR)
    hand.page.goto(f"{server}/visits/{visit_id}/{HEAT_SOAKED.slug}")
    form = hand.page.get_by_role("form", name="Checklist")
    form.locator("input[name=coolant]").fill("9000")
    form.get_by_role("button", name="Save").click()
    expect(form.get_by_text(re.compile(r"^Enter \d"))).to_be_visible()
    expect(form.locator("input[name=coolant]")).to_have_value("9000")
    form.locator("input[name=coolant]").fill("91")
    form.get_by_role("button", name="Save").click()
    expect(form.get_by_text(re.compile(r"^Enter \d"))).to_have_count(0)
    hand.is_saved()
    expect(hand.page.get_by_role("list", name="Not saved")).to_be_hidden()
    assert visit_record(shop, visit_id).checks[(HEAT_SOAKED.slug, "coolant")].number == 91


def test_a_page_that_does_not_come_after_a_record_leaves_no_doubt_that_it_is_kept(
    hand: Tablet, server: str, shop: Database
) -> None:
    visit_id = heat_soaked(shop, FOUR)
    hand.page.goto(f"{server}/visits/{visit_id}/{HEAT_SOAKED.slug}")
    hand.page.route(re.compile("/visits/"), broken_page)
    form = hand.page.get_by_role("form", name="Checklist")
    form.locator("input[name=coolant]").fill("91")
    form.get_by_role("button", name="Save").click()
    expect(hand.bar).to_have_text(said("saved-without-page") + said("page-missing"))
    assert visit_record(shop, visit_id).checks[(HEAT_SOAKED.slug, "coolant")].number == 91
    hand.page.unroute_all()
    hand.page.reload()
    expect(hand.bar).to_have_text("All saved")


def broken_page(route: Route) -> None:
    """Pages break down on the way out, records do not."""
    if route.request.method == "GET":
        route.fulfill(status=500, body="a mistake inside")
    else:
        route.continue_()


def test_a_pin_is_never_held_and_waits_for_what_is(hand: Tablet, link: Proxy, shop: Database) -> None:
    visit_id = heat_soaked(shop, FOUR)
    people.add(shop, key(), "Kim Marlow", "1928", "1928", AT)
    hand.open(link.address, visit_id)
    link.fault, link.only = "refuse", b"POST"
    hand.read("6.25", then="Bore 2")
    hand.page.goto(f"{link.address}/visits/{visit_id}/sign-off")
    expect(hand.bar).to_contain_text(said("waiting", what="1 reading"))
    hand.page.get_by_label("Responsible person").select_option("Kim Marlow")
    hand.page.get_by_label("PIN").fill("1928")
    hand.page.get_by_role("button", name="Sign off").click()
    expect(hand.bar).to_contain_text(said("not-saved") + said("waiting-first", what="1 reading"))
    link.fault = "pass"
    hand.is_saved()
    assert entered(shop, visit_id) == [(1, "turn", 6.25)]
    hand.page.get_by_role("button", name="Sign off").click()
    expect(hand.page.get_by_text("Complete these phases first: Heat-soaked recheck")).to_be_visible()
    expect(hand.page.get_by_role("list", name="Not saved")).to_be_hidden()
    assert visit_record(shop, visit_id).sign_off is None
