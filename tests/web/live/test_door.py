"""The door for live values opens for a feed's own token and nothing else, and no wider than it has to."""

import asyncio
import json
import logging
import urllib.request
from collections.abc import AsyncIterator
from concurrent.futures import ThreadPoolExecutor
from http.client import HTTPException
from typing import Any

import pytest
from starlette.testclient import TestClient

from app.shop.commands.access.tablets import hashed
from app.shop.store.database import Database
from app.web.live import doors as live
from app.web.live.hub import Hub
from app.web.security.feed_door import MOST_A_SECOND, FeedDoor
from app.web.security.middleware import TABLET, TIME_LIMIT
from tests.serving import serving
from tests.shop.yard import key
from tests.web.live.pushes import FEED, let_in, probe
from tests.web.security.bench import Bench


def push(client: TestClient, token: str, sent: Any = None, **headers: str) -> Any:
    asked = {"Authorization": f"Bearer {token}"} if token else {}
    client.headers.pop("Origin", None)
    return client.post(FEED, json=probe().push() if sent is None else sent, headers=asked | headers)


def test_a_feed_is_answered_from_anywhere_with_its_token_alone(bench: Bench) -> None:
    token = let_in(bench.here)
    for client in (bench.here, bench.tablet):
        answer = push(client, token)
        assert (answer.status_code, answer.json()) == (202, {"declare": []})


@pytest.mark.parametrize("token", ["", "wrong", "x" * 5000])
def test_without_a_token_of_a_feed_nothing_is_taken(bench: Bench, token: str) -> None:
    let_in(bench.here)
    for client in (bench.here, bench.tablet):
        answer = push(client, token)
        assert answer.status_code == 401
        assert (answer.headers["content-type"], answer.json()["code"]) == ("application/problem+json", "no-feed")
        assert answer.headers["WWW-Authenticate"].startswith("Bearer ")  # RFC 9110, section 11.6.1


def test_a_paired_tablet_may_not_push_and_a_feed_opens_nothing_else(bench: Bench) -> None:
    token = let_in(bench.here)
    assert bench.pair().status_code == 303
    cookie = bench.tablet.cookies[TABLET]
    assert push(bench.tablet, "").status_code == 401
    assert push(bench.tablet, cookie).status_code == 401
    other = bench.client("192.168.7.99")
    bearer = {"Authorization": f"Bearer {token}", "Cookie": f"{TABLET}={token}"}
    for path in ("/engines/1", "/api/engines", "/live/now"):
        assert other.get(path, headers=bearer).status_code in (401, 403)


def test_a_feed_that_was_withdrawn_is_shut_out_at_once(bench: Bench) -> None:
    token = let_in(bench.here)
    assert push(bench.here, token).status_code == 202
    bench.here.headers["Origin"] = "http://192.168.7.20:8000"
    assert bench.here.post("/feeds/1/withdraw", data={"key": key()}).status_code == 303
    assert push(bench.here, token).status_code == 401
    assert bench.here.get("/api/live/channels").json() == {}


def test_feeds_are_let_in_at_the_shop_computer_only_and_their_token_is_told_once(bench: Bench) -> None:
    assert bench.pair().status_code == 303
    answer = bench.tablet.post("/api/live/feeds", json={"key": key(), "name": "Bench"})
    assert (answer.status_code, answer.json()["code"]) == (403, "shop-computer-only")
    assert bench.tablet.post("/feeds", data={"key": key(), "name": "Bench"}).status_code == 403
    page = bench.here.post("/feeds", data={"key": key(), "name": "Bench"}).text
    token = page.partition("<code>")[2].partition("</code>")[0]
    assert push(bench.here, token).status_code == 202
    assert token not in bench.here.get("/live").text
    held = bench.held()
    assert token.encode() not in held
    assert hashed(token).encode() in held


def test_too_many_pushes_in_a_second_are_turned_away(bench: Bench) -> None:
    token, sent = let_in(bench.here), probe()
    door: Any = bench.app.middleware_stack
    while not isinstance(door, FeedDoor):
        door = door.app
    door.rate.ticks = lambda: 50.0
    codes = [push(bench.here, token, sent.push()).status_code for _ in range(MOST_A_SECOND + 5)]
    assert codes[:MOST_A_SECOND] == [202] * MOST_A_SECOND
    assert set(codes[MOST_A_SECOND:]) == {429}
    assert push(bench.here, let_in(bench.here, "Other")).status_code == 202


@pytest.mark.parametrize(
    ("sent", "status"),
    [
        ({"epoch": "e", "sent": 1.0, "rows": {"b1": [[0.5, "6.5"]]}}, 422),
        ({"epoch": "e", "sent": 1.0, "rows": {"b1": [[0.5, None]]}}, 422),
        ({"epoch": "e", "sent": 1.0, "rows": {"b1": [[0.5]]}}, 422),
        ({"epoch": "e", "sent": 1.0, "rows": {"No such name!": [[0.5, 1.0]]}}, 422),
        ({"epoch": "e", "rows": {}}, 422),
        ({"epoch": "e" * 70_000, "sent": 1.0}, 413),
    ],
)
def test_what_is_no_push_is_a_problem_document(bench: Bench, sent: Any, status: int) -> None:
    answer = push(bench.here, let_in(bench.here), sent)
    assert (answer.status_code, answer.headers["content-type"]) == (status, "application/problem+json")
    assert bench.here.get("/api/live/channels").json() == {}


def test_not_a_number_is_no_push(bench: Bench) -> None:
    token = let_in(bench.here)
    bench.here.headers.pop("Origin", None)
    headers = {"Authorization": f"Bearer {token}", "Content-Type": "application/json"}
    sent = '{"epoch": "e", "sent": 1.0, "rows": {"b1": [[0.5, NaN]]}}'
    assert bench.here.post(FEED, content=sent, headers=headers).status_code == 422


def test_the_stream_ends_itself_before_it_is_cut(shop: Database, monkeypatch: pytest.MonkeyPatch) -> None:
    assert live.LASTS + 1.0 < TIME_LIMIT
    monkeypatch.setattr(live, "LASTS", 0.5)
    monkeypatch.setattr(live, "EVERY", 0.1)

    async def read() -> list[str]:
        return [one async for one in live._events(Hub())]

    with ThreadPoolExecutor(1) as apart:  # a browser of other tests may have its loop in this thread
        retry, *events = apart.submit(lambda: asyncio.run(read())).result()
    assert retry == "retry: 200\n\n"
    assert events
    assert all(json.loads(one.removeprefix("data: "))["channels"] == {} for one in events)


@pytest.mark.parametrize("cut", [False, True])
def test_streams_that_end_themselves_leave_the_log_empty(
    shop: Database, monkeypatch: pytest.MonkeyPatch, cut: bool
) -> None:
    """Four of them at the real server; one that is cut off as by the limit of a request would be in its log."""

    async def cut_off(_: Hub) -> AsyncIterator[str]:
        yield "retry: 200\n\n"
        raise TimeoutError

    monkeypatch.setattr(live, "LASTS", 0.5)
    if cut:
        monkeypatch.setattr(live, "_events", cut_off)

    def ends(server: str) -> bool:
        with urllib.request.urlopen(f"{server}/api/live/events", timeout=20) as stream:
            try:
                return bool(stream.read().startswith(b"retry: 200"))
            except (OSError, HTTPException):
                return False

    log = Logged()
    with serving(shop) as server, ThreadPoolExecutor(4) as tablets:
        logging.getLogger("uvicorn.error").addHandler(log)
        try:
            whole = list(tablets.map(ends, [server] * 4))
        finally:
            logging.getLogger("uvicorn.error").removeHandler(log)
    assert whole == [not cut] * 4
    assert bool(log.told) == cut


class Logged(logging.Handler):
    """What was logged meanwhile."""

    def __init__(self) -> None:
        super().__init__()
        self.told: list[logging.LogRecord] = []

    def emit(self, record: logging.LogRecord) -> None:
        self.told.append(record)


def test_the_newest_event_is_there_without_a_stream(bench: Bench) -> None:
    push(bench.here, let_in(bench.here))
    answer = bench.here.get("/live/now")
    assert answer.headers["content-type"] == "application/json"
    assert set(answer.json()["channels"]) == {"probe"}
