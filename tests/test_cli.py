"""The two commands, as typed."""

import os
import re
import socket
import subprocess
import sys
import urllib.error
import urllib.request
from pathlib import Path

import pytest

from app import cli, places
from tests.started import COMMAND, started


def refused(*arguments: str) -> str:
    """What the command says when it cannot start. It may not print a traceback."""
    ended = subprocess.run([*COMMAND, *arguments], check=False, capture_output=True, text=True, timeout=30)
    assert ended.returncode == 1, ended
    assert "Traceback" not in ended.stderr
    return ended.stderr


def test_a_demonstration_is_thrown_away(tmp_path: Path) -> None:
    with started("demo", "--port", "0", env={**os.environ, "TMPDIR": str(tmp_path)}) as program:
        assert re.match(r"http://127\.0\.0\.1:\d+/$", program.address)
        (folder,) = tmp_path.iterdir()
        assert (folder / "shop.db").exists()
        assert "<h1" in program.fetch("/")
        assert program.stop() == 0
    assert list(tmp_path.iterdir()) == []


def test_a_demonstration_with_a_folder_is_kept_and_filled_once(tmp_path: Path) -> None:
    boards = []
    for _ in range(2):
        with started("demo", "--port", "0", "--data", str(tmp_path / "kept")) as program:
            boards.append(program.fetch("/").count('href="/engines/'))
            assert program.stop() == 0
    assert sorted(file.name for file in (tmp_path / "kept").iterdir()) == ["shop.db", "shop.lock"]
    assert boards[0] == boards[1] > 0


def test_a_shop_of_one_s_own_begins_empty(tmp_path: Path) -> None:
    with started("serve", "--port", "0", "--data", str(tmp_path)) as program:
        assert 'href="/engines/1' not in program.fetch("/")
        assert program.stop() == 0
    assert (tmp_path / "shop.db").exists()


def test_a_shop_of_one_s_own_lives_in_the_usual_place(tmp_path: Path) -> None:
    usual = {**os.environ, "HOME": str(tmp_path), "XDG_DATA_HOME": str(tmp_path / "data")}
    with started("serve", "--port", "0", env=usual) as program:
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


def test_the_shop_is_open_once(tmp_path: Path) -> None:
    with started("serve", "--port", "0", "--data", str(tmp_path)):
        assert "already open in another Evenbore" in refused("serve", "--port", "0", "--data", str(tmp_path))


def test_a_damaged_shop_is_told_in_plain_words(tmp_path: Path) -> None:
    (tmp_path / "shop.db").touch()
    assert "the file is empty" in refused("serve", "--port", "0", "--data", str(tmp_path))


def test_a_taken_port_is_told_and_nothing_is_made(tmp_path: Path) -> None:
    with socket.create_server(("127.0.0.1", 0)) as other:
        port = other.getsockname()[1]
        message = refused("serve", "--port", str(port), "--data", str(tmp_path / "shop"))
    assert f"Port {port} is taken" in message
    assert not (tmp_path / "shop").exists()


@pytest.mark.parametrize("host", ["192.0.2.77", "no such name"])
def test_an_address_that_is_not_ours_is_told(host: str, tmp_path: Path) -> None:
    assert "is not an address of this computer" in refused("serve", "--host", host, "--data", str(tmp_path))


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
    monkeypatch.setattr(cli, "lan_address", lambda: "192.168.7.20")
    assert cli.addresses("127.0.0.1", 8000) == ["Evenbore is open at http://127.0.0.1:8000/"]
    assert cli.addresses("192.168.7.20", 8001) == ["Evenbore is open at http://192.168.7.20:8001/"]
    assert cli.addresses("::1", 8000) == ["Evenbore is open at http://[::1]:8000/"]
    for every in ("0.0.0.0", "::"):
        assert cli.addresses(every, 8000) == [
            "Evenbore is open at http://127.0.0.1:8000/",
            "On a tablet on the same network: http://192.168.7.20:8000/",
        ]
    monkeypatch.setattr(cli, "lan_address", lambda: None)
    assert "no network" in cli.addresses("0.0.0.0", 8000)[1]


def test_a_name_it_was_started_under_is_answered_to() -> None:
    assert cli.names_in("bench-pc") == {"bench-pc"}
    assert cli.names_in("0.0.0.0") == frozenset()


@pytest.mark.parametrize("place", [places.templates, places.static, places.migrations])
def test_the_program_s_own_files_are_found(place: object) -> None:
    assert callable(place)
    assert place().is_dir()
