"""Programs of others at the door: known by a token, by https only over the network, each in its scopes and its rate."""

import re
from collections.abc import Iterator
from datetime import timedelta
from pathlib import Path
from typing import Any

import pytest
from starlette.testclient import TestClient

from app.shop.commands.access.scopes import AccessScope
from app.web.api.interface import document
from app.web.security import programs
from app.web.security.origin import FEED, PASSED_ON
from tests.shop.yard import key
from tests.web.security.bench import Bench

HOME = "https://192.168.7.20:8000"


@pytest.fixture
def bench(tmp_path: Path) -> Iterator[Bench]:
    bench = Bench(tmp_path)
    bench.start()
    yield bench
    bench.shop.close()


def given(bench: Bench, *scopes: AccessScope, name: str = "Bench 2", days: str = "30") -> str:
    sent = {"key": key(), "name": name, "days": days} | {str(scope): "1" for scope in scopes}
    shown = bench.here.post("/programs", data=sent)
    assert shown.status_code == 200, shown.text
    found = re.search(r'<code class="token">([\w-]{43})</code>', shown.text)
    assert found is not None
    return found[1]


def caller(bench: Bench, token: str, home: str = HOME, address: str = "192.168.7.44") -> TestClient:
    headers = {"Authorization": f"Bearer {token}"}
    return TestClient(bench.app, base_url=home, headers=headers, client=(address, 40000))


def code_of(answer: Any) -> str:
    return str(answer.json()["code"])


def test_a_program_is_answered_by_its_token_over_https_alone(bench: Bench) -> None:
    token = given(bench, AccessScope.READ)
    assert caller(bench, token).get("/api/engines").status_code == 200
    assert caller(bench, token, "http://127.0.0.1", "127.0.0.1").get("/api/engines").status_code == 200
    plain = caller(bench, token, "http://192.168.7.20:8000").get("/api/engines")
    assert (plain.status_code, code_of(plain)) == (403, "https-only")


def test_who_sends_no_token_or_a_wrong_one_is_told_what_to_send(bench: Bench) -> None:
    none = TestClient(bench.app, base_url=HOME, client=("192.168.7.44", 40000)).get("/api/engines")
    assert (none.status_code, code_of(none)) == (401, "not-paired")
    assert none.headers["WWW-Authenticate"] == 'Bearer realm="evenbore"'
    for address, home in (("192.168.7.44", HOME), ("127.0.0.1", "http://127.0.0.1")):
        wrong = caller(bench, "x" * 43, home, address).get("/api/engines")
        assert (wrong.status_code, code_of(wrong)) == (401, "token-unknown")
        assert 'error="invalid_token"' in wrong.headers["WWW-Authenticate"]


def test_a_token_opens_no_page(bench: Bench) -> None:
    token = given(bench, *AccessScope)
    assert caller(bench, token).get("/engines/1").status_code == 401


def test_a_program_is_shut_out_at_once_and_when_its_time_is_over(bench: Bench) -> None:
    first, second = given(bench, AccessScope.READ), given(bench, AccessScope.READ, name="Bench 3", days="1")
    assert caller(bench, second).get("/api/engines").status_code == 200
    assert bench.here.post("/programs/1/remove", data={"key": key()}).status_code == 303
    assert caller(bench, first).get("/api/engines").status_code == 401
    bench.now += timedelta(days=1)
    assert caller(bench, second).get("/api/engines").status_code == 401
    assert "Expired" in bench.here.get("/programs").text


@pytest.mark.parametrize("header", sorted(PASSED_ON))
def test_what_a_proxy_on_the_same_computer_passes_on_does_not_count_as_made_there(bench: Bench, header: bytes) -> None:
    token = given(bench, AccessScope.READ)
    passed_on = {header.decode(): "192.168.7.44"}
    behind = TestClient(
        bench.app, base_url=HOME, headers=passed_on, client=("127.0.0.1", 40000), follow_redirects=False
    )
    assert behind.get("/api/engines").status_code == 401
    assert behind.get("/").headers["location"] == "/pair"
    made = {"key": key(), "name": "Bench 3", "days": "30", "read": "1"}
    assert behind.post("/programs", data=made, headers={"Origin": HOME}).status_code in (401, 403)
    assert behind.get("/api/engines", headers={"Authorization": f"Bearer {token}"}).status_code == 200
    plain = TestClient(bench.app, base_url="http://127.0.0.1", headers=passed_on, client=("127.0.0.1", 40000))
    refused = plain.get("/api/engines", headers={"Authorization": f"Bearer {token}"})
    assert (refused.status_code, code_of(refused)) == (403, "https-only")


def test_only_the_shop_computer_gives_and_ends_access(bench: Bench) -> None:
    bench.pair()
    sent = {"key": key(), "name": "Bench 2", "days": "30", "read": "1"}
    assert bench.tablet.post("/programs", data=sent).status_code == 403
    given(bench, AccessScope.READ)
    assert bench.tablet.post("/programs/1/remove", data={"key": key()}).status_code == 403
    assert "Create token" not in bench.tablet.get("/programs").text


def test_what_is_wrong_with_a_form_stands_beside_it_and_no_token_is_made(bench: Bench) -> None:
    shown = bench.here.post("/programs", data={"key": key(), "name": "", "days": "400"})
    assert shown.status_code == 422
    assert 'class="token"' not in shown.text
    assert "1 to 365" in shown.text
    again = {"key": key(), "name": "Bench 2", "days": "30", "read": "1"}
    assert bench.here.post("/programs", data=again).status_code == 200
    assert bench.here.post("/programs", data=again).status_code == 409


@pytest.mark.parametrize("scope", AccessScope)
def test_each_operation_needs_the_scope_that_its_description_names(bench: Bench, scope: AccessScope) -> None:
    """A body that no operation takes tells apart what is out of reach from what is only wrong."""
    asking = caller(bench, given(bench, scope))
    asking.get("/api/nowhere")
    bench.app.state.stopping = lambda: True  # so that a stream ends with its first look
    seen = set()
    for path, operations in document()["paths"].items():
        for method, operation in operations.items():
            if path == FEED:
                continue
            needed = operation["security"][0]["program"]
            address = re.sub(r"{phase}", "cold-preset", re.sub(r"{(\w+_id|number)}", "1", path))
            programs_of(bench).rate._left.clear()
            answer = asking.request(method.upper(), re.sub(r"{\w+}", "x", address), json={"no": 1})
            refused = answer.status_code == 403
            assert refused is (scope not in needed), (method, path, answer.status_code)
            if refused:
                assert code_of(answer) == "scope-missing"
                assert f'scope="{needed[0]}"' in answer.headers["WWW-Authenticate"]
            seen.update(needed)
    assert seen == set(AccessScope)


def programs_of(bench: Bench) -> programs.KnownProgram:
    """The guard of an application that has answered once."""
    layer: Any = bench.app.middleware_stack
    while not isinstance(layer, programs.KnownProgram):
        layer = layer.app
    return layer


def test_a_program_is_held_to_its_rate_and_no_other_waits_for_it(bench: Bench) -> None:
    busy, other = (
        caller(bench, given(bench, AccessScope.READ)),
        caller(bench, given(bench, AccessScope.READ, name="Bench 3")),
    )
    seconds = 50.0
    programs_of(bench).rate.ticks = lambda: seconds
    answers = [busy.get("/api/meters") for _ in range(programs.MOST_A_SECOND + 1)]
    assert [answer.status_code for answer in answers] == [200] * programs.MOST_A_SECOND + [429]
    assert code_of(answers[-1]) == "too-many-requests"
    assert answers[-1].headers["Retry-After"] == "1"
    assert other.get("/api/meters").status_code == 200
    seconds += 1.5 / programs.MOST_A_SECOND
    assert [busy.get("/api/meters").status_code for _ in range(2)] == [200, 429]
