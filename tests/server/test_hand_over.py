"""Engines that are handed over while the program is open, as ``evenbore hand-over`` says."""

from collections.abc import Iterator
from pathlib import Path

import pytest
from typer.testing import CliRunner

from app.server import handing_over
from app.server.cli import cli
from app.server.handing_over import handing_over as going_on
from app.shop.exchange.handing.setting import Receiver, keep, kept
from app.shop.store.database import Database, FileDatabase
from app.shop.store.upgrade import open_shop
from app.wording.message import say
from app.wording.program import hand_over as words
from tests.at_once import AtOnce
from tests.shop.exchange.two_stores import clock, receiving, seals
from tests.shop.past import Past
from tests.waiting import until


@pytest.fixture
def office(tmp_path: Path) -> Iterator[Database]:
    opened = open_shop(tmp_path / "office")
    yield opened
    opened.close()


def test_while_the_program_is_open_what_changes_is_handed_over(
    shop: Database, office: Database, monkeypatch: pytest.MonkeyPatch
) -> None:
    """At once when a visit is signed off, and at the next turn otherwise."""
    monkeypatch.setattr("app.web.application.Apart", AtOnce)
    monkeypatch.setattr(handing_over, "LOOKS", 0.05)
    past = Past(shop)
    past.visit([6.5] * 8)
    with receiving(office) as to:
        keep(shop.folder, to)
        with going_on(shop, clock):
            until(lambda: seals(office) == seals(shop))
            past.visit([6.5] * 8)
            until(lambda: seals(office) == seals(shop))
        monkeypatch.setattr(handing_over, "EVERY", 0.1)
        with going_on(shop, clock):
            until(lambda: seals(office) == seals(shop))
            past.visit([6.5] * 8, signed=False)
            until(lambda: seals(office) == seals(shop))


def test_the_command_says_where_to_and_no_longer(shop: FileDatabase, tmp_path: Path) -> None:
    token = tmp_path / "token"
    token.write_text("secret\n")
    at = ["--data", str(shop.folder)]
    asked = ["hand-over", "--to", "https://office:8000/", "--token-file", str(token), *at]
    done = CliRunner().invoke(cli, asked)
    assert done.exit_code == 0, done.output
    assert "secret" not in done.output
    assert kept(shop.folder) == Receiver("https://office:8000", "secret")
    assert say(words.STOPPED) in CliRunner().invoke(cli, ["hand-over", "--stop", *at]).output
    assert kept(shop.folder) is None
    assert say(words.NOT_HANDED_OVER) in CliRunner().invoke(cli, ["hand-over", "--stop", *at]).output


def test_a_token_may_be_piped_in(shop: FileDatabase) -> None:
    asked = ["hand-over", "--to", "http://127.0.0.1:8000", "--data", str(shop.folder)]
    assert CliRunner().invoke(cli, asked, input="secret\n").exit_code == 0
    assert kept(shop.folder) == Receiver("http://127.0.0.1:8000", "secret")


@pytest.mark.parametrize("to", ["", "office", "ftp://office", "https://", "http://office?x=1"])
def test_what_is_no_address_is_refused(shop: FileDatabase, to: str) -> None:
    done = CliRunner().invoke(cli, ["hand-over", "--to", to, "--data", str(shop.folder)], input="secret\n")
    assert done.exit_code == 1
    assert say(words.NO_ADDRESS) in done.output


def test_a_folder_without_records_and_an_empty_token_are_refused(shop: FileDatabase, tmp_path: Path) -> None:
    asked = ["hand-over", "--to", "http://office"]
    nowhere = CliRunner().invoke(cli, [*asked, "--data", str(tmp_path / "none")], input="secret\n")
    assert nowhere.exit_code == 1
    nothing = CliRunner().invoke(cli, [*asked, "--data", str(shop.folder)], input="\n")
    assert say(words.NO_TOKEN) in nothing.output
