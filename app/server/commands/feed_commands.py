"""``evenbore feed``: lets a program send live values, and shows its token once."""

import json
import secrets
import urllib.error
import urllib.request
from datetime import UTC, datetime
from typing import Annotated

import typer

from app.server.options import Data, Port
from app.server.place import ShopPlace, place_of
from app.wording.message import say
from app.wording.program import cli

Name = Annotated[str, typer.Argument(metavar="NAME", help=say(cli.FEED_NAME_HELP))]
Withdraw = Annotated[bool, typer.Option("--withdraw", help=say(cli.FEED_WITHDRAW_HELP))]

PATIENCE = 10.0
"""How long the running program may take to answer [s]."""


def feed(name: Name, data: Data = None, port: Port = 8000, withdraw: Withdraw = False) -> None:
    """Let a program send live values, whether or not Evenbore is running; or let it send no more."""
    from app.shop.errors import RejectedError
    from app.shop.store.database import ShopTakenError, ShopUnavailableError
    from app.wording.reasons import in_words, sentence_of

    try:
        if withdraw:
            _withdraw(place_of(data), name)
        else:
            typer.echo(_let_in(place_of(data), name))
    except ShopTakenError as taken:
        token = "" if withdraw else _asked_of_the_program(port, name)
        if not token:
            typer.echo(say(cli.FEED_ON_THE_PAGE), err=True)
            raise typer.Exit(1) from taken
        typer.echo(token)
    except (ShopUnavailableError, RejectedError) as problem:
        words = sentence_of(problem) if isinstance(problem, RejectedError) else in_words(problem.reason)
        typer.echo(words, err=True)
        raise typer.Exit(1) from problem


def _let_in(place: ShopPlace, name: str) -> str:
    """The token of a new feed of a shop that is not open."""
    from app.shop.commands.live import feeds
    from app.shop.store.idempotency import new_key

    shop, token = place.open(), secrets.token_urlsafe(32)
    try:
        feeds.add(shop, new_key(), name, token, datetime.now(UTC).isoformat(timespec="milliseconds"))
    finally:
        shop.close()
    return token


def _withdraw(place: ShopPlace, name: str) -> None:
    """Let every feed of that name send no more. Ends the program with a message when there is none."""
    from app.shop.commands.live import feeds
    from app.shop.store.idempotency import new_key

    shop = place.open()
    try:
        with shop.reading() as session:
            found = [one.ident for one in feeds.let_in(session) if one.name == name.strip()]
        for ident in found:
            feeds.withdraw(shop, new_key(), ident, datetime.now(UTC).isoformat(timespec="milliseconds"))
    finally:
        shop.close()
    if not found:
        typer.echo(say(cli.FEED_UNKNOWN, name=name), err=True)
        raise typer.Exit(1)


def _asked_of_the_program(port: int, name: str) -> str:
    """The token of a new feed, from the program that has the shop open; "" where it does not answer there."""
    from app.shop.store.idempotency import new_key

    sent = json.dumps({"key": new_key(), "name": name}).encode()
    address = f"http://127.0.0.1:{port}/api/live/feeds"
    asked = urllib.request.Request(address, sent, {"Content-Type": "application/json"})
    try:
        with urllib.request.urlopen(asked, timeout=PATIENCE) as answer:
            return str(json.loads(answer.read())["token"])
    except (OSError, ValueError, KeyError):
        return ""
