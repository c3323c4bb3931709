"""The example of a bench program, written from the description alone, takes engines through visits: in a process with
the server, and over https with a token from another address."""

import os
import re
import socket
import ssl
import threading
import time
from collections.abc import Iterator
from contextlib import contextmanager
from datetime import UTC, datetime
from pathlib import Path
from typing import Any

import httpx2
import pytest
from starlette.testclient import TestClient

from app.server.door import server_of
from app.server.network import lan_address, numbers_of
from app.server.tls import secured
from app.shop.commands.access.programs import let_one_in
from app.shop.commands.access.scopes import AccessScope
from app.shop.store.database import Database
from app.web.application import create_app
from tests.shop.yard import key
from tests.web.api import bench_program
from tests.web.api.bench_engine import FOUR, V8, Clock, engine
from tests.web.api.bench_program import BenchProgram, RefusedError
from tests.web.api.stand import MadeUpStand

MOST_LINES = 150
ENGINE = {"serial": "31-0217", "displacement": 3.9, "idle_speed_rpm": 850}
EIGHT = {**ENGINE, "layout": {"banks": [{"bores": [1, 2, 3, 4]}, {"bores": [5, 6, 7, 8]}], "sensor": 8}}
SMALL = {**ENGINE, "layout": {"banks": [{"bores": [1, 2, 3, 4]}]}}


def program_at(client: httpx2.Client, clock: Clock, small: bool, seed: int, **how: Any) -> BenchProgram:
    stand = MadeUpStand(engine(FOUR if small else V8, seed=seed, **how), clock)
    return BenchProgram(client, stand, by="KM", signs="Foreman of the yard")


def test_the_example_knows_the_records_by_their_description_alone() -> None:
    text = Path(bench_program.__file__).read_text()
    assert len(text.splitlines()) < MOST_LINES
    assert set(re.findall(r"^(?:import|from) (\w+)", text, re.MULTILINE)) == {"time", "uuid", "typing", "httpx2"}


@pytest.mark.parametrize(("small", "seed"), [(True, 3), (True, 8), (False, 22)])
def test_the_example_takes_an_engine_from_register_to_sign_off(shop: Database, small: bool, seed: int) -> None:
    clock = Clock()
    with TestClient(create_app(shop, clock=clock), base_url="http://127.0.0.1") as client:
        program = program_at(client, clock, small, seed, link_late=0.0 if small else 6.0)
        visit_id = program.visit(SMALL if small else EIGHT, "1184")
        told = client.get(f"/api/visits/{visit_id}/story").json()
    assert told["visit"]["sign_off"]["name"] == "Foreman of the yard"
    assert all(phase["done"] for phase in told["visit"]["phases"])
    assert {"record_checks", "add_reading", "advice", "sign_off"} <= set(program.done)
    values = program.stand.engine.gaps.values()  # type: ignore[attr-defined]
    assert max(values) / min(values) < 1.25


@contextmanager
def over_https(shop: Database, clock: Clock, folder: Path) -> Iterator[tuple[str, ssl.SSLContext]]:
    """The real server open to the network by https: its address there, and who trusts its authority alone."""
    reached = lan_address()
    if reached is None or reached.startswith("127."):
        assert "CI" not in os.environ, "this computer has no address but its own"
        pytest.skip("this computer has no address but its own")
    with socket.create_server(("0.0.0.0", 0)) as door:
        home = f"https://{reached}:{door.getsockname()[1]}"
        numbers = numbers_of("0.0.0.0")
        with secured(folder, door, f"{home}/", frozenset({"localhost"}), numbers, datetime.now(UTC)) as all_of_it:
            app = create_app(shop, clock=clock, trusting=all_of_it.trust)
            server, own_door = server_of(app, door, all_of_it.file)
            thread = threading.Thread(target=server.run, kwargs={"sockets": [own_door]})
            thread.start()
            while thread.is_alive() and not server.started:
                time.sleep(0.01)
            trusts = ssl.create_default_context(cadata=ssl.DER_cert_to_PEM_cert(all_of_it.trust.authority))
            trusts.check_hostname = False  # the authority vouches for private addresses, and a test machine has any
            try:
                yield home, trusts
            finally:
                server.should_exit = True
                thread.join()


def test_the_example_runs_with_a_token_over_https_from_another_address(shop: Database, tmp_path: Path) -> None:
    clock = Clock()
    token = let_one_in(shop, key(), "Bench 2", {*AccessScope}, 30, clock())
    with over_https(shop, clock, tmp_path / "https") as (home, trusts):
        with httpx2.Client(base_url=home, verify=trusts, timeout=60) as nobody:
            assert nobody.get("/api/engines").status_code == 401, "it counts as the shop computer"
        headers = {"Authorization": f"Bearer {token}"}
        with httpx2.Client(base_url=home, verify=trusts, timeout=60, headers=headers) as client:
            program = program_at(client, clock, True, 3)
            visit_id = program.visit(SMALL, "1184")
            signed = program.get(f"/api/visits/{visit_id}")["sign_off"]
            assert signed["name"] == "Foreman of the yard"
            told = program.get("/api/changes?most=500")["changes"]
            named = {one["program"] for one in told if one["visit_id"] == visit_id}
            assert named == {"Bench 2"}
    assert program.done[-1] == "sign_off"


def test_a_stop_ends_the_example_with_its_code(shop: Database) -> None:
    clock = Clock()
    with TestClient(create_app(shop, clock=clock), base_url="http://127.0.0.1") as client:
        program = program_at(client, clock, True, 3)
        program.stand.shows["oil-pressure"] = 20.0  # type: ignore[attr-defined]
        with pytest.raises(RefusedError, match="end_stop"):
            program.visit(SMALL, "1184")
