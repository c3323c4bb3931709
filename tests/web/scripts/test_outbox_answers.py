"""What the server tells an outbox: the key of what it stored, the page after it, and why it refused the rest."""

import importlib
import inspect
import pkgutil
import re
from collections.abc import Callable
from datetime import datetime
from urllib.parse import unquote

import pytest
from sqlmodel import func, select
from starlette.routing import Route
from starlette.testclient import TestClient

import app.web.pages
from app.places import static
from app.shop.commands import moves
from app.shop.commands.moves import NewMove
from app.shop.procedure.phases import COLD_PRESET, HEAT_SOAKED
from app.shop.procedure.requirements import Waiting
from app.shop.reasons import Reason, because
from app.shop.rejections import Rejection
from app.shop.store.database import Database
from app.shop.store.tables import CheckRow, MoveRow, Override, ReadingRow, RoundRow
from app.web.application import create_app
from app.web.context import NEXT, OUTBOX, REFUSED, SAVED
from app.wording.reasons import in_words
from tests.shop.yard import AT, engine, heat_soaked, key, read, read_round, visit, visit_record

ORIGIN = "http://127.0.0.1"
ROWS = (ReadingRow, RoundRow, MoveRow, CheckRow, Override)
HERE = f"/visits/1/{HEAT_SOAKED.slug}"


def rows(shop: Database) -> int:
    """How many rows of evidence a shop has."""
    with shop.reading() as session:
        return sum(session.exec(select(func.count()).select_from(table)).one() for table in ROWS)


def reading(**changes: str) -> dict[str, str]:
    return {"round": "2", "bore": "1", "kind": "turn", "value": "6.5", "by": "KM", **changes}


def hot(shop: Database) -> None:
    heat_soaked(shop)


def one_read(shop: Database) -> None:
    heat_soaked(shop)
    read(shop, 1, HEAT_SOAKED)


def all_read(shop: Database) -> None:
    heat_soaked(shop)
    read_round(shop, 1, HEAT_SOAKED)


def moved(shop: Database) -> None:
    one_read(shop)
    turn = NewMove(HEAT_SOAKED.slug, "stop", "A", None, None, 0.125, (), True, "KM")
    moves.make(shop, 1, key(), turn, AT)


def cold(shop: Database) -> None:
    visit(shop, engine(shop))


WRITES: list[tuple[Callable[[Database], None], str, dict[str, str]]] = [
    (hot, f"{HERE}/readings", reading()),
    (hot, f"{HERE}/readings", reading(value="", skip="1", why="Cannot be reached")),
    (one_read, f"{HERE}/readings", reading(supersedes="newest")),
    (all_read, f"{HERE}/rounds", {}),
    (
        one_read,
        f"{HERE}/moves",
        {"kind": "stop", "place": "A", "amount": "0.125", "way": "in", "by": "KM", "advised": "1"},
    ),
    (moved, f"{HERE}/moves/taken-back", {"move": "1", "by": "KM"}),
    (moved, f"{HERE}/moves", {"changes": "1", "kind": "stop", "place": "B", "amount": "0.25", "way": "in", "by": "KM"}),
    (hot, f"{HERE}/checks", {"coolant": "84", "by": "KM"}),
    (cold, f"/visits/1/{COLD_PRESET.slug}/checks", {"by": "KM"}),
]


@pytest.mark.parametrize(("prepare", "path", "fields"), WRITES)
def test_a_write_sent_again_is_answered_alike_and_stored_once(
    client: TestClient, shop: Database, prepare: Callable[[Database], None], path: str, fields: dict[str, str]
) -> None:
    prepare(shop)
    fields = {**fields, "key": key()}
    if "supersedes" in fields:
        fields["supersedes"] = str(visit_record(shop, 1).last_reading)
    if path.endswith(f"{COLD_PRESET.slug}/checks"):
        item = next(i for i in COLD_PRESET.items if i.kind == "number")
        fields[item.slug] = f"{(item.low + item.high) / 2:g}"
    before = rows(shop)
    first = client.post(path, data=fields, headers={OUTBOX: "1"})
    stored = rows(shop)
    again = client.post(path, data=fields, headers={OUTBOX: "1"})
    assert [a.status_code for a in (first, again)] == [204, 204], unquote(again.headers.get(REFUSED, ""))
    assert [a.headers[SAVED] for a in (first, again)] == [fields["key"]] * 2
    assert first.headers[NEXT].startswith("/visits/1/")
    assert stored > before
    assert rows(shop) == stored


def test_without_an_outbox_a_browser_is_sent_on_and_the_key_is_echoed_too(client: TestClient, shop: Database) -> None:
    heat_soaked(shop)
    fields = {**reading(), "key": key()}
    answer = client.post(f"{HERE}/readings", data=fields)
    assert answer.status_code == 303
    assert answer.headers[SAVED] == fields["key"]


@pytest.mark.parametrize(
    ("path", "fields", "reason"),
    [
        (f"{HERE}/readings", reading(value="999"), because(Rejection.OUT_OF_RANGE, low=0, high=40, unit="kg/h")),
        (f"{HERE}/readings", reading(round="9"), because(Rejection.ANOTHER_ROUND, round=2)),
        (
            f"{HERE}/moves",
            {"kind": "stop", "place": "A", "amount": "90", "by": "KM"},
            because(Rejection.TURNS_OUT_OF_RANGE, most=4),
        ),
        (f"{HERE}/rounds", {}, because(Rejection.ROUND_IN_PROGRESS, round=2, bore=1)),
        ("/visits/1/no-such-phase/readings", reading(), because(Waiting.NO_SUCH_PHASE)),
        ("/visits/99/heat-soaked-recheck/readings", reading(), because(Rejection.NO_SUCH_VISIT)),
    ],
)
def test_a_refusal_says_why_and_echoes_no_key(
    client: TestClient, shop: Database, path: str, fields: dict[str, str], reason: Reason
) -> None:
    heat_soaked(shop)
    before = rows(shop)
    answer = client.post(path, data={**fields, "key": key()}, headers={OUTBOX: "1"})
    assert 400 <= answer.status_code < 500
    assert unquote(answer.headers[REFUSED]) == in_words(reason)
    assert SAVED not in answer.headers
    assert rows(shop) == before


def test_a_correction_may_name_the_key_of_what_it_corrects(client: TestClient, shop: Database) -> None:
    heat_soaked(shop)
    first = {**reading(), "key": key()}
    client.post(f"{HERE}/readings", data=first)
    second = {**reading(value="6.75", supersedes=first["key"]), "key": key()}
    for _ in range(2):
        assert client.post(f"{HERE}/readings", data=second).status_code == 303
    assert visit_record(shop, 1).rounds[-1].latest[1].value == 6.75
    for unknown in (key(), "no-key"):
        answer = client.post(f"{HERE}/readings", data={**reading(supersedes=unknown), "key": key()})
        assert answer.status_code in (409, 422)
    assert len(visit_record(shop, 1).rounds[-1].entered) == 2


@pytest.mark.parametrize(
    ("held", "at"),
    [
        ("300.5", "2026-11-25T09:54:59.500+00:00"),
        ("0", AT),
        ("-60", AT),
        ("nan", AT),
        ("soon", AT),
        ("1e9", AT),
    ],
)
def test_what_was_held_is_dated_to_when_it_was_done(shop: Database, held: str, at: str) -> None:
    heat_soaked(shop)
    dated = create_app(shop, clock=lambda: datetime.fromisoformat(AT))
    with TestClient(dated, base_url=ORIGIN, headers={"Origin": ORIGIN}) as client:
        answer = client.post(f"{HERE}/readings", data={**reading(), "key": key()}, headers={OUTBOX: held})
        assert answer.status_code == 204
    assert visit_record(shop, 1).rounds[-1].entered[0].at == at


def _source(endpoint: Callable[..., object]) -> str:
    """What an endpoint does, with the functions of its own module that it hands the work to."""
    names = inspect.unwrap(endpoint).__code__.co_names
    own = inspect.getmembers(inspect.getmodule(endpoint), inspect.isfunction)
    handed = [one for name, one in own if name in names and one.__module__ == endpoint.__module__]
    return inspect.getsource(endpoint) + "".join(inspect.getsource(one) for one in handed)


def test_every_form_of_a_visit_is_answered_so_that_it_can_leave_the_outbox() -> None:
    names = (static() / "status_bar.js").read_text()
    modules = [
        importlib.import_module(found.name) for found in pkgutil.walk_packages(app.web.pages.__path__, "app.web.pages.")
    ]
    routes = [route for module in modules if hasattr(module, "router") for route in module.router.routes]
    posts = [
        route
        for route in routes
        if isinstance(route, Route) and route.path.startswith("/visits/") and "POST" in (route.methods or ())
    ]
    assert len(posts) >= 8
    for route in posts:
        assert "return page.saved(" in _source(route.endpoint), route.path
        assert re.search(rf'"?{route.path.rsplit("/")[-1]}"?: "write-', names), f"the bar has no word for {route.path}"


def test_a_question_is_not_a_saved_write(client: TestClient, shop: Database) -> None:
    heat_soaked(shop)
    answer = client.post(f"{HERE}/readings", data={**reading(value="", skip="1"), "key": key()})
    assert answer.status_code == 303
    assert SAVED not in answer.headers
