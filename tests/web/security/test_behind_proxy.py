"""A proxy on the same computer that says nothing of itself: the program is told of it at its start."""

from collections.abc import Callable

import pytest
from fastapi import FastAPI
from starlette.testclient import TestClient
from typer.testing import CliRunner

from app.server.cli import cli
from app.shop.store.database import Database
from app.web.application import create_app
from app.web.security.origin import PublicAddress
from app.web.security.pairing import MOST_WRONG, Pairing
from tests.shop.yard import key

HOME = "https://sync.example"


class Behind:
    """A shop behind a proxy, which passes requests on from this computer and leaves the host as it was."""

    def __init__(self, shop: Database) -> None:
        self.codes = Pairing(lambda: (f"{HOME}/",))
        self.app: FastAPI = create_app(shop, pairing=self.codes, public=PublicAddress.typed(HOME))

    def asks(self, origin: str = HOME, **headers: str) -> TestClient:
        """A tablet, whose requests come to the program over plain http from this computer's own address."""
        return TestClient(
            self.app,
            base_url="http://sync.example",
            headers={"Origin": origin, **headers},
            client=("127.0.0.1", 40000),
            follow_redirects=False,
        )


@pytest.fixture
def behind(shop: Database) -> Behind:
    return Behind(shop)


def pairs(tablet: TestClient, code: str) -> int:
    """The status of the answer to a code."""
    return tablet.post("/pair", data={"key": key(), "code": code, "name": "Bay 2"}).status_code


ONLY_HERE: tuple[Callable[[TestClient], object], ...] = (
    lambda to: to.post("/tablets/code").status_code,
    lambda to: to.post("/people", data={"key": key(), "name": "A", "pin": "2580", "again": "2580"}).status_code,
    lambda to: to.post("/programs", data={"key": key(), "name": "Bench", "days": "9", "read": "1"}).status_code,
)


def test_nothing_counts_as_made_at_the_shop_computer(behind: Behind, shop: Database) -> None:
    tablet = behind.asks()
    assert tablet.get("/").headers["location"] == "/pair"
    behind.codes.new()
    assert pairs(tablet, behind.codes.code) == 303
    tablet.cookies.set("__Host-evenbore_tablet", tablet.cookies["__Host-evenbore_tablet"])
    for ask in ONLY_HERE:
        assert ask(tablet) in (401, 403)
    here = TestClient(create_app(shop), base_url="http://127.0.0.1", client=("127.0.0.1", 40000))
    assert here.get("/tablets").status_code == 200  # where no proxy was told of, the same computer is let in


def test_a_tablet_is_paired_and_works_at_the_address_of_the_proxy(behind: Behind) -> None:
    behind.codes.new()
    tablet = behind.asks()
    answer = tablet.post("/pair", data={"key": key(), "code": behind.codes.code, "name": "Bay 2"})
    kept = answer.headers["set-cookie"]
    assert "Secure" in kept
    token = kept.partition(";")[0]
    assert behind.asks(Cookie=token).get("/").status_code == 200
    written = behind.asks(Cookie=token).post("/meters", data={"key": key(), "name": ""})
    assert written.status_code == 422
    for origin in ("http://sync.example", "https://sync.example:8000", "https://other.example"):
        assert behind.asks(origin, Cookie=token).post("/meters", data={"key": key(), "name": ""}).status_code == 403
    other = TestClient(behind.app, base_url="http://other.example", headers={"Cookie": token})
    assert other.get("/").status_code == 400


@pytest.mark.parametrize(("home", "says"), [(HOME, "Nothing to do"), ("http://sync.example", "Give the proxy a cert")])
def test_what_is_said_of_https_is_about_the_proxy(shop: Database, home: str, says: str) -> None:
    """The program's own certificate is never what a tablet sees there."""
    codes = Pairing(lambda: (f"{home}/",))
    app = create_app(shop, pairing=codes, public=PublicAddress.typed(home))
    tablet = TestClient(app, base_url="http://sync.example", headers={"Origin": home}, client=("127.0.0.1", 40000))
    codes.new()
    answer = tablet.post("/pair", data={"key": key(), "code": codes.code, "name": "Bay 2"}, follow_redirects=False)
    tablet.headers["Cookie"] = answer.headers["set-cookie"].partition(";")[0]
    for path, there in (("/trust", says), ("/programs", "at the address that the proxy answers")):
        page = tablet.get(path)
        assert page.status_code == 200
        assert there in page.text
        assert "--tls" not in page.text
        assert "</b>.Only" not in page.text, "two sentences run into one"


def test_wrong_codes_count_for_the_address_that_the_proxy_saw_last(behind: Behind) -> None:
    behind.codes.new()
    stranger = {"X-Forwarded-For": "10.9.8.7, 203.0.113.9"}
    for _ in range(MOST_WRONG):
        assert pairs(behind.asks(**stranger), "AAAA2222") == 422
    good = behind.codes.code
    assert pairs(behind.asks(**stranger), good) == 422
    assert pairs(behind.asks(**{"X-Forwarded-For": "203.0.113.9, 198.51.100.4"}), good) == 303


@pytest.mark.parametrize(
    ("typed", "home", "name"),
    [
        ("https://Sync.Example", "https://sync.example/", "sync.example"),
        ("http://192.168.7.20:8080/", "http://192.168.7.20:8080/", "192.168.7.20"),
        ("https://[2001:db8::7]:8443", "https://[2001:db8::7]:8443/", "2001:db8::7"),
    ],
)
def test_an_address_is_taken_as_tablets_open_it(typed: str, home: str, name: str) -> None:
    assert (PublicAddress.typed(typed).home, PublicAddress.typed(typed).name) == (home, name)


@pytest.mark.parametrize(
    "typed", ["sync.example", "ftp://sync.example", "https://", "https://sync.example/shop", "https://a@sync.example",
              "https://sync.example:0", "https://sync.example:99999", "https://sync.example?x=1"],
)  # fmt: skip
def test_what_is_no_address_is_refused(typed: str) -> None:
    outcome = CliRunner().invoke(cli, ["serve", "--behind-proxy", typed])
    assert outcome.exit_code == 2
    assert "Give the address as tablets open it" in outcome.output
