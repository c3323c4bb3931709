"""Nonsense sent to every page: whatever is typed is answered, and never with a mishap of the program's own."""

import importlib
import pkgutil
import random
import re
from collections.abc import Iterator

import pytest
from starlette.routing import Route
from starlette.testclient import TestClient

import app.web.pages
from app import places
from app.shop.procedure.phases import PHASES
from app.shop.store.database import Database, FileDatabase
from app.web.application import create_app
from tests.at_once import AtOnce
from tests.faults.bench import assert_whole
from tests.shop.yard import heat_soaked, key

HOME = "http://127.0.0.1"
FORMS_A_PAGE = 12
SEED = 7

NONSENSE = (
    *("", " ", "0", "-1", "1", "1.5", "6,25", "1e999", "-1e999", "NaN", "9" * 40, "٣", "1/0"),
    *("\x00", "\ud7ff", "é" * 200, "x" * 2000, "<b>bold</b>", "'; DROP TABLE reading; --", "{{ 7*7 }}", "../../etc"),
    *("31-\u200b7", "\u202e71-31", "a\nb", "\u2028", "\ufeff"),
    *("1 2 3 4", "1-2", "2-3", "A", "on", "turn", "again", "closing", "blade", "stop", "link", "L", "test cell"),
)


def field_names() -> list[str]:
    """Every name that a field of any template has, and those that routes ask for by themselves."""
    found = {
        "key",
        "serial",
        "value",
        "round",
        "bore",
        "kind",
        "place",
        "leaf",
        "amount",
        "way",
        "why",
        "why_code",
        "by",
        "version",
    }
    for template in places.templates().rglob("*.html"):
        for a, b in re.findall(r"""name="([a-z_]+)"|(?:field|select|choices)\('([a-z_]+)'""", template.read_text()):
            found.add(a or b)
    found |= {item.slug for phase in PHASES for item in phase.items}
    return sorted(found)


def nonsense_for(path: str, chance: random.Random) -> str:
    """The path with something in the place of each parameter, often something that exists."""

    def fill(match: re.Match[str]) -> str:
        if match[1] == "slug":
            return chance.choice([*(phase.slug for phase in PHASES), "nowhere"])
        return chance.choice(["1", "1", "1", "2", "0", "-1", str(2**70), "x"])

    return re.sub(r"{([a-z_]+)(?::[a-z]+)?}", fill, path)


@pytest.fixture
def browser(shop: Database) -> Iterator[TestClient]:
    heat_soaked(shop)
    headers, app = {"Origin": HOME}, create_app(shop)
    app.state.errands.apart, app.state.errands.patience = AtOnce(), 60.0  # a process for each piece takes a second
    with TestClient(app, base_url=HOME, headers=headers, raise_server_exceptions=False) as client:
        yield client


def pages(method: str) -> list[str]:
    """The paths of every page module that answer to ``method``."""
    modules = [
        importlib.import_module(found.name) for found in pkgutil.walk_packages(app.web.pages.__path__, "app.web.pages.")
    ]
    routes = [route for module in modules if hasattr(module, "router") for route in module.router.routes]
    return sorted({r.path for r in routes if isinstance(r, Route) and method in (r.methods or ())})


@pytest.mark.parametrize("method", ["POST", "GET"])
def test_no_page_answers_nonsense_with_a_mishap(browser: TestClient, shop: FileDatabase, method: str) -> None:
    chance = random.Random(SEED)
    names = field_names()
    found = pages(method)
    assert len(found) > 10, found
    answered = set()
    for page in found:
        for _ in range(FORMS_A_PAGE if method == "POST" else 4):
            fields = {name: chance.choice(NONSENSE) for name in chance.sample(names, chance.randint(0, 25))}
            if chance.random() < 0.8:
                fields["key"] = key()
            path = nonsense_for(page, chance)
            if method == "POST":
                answer = browser.post(path, data=fields, follow_redirects=False)
            else:
                answer = browser.get(path, params=dict(list(fields.items())[:5]), follow_redirects=False)
            assert answer.status_code < 500, (method, path, fields, answer.text[-2000:])
            answered.add(answer.status_code)
    assert answered >= ({404, 422} if method == "POST" else {200, 404})
    assert_whole(shop.file)
