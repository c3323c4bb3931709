"""The pages of a visit that should never have been opened."""

import html

from starlette.testclient import TestClient

from app.shop.procedure.phases import COLD_PRESET
from app.shop.store.database import Database
from tests.shop.yard import FOUR, check_all, engine, key, visit, visit_record

OFFER = 'action="/visits/1/mistaken"'
SENT = {"mistaken_why": "Wrong engine", "mistaken_by": "KM"}


def page_of(client: TestClient, path: str) -> str:
    return html.unescape(client.get(path, follow_redirects=True).text)


def test_it_is_offered_until_something_is_recorded(client: TestClient, shop: Database) -> None:
    engine_id = engine(shop, FOUR)
    visit(shop, engine_id)
    leads_there = ("/visits/1/cold-preset", f"/engines/{engine_id}")
    assert OFFER in page_of(client, "/visits/1/sign-off")
    assert all('href="/visits/1/sign-off#mistaken"' in page_of(client, path) for path in leads_there)
    check_all(shop, 1, COLD_PRESET)
    assert OFFER not in page_of(client, "/visits/1/sign-off")
    assert not any("sign-off#mistaken" in page_of(client, path) for path in leads_there)
    refused = client.post("/visits/1/mistaken", data={**SENT, "key": key()})
    assert refused.status_code == 422
    assert "Something is recorded in this visit" in refused.text


def test_a_reason_that_is_missing_is_asked_for_beside_its_field(client: TestClient, shop: Database) -> None:
    visit(shop, engine(shop, FOUR))
    refused = client.post("/visits/1/mistaken", data={**SENT, "key": key(), "mistaken_why": ""})
    assert refused.status_code == 422
    assert 'id="mistaken_why-message"' in refused.text


def test_it_is_shown_as_what_it_is(client: TestClient, shop: Database) -> None:
    engine_id = engine(shop, FOUR)
    visit(shop, engine_id)
    done = client.post("/visits/1/mistaken", data={**SENT, "key": key()}, follow_redirects=False)
    assert done.headers["location"].startswith(f"/engines/{engine_id}")
    assert visit_record(shop, 1).mistaken is not None
    for path in (f"/engines/{engine_id}", "/engines", "/visits/1/cold-preset", "/visits/1", "/visits/1/sheet"):
        shown = page_of(client, path)
        assert "Opened by mistake" in shown, path
        assert "Wrong engine" in shown, path
        assert "/visits/1/sheet" not in shown, path
    assert f"/engines/{engine_id}/visits/new" in page_of(client, f"/engines/{engine_id}")
    assert client.get("/api/visits/1").json()["mistaken"]["why"] == "Wrong engine"
    assert client.get("/api/visits").json() == []
