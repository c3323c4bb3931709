"""Bodies that no bench program sends: each is refused at the field at fault, soon, and costs nobody else."""

import json
import time
from collections.abc import Callable, Iterator
from typing import Any

import pytest
from starlette.testclient import TestClient

from app.shop.exchange import imports
from app.shop.json_bounds import Bounds
from app.shop.store.database import Database, FileDatabase
from app.web.application import create_app
from app.web.error_responses import PROBLEM
from app.web.security.middleware import JSON_BOUNDS
from tests.faults.bench import assert_whole
from tests.shop.yard import key
from tests.web.api.writes import FACTS, FITTED, WRITES, cold, hot_read, nothing

SECONDS = 2.0
"""The most of the processor's time that any body may take: what else the machine does is left out."""

HERE = "@"
SOLID = {"bore_diameter_mm": 46.5, "closed_angle_deg": 6.5, "stop_pitch_mm": 0.8}
SETTLED = {"older": 1, "newer": 2, "counts": "older", "by": "KM"}
KINDS: list[tuple[Callable[[Database], None], str, dict[str, Any]]] = [
    *((come_so_far, path, body) for come_so_far, path, body, _ in WRITES),
    (nothing, "/api/engines", {**FACTS, **FITTED, "hardware": SOLID}),
    (hot_read, "/api/visits/1/phases/part-throttle-bank-balance/rounds", {"lever_thou": 20}),
    (
        hot_read,
        "/api/visits/1/phases/heat-soaked-recheck/readings/settled",
        SETTLED,
    ),
    (cold, "/api/visits/1/sign-off", {"name": "Foreman of the yard"}),
]
NUMBERS = ("1e999", "-1e999", "NaN", "Infinity", "9" * 400, "1" + "0" * 30, "-1", "0.5", "9" * 100_000)
ODD = ('"\\ud800"', '"\\u0000"', "[" * 500 + "]" * 500, "{}", "[]", "null", "true", "[" + "{}," * 1_500 + "{}]")
GREAT = (
    *("[" * 100_000, "[" + "{}," * 9_700 + "{}]", "[" + "{}," * 300_000 + "{}]", "[" + "[]," * 300_000 + "[]]"),
    *("1" * 900_000, '"' + "\\n" * 400_000 + '"', "{" + ",".join(f'"{n}":0' for n in range(60_000)) + "}"),
)


@pytest.fixture
def client(shop: Database) -> Iterator[TestClient]:
    app = create_app(shop)
    with TestClient(app, base_url="http://127.0.0.1", raise_server_exceptions=False) as opened:
        yield opened


def places(body: Any, at: tuple[str | int, ...] = ()) -> Iterator[tuple[tuple[str | int, ...], Any]]:
    """Every value inside a body, and where it stands."""
    for name, value in body.items() if isinstance(body, dict) else enumerate(body) if isinstance(body, list) else ():
        yield (*at, name), value
        yield from places(value, (*at, name))


def with_raw(body: Any, place: tuple[str | int, ...], raw: str) -> bytes:
    """The body's text with ``raw`` in the place of one value."""
    changed = inside = json.loads(json.dumps(body))
    for step in place[:-1]:
        inside = inside[step]
    inside[place[-1]] = HERE
    return json.dumps(changed).replace(f'"{HERE}"', raw).encode()


def send(client: TestClient, path: str, body: bytes) -> Any:
    """The answer, after a look at how soon it came."""
    began = time.process_time()
    answer = client.post(path, content=body, headers={"content-type": "application/json"})
    assert time.process_time() - began < SECONDS, (path, body[:200])
    assert answer.status_code in (201, 400, 409, 422, 413), (path, body[:200], answer.status_code, answer.text[:500])
    if answer.status_code != 201:
        assert answer.headers["content-type"] == PROBLEM
        assert len(answer.content) < 20_000
    return answer


@pytest.mark.parametrize(("come_so_far", "path", "body"), KINDS)
def test_no_value_of_any_field_breaks_the_interface(
    client: TestClient, shop: FileDatabase, come_so_far: Callable[[FileDatabase], None], path: str, body: dict[str, Any]
) -> None:
    come_so_far(shop)
    for place, value in places({**body, "key": key()}):
        number = isinstance(value, int | float) and not isinstance(value, bool)
        for raw in (*NUMBERS, *ODD):
            answer = send(client, path, with_raw({**body, "key": key()}, place, raw))
            if number and raw in NUMBERS[:4]:
                at_fault = [fault["pointer"] for fault in answer.json()["errors"]]
                assert (answer.status_code, at_fault) == (422, ["#/" + "/".join(map(str, place))]), raw[:20]
    assert_whole(shop.file)


@pytest.mark.parametrize("raw", GREAT)
@pytest.mark.parametrize("path", ["/api/engines", "/api/engines/1/visits", "/api/nowhere"])
def test_a_body_of_a_megabyte_is_answered_soon(client: TestClient, path: str, raw: str) -> None:
    body = b'{"visits":' + raw.encode() + b"}"
    began = time.process_time()
    answer = client.post(path, content=body, headers={"content-type": "application/json"})
    assert time.process_time() - began < SECONDS
    assert answer.status_code in (400, 404, 422)
    assert answer.headers["content-type"] == PROBLEM


@pytest.mark.parametrize(
    ("text", "held"),
    [
        ('{"a": [1, 2, "]}\\",,,{{", {}]} ', True),
        ("", True),
        ('"[[[["', True),
        ("[" * 3, True),
        ("[" * 4, False),
        ("[[]]" * 2, True),
        ("[" + "{}," * 4 + "{}]", False),
        ("{" + '"a":1,' * 2 + '"b":1}', True),
        ("{" + '"a":1,' * 3 + '"b":1}', False),
        ("[" + "1," * 9 + "1]", True),
        ("[" + "1," * 10 + "1]", False),
        ('{"a": "' + "\\n" * 30_000 + '"' + ", {}" * 9 + "}", False),
        ('{"a": "' + "x" * 300_000 + '"' + ", {}" * 9 + "}", False),
        ('["' + '","' * 3_000 + '"' + ", {}" * 9 + "]", False),
    ],
)
def test_bounds_are_counted_outside_of_strings(text: str, held: bool) -> None:
    assert Bounds(depth=3, parts=5, fields=3, values=9).hold(text.encode()) is held


@pytest.mark.parametrize("bounds", [imports.BOUNDS, JSON_BOUNDS])
@pytest.mark.parametrize("unit", ["{},", "[],", '"",', '"a', "\\", '"\\"', "0,", "[", '{"', " ", "é"])
def test_counting_itself_is_soon_done(bounds: Bounds, unit: str) -> None:
    text = (unit * (imports.LARGEST // len(unit.encode()))).encode()
    began = time.process_time()
    bounds.hold(text)
    assert time.process_time() - began < SECONDS
