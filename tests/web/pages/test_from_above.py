"""An opening reached from above: chosen at its first reading, asked for by the card and of a program."""

import re

import pytest
from starlette.testclient import TestClient

from app.shop.assessment.assessment import assess
from app.shop.procedure.phases import BANK_BALANCE
from app.shop.procedure.read_order import next_reading
from app.shop.rejections import Rejection
from app.shop.store.database import Database
from app.web.presenters.paper.file_page import file_page
from tests.shop.bank_balance import at_the_banks, late, loose
from tests.shop.rejections import on_page
from tests.shop.yard import V8, key, read, visit_record

HOW = "Open well past the feeler, then close onto it."


@pytest.fixture
def client(client: TestClient) -> TestClient:
    """Goes on to the page that an answer names."""
    client.follow_redirects = True
    return client


def path(visit_id: int, rest: str = "readings") -> str:
    return f"/visits/{visit_id}/{BANK_BALANCE.slug}/{rest}"


def typed(**changes: str) -> dict[str, str]:
    return {"key": key(), "round": "3", "bore": "1", "kind": "turn", "value": "8", "by": "KM"} | changes


def chosen(html: str) -> str:
    """Which of the two ways is chosen on a page; empty where it is not asked."""
    (found,) = re.findall(r'name="from_above" value="(\d)" form="keypad" checked', html) or [""]
    return str(found)


def test_the_way_is_asked_for_before_the_first_reading_and_said_after_it(client: TestClient, shop: Database) -> None:
    visit_id = at_the_banks(shop)
    assert chosen(client.get(path(visit_id)).text) == "0"
    assert chosen(client.get(path(visit_id) + "?above=true").text) == "1"
    page = client.post(path(visit_id), data=typed(from_above="1")).text
    assert visit_record(shop, visit_id).rounds[-1].row.from_above == 1
    assert chosen(page) == ""
    assert "Approach from open: open well past the 0.010\u00a0in feeler, then close onto it." in page
    assert "0.010\u00a0in, from open" in page
    assert '<input type="hidden" name="from_above" value="1">' in page
    with_label = [
        line.round.title for line in file_page(assess(visit_record(shop, visit_id))).lines if line.round is not None
    ]
    assert with_label[-1].startswith("Part-throttle bank balance, 0.010\u00a0in feeler, approach from open, ")


def test_what_is_refused_or_skipped_keeps_the_way(client: TestClient, shop: Database) -> None:
    visit_id = at_the_banks(shop)
    refused = client.post(path(visit_id), data=typed(value="9000", from_above="1"))
    assert (refused.status_code, chosen(refused.text)) == (422, "1")
    asked = client.post(path(visit_id), data=typed(value="", skip="1", from_above="1")).text
    hidden = dict(
        re.findall(r'<input type="hidden" name="(\w+)" value="([^"]*)">', asked.partition('class="card move')[2])
    )
    assert hidden["from_above"] == "1"
    client.post(path(visit_id), data={**hidden, "why": "Cannot be reached"})
    assert visit_record(shop, visit_id).rounds[-1].row.from_above == 1


def test_the_other_way_in_the_same_round_is_refused_with_the_reason(client: TestClient, shop: Database) -> None:
    visit_id = at_the_banks(shop)
    client.post(path(visit_id), data=typed(from_above="1"))
    other = client.post(path(visit_id), data=typed(bore="2", from_above="0"))
    assert other.status_code == 409
    assert on_page(Rejection.APPROACH_DIFFERS, round=3) in other.text


def test_idle_is_not_asked_how_it_is_reached(client: TestClient, shop: Database) -> None:
    visit_id = at_the_banks(shop)
    page = client.get(f"/visits/{visit_id}/heat-soaked-recheck/readings").text
    assert "from_above" not in page


def test_the_card_asks_for_the_round_and_the_verdict_uses_it(client: TestClient, shop: Database) -> None:
    visit_id = loose(shop)
    page = client.get(path(visit_id)).text
    assert "Read 0.010\u00a0in again, approach from open" in page
    assert HOW in page
    assert "check the joints for lost motion, engine off" in page
    begin = re.search(r'name="above" value="([^"]+)"', page)
    assert begin is not None
    page = client.post(path(visit_id, "rounds"), data={"key": key(), "above": begin[1]}).text
    assert "Approach from open: open well past" in page
    for bore in (*V8.bores, 1):
        read(shop, visit_id, BANK_BALANCE, 8.0, bore)
    page = client.get(path(visit_id)).text
    assert "A joint has lost motion" in page
    assert "Repair the joint, do not turn the rod" in page
    assert "0.010\u00a0in, from open: 0.00 (0\u00a0%)" in page


@pytest.mark.parametrize("above", ["1", "x", "-10", "nan", "500"])
def test_what_is_no_opening_of_the_shop_is_refused(client: TestClient, shop: Database, above: str) -> None:
    visit_id = loose(shop)
    answer = client.post(path(visit_id, "rounds"), data={"key": key(), "above": above})
    assert answer.status_code == 422
    assert next_reading(visit_record(shop, visit_id), BANK_BALANCE).bore is None


def test_a_program_is_asked_for_the_round_and_begins_it(client: TestClient, shop: Database) -> None:
    visit_id = loose(shop)
    here = f"/api/visits/{visit_id}/phases/{BANK_BALANCE.slug}"
    advice = client.get(f"{here}/advice").json()
    asked = {name: advice[name] for name in ("kind", "why", "lever_thou", "from_above", "readings")}
    assert asked == {"kind": "measure", "why": "both_ways", "lever_thou": 10, "from_above": True, "readings": []}
    banks = client.get(f"/api/visits/{visit_id}/banks").json()
    assert (banks["extra"], banks["extra_lever_thou"]) == ("both_ways", 10)
    assert banks["extra_levers_thou"] == [10]
    wrong = client.post(f"{here}/rounds", json={"key": key(), "lever_thou": 500, "from_above": True})
    assert (wrong.status_code, [one["pointer"] for one in wrong.json()["errors"]]) == (422, ["#/lever_thou"])
    sent = {"key": key(), "lever_thou": advice["lever_thou"], "from_above": True}
    first, again = (client.post(f"{here}/rounds", json=sent) for _ in range(2))
    assert (first.status_code, first.json()) == (201, again.json())
    assert (first.json()["lever_thou"], first.json()["from_above"]) == (10, True)
    for _ in range(9):
        advice = client.get(f"{here}/advice").json()
        assert (advice["lever_thou"], advice["from_above"]) == (10, True)
        one = advice["readings"][0]
        answer = client.post(
            f"{here}/readings", json={"key": key(), "value": 8.0, "by": "KM", "from_above": True, **one}
        )
        assert answer.status_code == 201, answer.text
    banks = client.get(f"/api/visits/{visit_id}/banks").json()
    assert banks["cause"] == "slack"
    assert [(one["lever_thou"], one["from_above"]) for one in banks["differences"]] == [
        (0, False),
        (10, False),
        (10, True),
        (30, False),
    ]
    paper = client.get(f"/visits/{visit_id}/sheet").text
    assert [paper.count(f"at the 0.010\u00a0in feeler{end}") for end in (".", ", approach from open.")] == [1, 1]


def test_a_wider_opening_is_begun_by_the_card_in_the_same_visit(client: TestClient, shop: Database) -> None:
    visit_id = late(shop)
    page = client.get(path(visit_id)).text
    (wide,) = re.findall(r'name="opening" value="([\d.]+)"', page)
    assert f"Read both banks at {float(wide) / 1000:.3f}\u00a0in" in page
    advice = client.get(f"/api/visits/{visit_id}/phases/{BANK_BALANCE.slug}/advice").json()
    assert (advice["why"], advice["lever_thou"], advice["from_above"]) == ("wider_opening", float(wide), False)
    begun = client.post(path(visit_id, "rounds"), data={"key": key(), "opening": wide}).text
    assert f"Put the {float(wide) / 1000:.3f}\u00a0in feeler under the central lever and hold it there." in begun
    assert chosen(begun) == ""
