"""A shop open to the network for the tests of the rules: the shop computer, a tablet, a customer who is taken out."""

import asyncio
from collections.abc import Callable
from datetime import UTC, datetime
from pathlib import Path
from typing import Any

import pytest
from fastapi import FastAPI
from starlette.testclient import TestClient
from starlette.types import Receive, Scope, Send

from app.shop.commands import engines
from app.shop.stopwatch import Stopwatch
from app.shop.store.database import FileDatabase
from app.shop.store.upgrade import open_shop
from app.web import context
from app.web.application import create_app
from app.web.security import middleware
from app.web.security.pairing import Pairing
from tests.shop.yard import FACTS, engine, key, ready_to_sign, visit

HOME = "http://192.168.7.20:8000"
PIN = "2580"


class Bench:
    """A shop open to the network: the shop computer, and a tablet that is not paired yet."""

    def __init__(self, folder: Path) -> None:
        self.folder = folder
        self.overrides: dict[Callable[..., Any], Callable[..., Any]] = {}
        self.templates = context.environment()
        self.seconds = 1000.0
        self.now = datetime.now(UTC)  # stands still, so that a wait is as long as it was told on a slow machine too

    def start(self) -> None:
        self.shop: FileDatabase = open_shop(self.folder)
        self.shop.stopwatch = Stopwatch(lambda: self.seconds)
        ready_to_sign(self.shop)
        self.codes = Pairing(lambda: (f"{HOME}/",), ticks=lambda: self.seconds)
        self.app: FastAPI = create_app(self.shop, clock=lambda: self.now, pairing=self.codes)
        self.app.state.templates = self.templates
        self.app.dependency_overrides = self.overrides
        self.app.add_api_route("/slow", slow)
        self.here = self.client("127.0.0.1")
        self.tablet = self.client("192.168.7.31")

    def client(self, address: str) -> TestClient:
        headers = {"Origin": HOME}
        return TestClient(self.app, base_url=HOME, headers=headers, client=(address, 40000), follow_redirects=False)

    def give(self, code: str) -> Any:
        return self.tablet.post("/pair", data={"key": key(), "code": code, "name": "test cell"})

    def pair(self) -> Any:
        self.codes.new()
        return self.give(self.codes.code)

    def list_somebody(self) -> None:
        assert (
            self.here.post("/people", data={"key": key(), "name": "Kim", "pin": PIN, "again": PIN}).status_code == 303
        )

    def sign(self, pin: str, **headers: str) -> str:
        sent = {"key": key(), "name": "Kim", "pin": pin}
        return str(self.here.post("/visits/1/sign-off", data=sent, headers=headers).text)

    def held(self) -> bytes:
        self.shop.close()
        return self.shop.file.read_bytes()


async def slow() -> str:
    await asyncio.sleep(0.3)
    return "late"


def vars_of(facts: engines.EngineFacts) -> dict[str, Any]:
    return {name: getattr(facts, name) for name in facts.__dataclass_fields__}


OWNER = "Ottokar Wendelmayer Guldbransen"


def take_out(bench: Bench) -> None:
    """A customer is entered, changed and taken out; the readings stay: they hang on the engine."""
    named = {**vars_of(FACTS), "customer": OWNER, "vehicle": "Zylinderwagen of Ottokar"}
    engines.change(bench.shop, 1, 1, engines.EngineFacts(**named))
    visit(bench.shop, engine(bench.shop, serial="another"))
    engines.change(bench.shop, 1, 2, engines.EngineFacts(**{**named, "customer": "C-104"}))
    engines.change(bench.shop, 1, 3, engines.EngineFacts(**{**named, "customer": "", "vehicle": ""}))


def words_left(folder: Path) -> set[str]:
    """The words of the customer that stand in any file of a folder, in whatever case."""
    files = [file.read_bytes().lower() for file in folder.rglob("*") if file.is_file()]
    words = (*OWNER.lower().split(), "zylinderwagen")
    return {word for word in words if any(word.encode() in file for file in files)}


async def straight_on(self: Any, scope: Scope, receive: Receive, send: Send) -> None:
    """What a guard is when it is off."""
    await self.app(scope, receive, send)


Off = Callable[[pytest.MonkeyPatch, Bench], None]
Holds = Callable[[Bench], bool]


def without(owner: Any, name: str, instead: Any) -> Off:
    return lambda patch, bench: patch.setattr(owner, name, instead)


def without_dependency(dependency: Callable[..., Any]) -> Off:
    return lambda patch, bench: bench.overrides.update({dependency: lambda: None})


class Rules(dict[str, tuple[Holds, Off]]):
    """Rules by name: what holds with each, and how it is switched off."""

    def rule(self, off: Off) -> Callable[[Holds], Holds]:
        def named(holds: Holds) -> Holds:
            self[holds.__name__] = (holds, off)
            return holds

        return named

    def holds(self, name: str, bench: Bench, monkeypatch: pytest.MonkeyPatch, *, on: bool) -> bool:
        holds, off = self[name]
        monkeypatch.setattr(
            middleware.LimitedTime.__init__, "__defaults__", (0.1 if name == "a_request_has_a_longest_time" else 30,)
        )
        if not on:
            off(monkeypatch, bench)
        bench.start()
        return holds(bench)
