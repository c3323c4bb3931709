"""``evenbore feed`` prints a token that opens the door, whether or not the program runs."""

from pathlib import Path

import pytest
from typer.testing import CliRunner, Result

from app.server.cli import cli
from app.shop.commands.live.feeds import feeders
from app.shop.store.database import Database
from app.shop.store.upgrade import open_shop


def run(folder: Path, *arguments: str) -> Result:
    return CliRunner().invoke(cli, ["feed", *arguments, "--data", str(folder)])


def admits(folder: Path, token: str) -> bool:
    shop = open_shop(folder)
    try:
        return feeders(shop).admits(token)
    finally:
        shop.close()


def test_a_token_is_printed_once_and_withdrawn_by_name(tmp_path: Path) -> None:
    token = run(tmp_path, "Bench").stdout.strip()
    assert admits(tmp_path, token)
    assert run(tmp_path, "Bench", "--withdraw").exit_code == 0
    assert not admits(tmp_path, token)
    again = run(tmp_path, "Bench", "--withdraw")
    assert (again.exit_code, again.stderr.strip()) == (1, "No feed is called Bench.")


def test_the_running_program_is_asked(shop: Database, server: str) -> None:
    token = run(shop.folder, "Bench", "--port", server.rpartition(":")[2]).stdout.strip()
    assert feeders(shop).admits(token)


@pytest.mark.parametrize("more", [("--port", "1"), ("--withdraw",)])
def test_a_program_that_is_not_reached_names_its_page(shop: Database, more: tuple[str, ...]) -> None:
    found = run(shop.folder, "Bench", *more)
    assert (found.exit_code, found.stdout) == (1, "")
    assert "Live values" in found.stderr


def test_a_feed_without_a_name_is_refused(tmp_path: Path) -> None:
    found = run(tmp_path, "  ")
    assert (found.exit_code, found.stdout) == (1, "")
