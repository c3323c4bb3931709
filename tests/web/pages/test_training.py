"""Practice by its pages: started, read with one key, moved, and the truth at the end; with and without script."""

import re

import pytest
from playwright.sync_api import Page, expect
from starlette.testclient import TestClient

from app.shop.procedure.phases import HEAT_SOAKED
from app.shop.rejections import Rejection
from app.shop.store.database import Database
from tests.shop.rejections import on_page
from tests.shop.yard import heat_soaked, key, visit_record
from tests.web.axe import faults

SLUG = HEAT_SOAKED.slug
MOST_STEPS = 120
LOWEST_KEY = """() => {
  const keys = [...document.querySelectorAll(".key")].filter((key) => key.checkVisibility());
  return keys.length && Math.min(...keys.map((key) => key.getBoundingClientRect().height));
}"""
"""Its height, once the script of the page shows the keys."""
SAME_ENGINE = "0d6f7a8e-98c1-4c39-9c9e-6f4d5b0c2a31"
"""The engine is drawn by the key. Of one in some fifty a leak check is asked for, which no form here records."""


def chosen(**changes: str) -> dict[str, str]:
    return {"key": key(), "shape": "4", "trouble": "slipped", "start": "hot", "by": "KM", **changes}


def hidden(html: str, form: str) -> dict[str, str]:
    """The hidden fields of the form that posts to ``form``."""
    found = re.search(rf'<form[^>]*action="{form}".*?</form>', html, re.DOTALL)
    assert found is not None, form
    return dict(re.findall(r'<input type="hidden" name="(\w+)" value="([^"]*)">', found[0]))


def test_a_whole_practice_without_script(client: TestClient, shop: Database) -> None:
    """As a browser without JavaScript does it: forms, as the page gives them, until the card is content."""
    answer = client.post("/practice", data=chosen(key=SAME_ENGINE))
    assert (answer.status_code, answer.headers["location"]) == (303, "/visits/1")
    here = f"/visits/1/{SLUG}/readings"
    assert client.get("/visits/1").headers["location"] == here
    assert "Read a round first" in client.get("/practice/1").text
    for _ in range(MOST_STEPS):
        page = client.get(here).text
        if ">No adjustment needed<" in page:
            break
        if "Done as shown" in page:
            action = f"/visits/1/{SLUG}/moves"
            sent = client.post(action, data={**hidden(page, action), "advised": "1"})
        elif ">Read the training engine</button>" in page:
            sent = client.post(here, data={**hidden(page, here), "value": "", "practice": "1"})
        else:
            action = f"/visits/1/{SLUG}/rounds"
            sent = client.post(action, data=hidden(page, action))
        assert (sent.status_code, sent.headers["location"].partition("?")[0]) == (303, here)
    else:
        raise AssertionError("the engine never came even")
    assert re.search(r'<a class="answer" href="/practice/1/expert" hx-boost="false">Show the true state</a>', page)
    told = visit_record(shop, 1)
    assert all(one.advised for one in told.all_moves)
    truth = client.get("/practice/1").text
    assert "had slipped" in truth
    assert re.search(r"The meter reads \d+\u00a0% (high|low)\.", truth)
    assert f"{len(told.all_moves)} adjustment" in truth
    assert "Careful expert" not in truth
    assert re.search(r"Careful expert: \d+\u00a0min at idle", client.get("/practice/1/expert").text)


@pytest.mark.parametrize(
    ("field", "typed", "code"),
    [
        ("shape", "5", Rejection.NOT_LISTED),
        ("trouble", "", Rejection.NOT_LISTED),
        ("start", "warm", Rejection.NOT_LISTED),
        ("by", "", Rejection.INITIALS_MISSING),
        ("key", "no", Rejection.STALE_FORM),
    ],
)
def test_a_start_that_cannot_be_says_why_and_keeps_what_was_chosen(
    client: TestClient, field: str, typed: str, code: Rejection
) -> None:
    answer = client.post("/practice", data=chosen(trouble="loose") | {field: typed})
    assert answer.status_code == 422
    assert on_page(code) in answer.text
    if field != "trouble":
        assert 'value="loose" checked' in answer.text
    assert "Three answers, then the first visit" in client.get("/").text


def test_a_practice_engine_says_so_wherever_it_is_named(client: TestClient) -> None:
    client.post("/practice", data=chosen())
    for path in ("/", "/?find=training", "/engines/1", f"/visits/1/{SLUG}", f"/visits/1/{SLUG}/readings"):
        assert "Training 1" in client.get(path, headers={"HX-Request": "true"}).text, path


def test_a_practice_engine_does_not_leave_the_shop_as_a_real_one(client: TestClient) -> None:
    client.post("/practice", data=chosen())
    answer = client.get("/engines/1/export.json")
    assert answer.status_code == 422
    assert on_page(Rejection.TRAINING_STAYS) in answer.text


def test_a_real_visit_has_no_such_key_and_no_such_page(client: TestClient, shop: Database) -> None:
    heat_soaked(shop)
    here = f"/visits/1/{SLUG}/readings"
    page = client.get(here).text
    assert "practice" not in page
    for path in ("/practice/1", "/practice/1/expert", "/practice/99"):
        assert client.get(path).status_code == 404
    answer = client.post(here, data={**hidden(page, here), "practice": "1"})
    assert answer.status_code == 422
    assert on_page(Rejection.REAL_ENGINE) in answer.text


def test_a_bore_read_again_by_the_key_is_a_further_reading_not_a_correction(client: TestClient, shop: Database) -> None:
    client.post("/practice", data=chosen())
    here = f"/visits/1/{SLUG}/readings"
    for path in (here, f"{here}?bore=1"):
        client.post(here, data={**hidden(client.get(path).text, here), "practice": "1"})
    assert [(r.bore, r.kind, r.supersedes_id) for r in visit_record(shop, 1).rounds[0].entered] == [
        (1, "turn", None),
        (1, "again", None),
    ]


@pytest.mark.browser_context_args(has_touch=True)
def test_a_practice_on_a_tablet(page: Page, server: str, shop: Database) -> None:
    """From the board to the truth by taps, a round of two banks read, nothing scrolled, nothing that axe finds."""
    page.goto(server)
    page.get_by_role("link", name="Training", exact=True).click()
    page.get_by_label("8 in 2 banks").check()
    page.get_by_label("One coupler has lost motion").check()
    page.get_by_label("Your initials").fill("KM")
    assert faults(page) == []
    page.get_by_role("button", name="Start").click()
    read = page.get_by_role("button", name="Read the training engine")
    heading = page.locator("#entry-heading")
    for said in (*(f"Bore {bore}" for bore in range(1, 9)), "Bore 1 again"):
        expect(heading).to_have_text(said)
        assert page.evaluate("document.documentElement.scrollHeight <= innerHeight")
        smallest = page.wait_for_function(LOWEST_KEY).json_value()
        assert smallest >= 72
        read.click()
    expect(page.get_by_text("complete, 9 of 9")).to_be_visible()  # as the shop computer says it, all of it stored
    entered = visit_record(shop, 1).rounds[0].entered
    assert [(r.bore, r.kind) for r in entered] == [*((bore, "turn") for bore in range(1, 9)), (1, "closing")]
    assert all(r.value for r in entered)
    page.get_by_role("link", name="True state").click()
    expect(page.get_by_role("heading", name="What you could not see")).to_be_visible()
    expect(page.get_by_text("has lost motion, worth")).to_be_visible()
    assert faults(page) == []
