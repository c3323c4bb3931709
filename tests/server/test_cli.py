"""The two commands, as typed."""

import json
import os
import re
import shutil
import signal
import socket
import subprocess
import sys
import time
import urllib.error
import urllib.request
import weakref
from pathlib import Path

import pytest
import uvicorn
from fastapi import FastAPI
from typer.testing import CliRunner

from app import places
from app.server import cli, network, pairing_codes
from app.server.place import ShopPlace
from app.shop.store.codes import Damage, Unavailable
from app.shop.store.upgrade import open_shop
from app.web.security.origin import PublicAddress
from app.web.security.pairing import Pairing
from app.wording.message import say
from app.wording.program import cli as words
from app.wording.program.store import DAMAGE, UNAVAILABLE
from tests.shop.yard import heat_soaked
from tests.started import COMMAND, START_SECONDS, Started, ended, refused, started
from tests.waiting import until


@pytest.mark.slow
def test_a_demonstration_is_thrown_away(tmp_path: Path) -> None:
    with started("demo", "--port", "0", command=COMMAND, env={**os.environ, "TMPDIR": str(tmp_path)}) as program:
        assert re.match(r"http://127\.0\.0\.1:\d+/$", program.address)
        (folder,) = tmp_path.iterdir()
        assert (folder / "shop.db").exists()
        assert "<h1" in program.fetch("/")
        assert program.stop() == 0
    assert list(tmp_path.iterdir()) == []


def live_bores(program: Started) -> set[int | None]:
    """The bores of which live values come in, None for those of the whole engine."""
    channels = json.loads(program.fetch("/api/live/channels")).values()
    return {one["bore"] for one in channels if one["state"] == "live"}


@pytest.mark.slow
def test_a_demonstration_with_a_folder_is_kept_and_filled_once_and_shows_live_values(tmp_path: Path) -> None:
    boards = []
    for _ in range(2):
        with started("demo", "--port", "0", "--data", str(tmp_path / "kept")) as program:
            boards.append(program.fetch("/").count('class="board-row"'))
            until(lambda: live_bores(program) == {None, *range(1, 9)}, 60)
            assert program.stop() == 0
    assert sorted(file.name for file in (tmp_path / "kept").iterdir()) == ["shop.db", "shop.lock"]
    assert boards[0] == boards[1] > 0


def test_a_demonstration_may_be_on_a_database_server(monkeypatch: pytest.MonkeyPatch) -> None:
    shown: list[tuple[ShopPlace, bool]] = []
    monkeypatch.setattr(cli, "run", lambda at, *_, demonstration, **_how: shown.append((at, demonstration)))
    address = "postgresql://runs@/tryout"
    assert CliRunner().invoke(cli.cli, ["demo", "--data", address]).exit_code == 0
    assert [(at.server, demonstration) for at, demonstration in shown] == [(address, True)]


def test_a_shop_of_one_s_own_begins_empty(tmp_path: Path) -> None:
    with started("serve", "--port", "0", "--data", str(tmp_path)) as program:
        assert 'class="board-row"' not in program.fetch("/")
        assert program.stop() == 0
    assert (tmp_path / "shop.db").exists()


def test_a_shop_of_one_s_own_lives_in_the_usual_place(tmp_path: Path) -> None:
    usual = {**os.environ, "HOME": str(tmp_path), "XDG_DATA_HOME": str(tmp_path / "data")}
    with started("serve", "--port", "0", command=COMMAND, env=usual) as program:
        assert program.stop() == 0
    asked = subprocess.run(
        [sys.executable, "-c", "from app.places import default_data_folder; print(default_data_folder())"],
        env=usual,
        check=True,
        capture_output=True,
        text=True,
    )
    assert tmp_path in Path(asked.stdout.strip()).parents
    assert (Path(asked.stdout.strip()) / "shop.db").exists()


def test_a_stop_that_comes_before_the_server_listens_is_not_lost(monkeypatch: pytest.MonkeyPatch) -> None:
    """In a callback of a weak reference an exception is printed and ignored, and an interrupt is one."""
    told: list[bool] = []

    def told_to_stop_meanwhile(*_: object) -> list[str]:
        thing = set[int]()
        _watch = weakref.ref(thing, lambda _: signal.raise_signal(signal.SIGTERM))
        del thing
        return []

    def told_and_closed(server: uvicorn.Server, sockets: list[socket.socket]) -> None:
        told.append(server.should_exit)
        for one in sockets:
            one.close()

    monkeypatch.setattr(cli, "addresses", told_to_stop_meanwhile)
    monkeypatch.setattr(uvicorn.Server, "run", told_and_closed)
    before = signal.signal(signal.SIGTERM, signal.default_int_handler)
    try:
        with socket.create_server(("127.0.0.1", 0)) as door, pytest.raises(KeyboardInterrupt):
            cli.answer(FastAPI(), door, "127.0.0.1")
        assert signal.getsignal(signal.SIGTERM) is signal.default_int_handler
    finally:
        signal.signal(signal.SIGTERM, before)
    assert told == [True]


def test_the_shop_is_open_once(tmp_path: Path) -> None:
    with started("serve", "--port", "0", "--data", str(tmp_path)):
        assert say(UNAVAILABLE[Unavailable.OPEN_ELSEWHERE], folder=tmp_path) in refused(
            "serve", "--port", "0", "--data", str(tmp_path)
        )


def shop_with_a_visit(folder: Path) -> None:
    """A closed shop in ``folder`` with one visit open."""
    shop = open_shop(folder)
    heat_soaked(shop)
    shop.close()


def did(*arguments: str) -> str:
    """What a command that succeeds prints."""
    found = ended(*arguments)
    assert found.returncode == 0, found
    return found.stdout


def answered(address: str, path: str = "", **headers: str) -> tuple[int, str]:
    """Status and body of a request to a server that may say no; a POST when it has an Origin."""
    method = "POST" if "Origin" in headers else "GET"
    request = urllib.request.Request(address + path, headers=headers, method=method)
    try:
        with urllib.request.urlopen(request, timeout=10) as answer:
            return answer.status, answer.read().decode()
    except urllib.error.HTTPError as error:
        with error:
            return error.code, error.read().decode()


def test_a_damaged_shop_has_a_page_that_says_the_way_out(tmp_path: Path) -> None:
    """And its one button does it: the copy is in place, the damaged file aside, and the board opens."""
    data = ("--data", str(tmp_path))
    shop_with_a_visit(tmp_path)
    (saved,) = did("backup", *data).splitlines()
    assert saved.startswith(say(words.BACKUP_SAVED, file=tmp_path / "copies" / "by-hand-"))
    (tmp_path / "shop.db").write_bytes(b"not a data base.")
    with started("serve", "--port", "0", *data) as program:
        status, page = answered(program.address, "visits/1")
        assert status == 503
        assert "The records are damaged" in page
        assert "evenbore restore" in page
        status, page = answered(program.address, "put-back", Origin=program.address.rstrip("/"))
        assert status == 200
        assert "Backup restored" in page
        deadline = time.monotonic() + START_SECONDS
        while say(words.OPEN_AT, address="") not in (program.process.stdout or sys.stdin).readline():
            assert time.monotonic() < deadline
        assert 'href="/visits/1' in program.fetch("/")
        assert program.stop() == 0
    (aside,) = (tmp_path / "set-aside").iterdir()
    assert (aside / "shop.db").read_bytes() == b"not a data base."


def test_a_damaged_shop_is_told_in_plain_words_and_left_alone(tmp_path: Path) -> None:
    (tmp_path / "shop.db").touch()
    with started("serve", "--port", "0", "--data", str(tmp_path)) as program:
        assert say(DAMAGE[Damage.EMPTY_FILE]) in program.said
        assert f"evenbore restore --data {tmp_path} --empty" in program.said
        assert program.stop() == 0
    assert (tmp_path / "shop.db").read_bytes() == b""


def test_backup_restore_and_check(tmp_path: Path) -> None:
    data = ("--data", str(tmp_path / "shop"))
    shop_with_a_visit(tmp_path / "shop")
    with started("serve", "--port", "0", *data) as program:
        saved = did("backup", *data, "--to", str(tmp_path / "stick.db"))
        assert saved.strip() == say(words.BACKUP_SAVED, file=tmp_path / "stick.db")
        assert did("check", *data).splitlines()[-1] == say(words.NO_PROBLEMS)
        already = say(UNAVAILABLE[Unavailable.OPEN_ELSEWHERE], folder=tmp_path / "shop")
        assert refused("restore", *data, str(tmp_path / "stick.db")).strip() == already
        assert program.stop() == 0
    shutil.rmtree(tmp_path / "shop")
    restored = did("restore", *data, str(tmp_path / "stick.db"))
    assert restored.splitlines()[0] == say(words.RESTORED, file=tmp_path / "stick.db")
    with started("serve", "--port", "0", *data) as program:
        assert 'href="/visits/1' in program.fetch("/")
        assert program.stop() == 0
    assert "auto-" in did("restore", *data)


@pytest.mark.parametrize("command", ["backup", "check"])
def test_a_folder_without_a_shop_is_told(command: str, tmp_path: Path) -> None:
    no_shop = say(UNAVAILABLE[Unavailable.NO_SHOP], folder=tmp_path)
    assert refused(command, "--data", str(tmp_path)).strip() == no_shop


def test_check_says_what_is_wrong_and_changes_nothing(tmp_path: Path) -> None:
    (tmp_path / "shop.db").write_bytes(b"not a data base.")
    damage = say(DAMAGE[Damage.DATABASE_CHECK], found="file is not a database")
    assert damage in refused("check", "--data", str(tmp_path))
    assert (tmp_path / "shop.db").read_bytes() == b"not a data base."
    both = refused("restore", "--data", str(tmp_path), "--empty", "copy.db")
    assert both.strip() == say(words.FILE_OR_EMPTY)


def test_a_taken_port_is_told_and_nothing_is_made(tmp_path: Path) -> None:
    with socket.create_server(("127.0.0.1", 0)) as other:
        port = other.getsockname()[1]
        message = refused("serve", "--port", str(port), "--data", str(tmp_path / "shop"))
    assert message.strip() == say(words.PORT_IN_USE, port=port, other=port + 1)
    assert not (tmp_path / "shop").exists()


@pytest.mark.parametrize("host", ["192.0.2.77", "no such name"])
def test_an_address_that_is_not_ours_is_told(host: str, tmp_path: Path) -> None:
    message = refused("serve", "--host", host, "--data", str(tmp_path))
    assert message.strip() == say(words.FOREIGN_ADDRESS, host=host)


def test_the_guards_are_on(tmp_path: Path) -> None:
    with started("serve", "--port", "0", "--data", str(tmp_path)) as program:
        for headers, method, status in (
            ({"Host": "other.example"}, "GET", 400),
            ({"Origin": "http://other.example"}, "POST", 403),
        ):
            request = urllib.request.Request(program.address, headers=headers, method=method)
            with pytest.raises(urllib.error.HTTPError) as caught:
                urllib.request.urlopen(request, timeout=10)
            assert caught.value.code == status
            assert caught.value.headers["Content-Security-Policy"].startswith("default-src 'none'")
            assert "server" not in caught.value.headers
            caught.value.close()


def test_it_says_where_to_open_it(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(network, "lan_address", lambda: "192.168.7.20")
    for host, address in (
        ("127.0.0.1", "http://127.0.0.1:8000/"),
        ("192.168.7.20", "http://192.168.7.20:8000/"),
        ("::1", "http://[::1]:8000/"),
    ):
        assert network.addresses(host, 8000) == [say(words.OPEN_AT, address=address)]
    here = say(words.OPEN_AT, address="http://127.0.0.1:8000/")
    for every in ("0.0.0.0", "::"):
        there = say(words.OPEN_ON_TABLETS, address="http://192.168.7.20:8000/")
        assert network.addresses(every, 8000) == [here, there]
    monkeypatch.setattr(network, "lan_address", lambda: None)
    assert network.addresses("0.0.0.0", 8000) == [here, say(words.NO_NETWORK)]


@pytest.mark.parametrize(
    ("host", "listens"),
    [("127.0.0.1", "http://127.0.0.1:8000/"), ("::1", "http://[::1]:8000/"), ("0.0.0.0", "http://192.168.7.20:8000/")],
)
def test_behind_a_proxy_it_is_opened_at_the_proxys_address_alone(
    host: str, listens: str, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(network, "lan_address", lambda: "192.168.7.20")
    public = PublicAddress.typed("https://sync.example")
    through = say(words.OPEN_THROUGH_PROXY, address="https://sync.example/")
    assert network.addresses(host, 8000, public=public) == [through, say(words.LISTENS_FOR_PROXY, address=listens)]


def test_serve_says_the_proxys_address(tmp_path: Path) -> None:
    with started("serve", "--port", "0", "--behind-proxy", "https://sync.example", "--data", str(tmp_path)) as program:
        assert program.address == "https://sync.example/"
        assert program.stop() == 0


@pytest.mark.parametrize("host", ["127.0.0.1", "::1", "localhost"])
def test_a_program_open_to_this_computer_only_lets_no_tablet_in(host: str) -> None:
    assert network.home_on_the_network(host, 8000) == ""


def test_where_a_tablet_opens_it(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(network, "lan_address", lambda: "192.168.7.20")
    assert network.home_on_the_network("0.0.0.0", 8000) == "http://192.168.7.20:8000/"
    assert network.home_on_the_network("bench-pc", 8000) == "http://bench-pc:8000/"
    assert network.home_on_the_network("fd00::7", 8000) == "http://[fd00::7]:8000/"


def test_a_pairing_code_is_shown_in_the_terminal(capsys: pytest.CaptureFixture[str]) -> None:
    codes = Pairing(lambda: ("http://192.168.7.20:8000/",), pairing_codes.show_code)
    codes.new()
    shown = capsys.readouterr().out
    assert f"{codes.code[:4]}-{codes.code[4:]}" in shown
    assert "\u2588" in shown  # the picture that a tablet scans
    assert codes.address == f"http://192.168.7.20:8000/pair#{codes.code}"


def test_open_to_the_network_it_shows_a_code_and_lets_nobody_else_in(tmp_path: Path) -> None:
    """By an address of this computer that is not loopback, a request is one from the network."""
    lan = network.lan_address()
    if lan is None:
        pytest.skip("this computer is on no network")
    with started("serve", "--port", "0", "--lan", "--no-name", "--data", str(tmp_path)) as program:
        assert program.fetch("/shop")
        from_the_network = program.address.replace("127.0.0.1", lan)
        assert answered(from_the_network, "shop")[0] == 401
        assert "Pair this tablet" in answered(from_the_network)[1]


def test_a_name_it_was_started_under_is_answered_to() -> None:
    assert network.names_in("bench-pc") == {"bench-pc"}
    assert network.names_in("0.0.0.0") == frozenset()


@pytest.mark.parametrize("place", [places.templates, places.static, places.migrations])
def test_the_program_s_own_files_are_found(place: object) -> None:
    assert callable(place)
    assert place().is_dir()
