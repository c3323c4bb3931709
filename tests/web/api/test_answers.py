"""What answers carry besides their bodies: totals and the next page, and dry runs that store nothing."""

import re

import pytest
from starlette.testclient import TestClient

from app.shop.store.database import Database, raw_connection
from app.web.api.answers.dry_run import NOT_TRIED
from app.web.api.answers.places import PLACES
from app.web.api.interface import document
from tests.shop.yard import FOUR, engine, key, ready_to_sign, visit
from tests.web.api.writes import HOT, TURN, hot

NEXT = re.compile(r'<(.+)>; rel="next"')


def every(client: TestClient, path: str) -> tuple[list[int], list[str]]:
    """The ids on all pages from ``path`` on, and the total that each page told."""
    found: list[int] = []
    totals = []
    while path:
        answer = client.get(path)
        found += [one["id"] for one in answer.json()]
        totals.append(answer.headers["x-total-count"])
        following = NEXT.fullmatch(answer.headers.get("link", ""))
        path = following[1] if following else ""
    return found, totals


def test_engines_are_told_page_by_page_with_their_total(client: TestClient, shop: Database) -> None:
    for number in range(7):
        engine(shop, FOUR, serial=f"31-000{number}")
    engine(shop, FOUR, serial="22-0098")
    assert every(client, "/api/engines?most=3") == ([8, 7, 6, 5, 4, 3, 2, 1], ["8"] * 3)
    assert every(client, "/api/engines?words=31-000&most=3") == ([7, 6, 5, 4, 3, 2, 1], ["7"] * 3)
    assert every(client, "/api/engines?words=31-000&most=3&before=5") == ([4, 3, 2, 1], ["4"] * 2)
    assert every(client, "/api/engines?before=3") == ([2, 1], ["2"])
    assert every(client, "/api/engines?words=nothing") == ([], ["0"])


def test_open_visits_are_told_page_by_page_and_all_of_them_without(client: TestClient, shop: Database) -> None:
    for number in range(5):
        visit(shop, engine(shop, FOUR, serial=f"31-000{number}"))
    assert every(client, "/api/visits") == ([5, 4, 3, 2, 1], ["5"])
    assert every(client, "/api/visits?most=2") == ([5, 4, 3, 2, 1], ["5"] * 3)


def test_what_would_be_rejected_is_rejected_when_it_is_only_tried(client: TestClient, shop: Database) -> None:
    hot(shop)
    tried = client.post(f"{HOT}/readings", params={"dry_run": "true"}, json={**TURN, "bore": 9, "key": key()})
    assert (tried.status_code, tried.json()["code"]) == (422, "no-such-bore")
    other = client.post(f"{HOT}/readings", params={"dry_run": "maybe"}, json={**TURN, "key": key()})
    assert (other.status_code, other.json()["errors"][0]["parameter"]) == (422, "dry_run")
    later = client.post(f"{HOT}/readings", params={"dry_run": "false"}, json={**TURN, "key": key()})
    assert later.status_code == 201


def test_a_correction_of_an_engine_may_be_tried(client: TestClient, shop: Database) -> None:
    engine(shop)
    facts = {"serial": "31-0217", "displacement": 3.9, "idle_speed_rpm": 850, "vehicle": "Red coupe", "version": 1}
    assert client.put("/api/engines/1?dry_run=true", json=facts).status_code == 204
    assert client.get("/api/engines/1").json()["version"] == 1


def test_a_sign_off_is_never_tried_only(client: TestClient, shop: Database) -> None:
    ready_to_sign(shop)
    body = {"key": key(), "name": "Foreman of the yard"}
    tried = client.post("/api/visits/1/sign-off", params={"dry_run": "true"}, json=body)
    assert (tried.status_code, tried.json()["code"]) == (422, "no-dry-run")
    assert client.get("/api/visits/1").json()["sign_off"] is None


def test_a_dry_run_leaves_neither_a_row_nor_a_change(client: TestClient, shop: Database) -> None:
    hot(shop)

    def counted() -> int:
        with shop.reading() as session:
            (rows,) = raw_connection(session).execute("SELECT count(*) FROM change").fetchone()
            return int(rows)

    before, writes = counted(), shop.writes
    assert client.post(f"{HOT}/readings?dry_run=true", json={**TURN, "key": key()}).status_code == 204
    assert (counted(), shop.writes) == (before, writes)


def test_every_write_says_where_what_it_made_is_found_and_whether_it_may_be_tried() -> None:
    own = {"register_engine", "open_visit", "register_meter", "begin_study"}
    made = set()
    for operations in document()["paths"].values():
        for method, operation in operations.items():
            name, parameters = operation["operationId"], operation.get("parameters", ())
            if "201" in operation["responses"]:
                made.add(name)
                assert "Location" in operation["responses"]["201"]["headers"], name
            tries = any(one["name"] == "dry_run" for one in parameters)
            assert tries is (method != "get" and name not in NOT_TRIED), name
    assert made == PLACES.keys() | own


@pytest.mark.parametrize("path", ["/api/engines", "/api/visits"])
def test_a_list_that_is_told_page_by_page_says_so(path: str) -> None:
    assert set(document()["paths"][path]["get"]["responses"]["200"]["headers"]) == {"X-Total-Count", "Link"}
