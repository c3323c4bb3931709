"""``evenbore hand-over``: says where the engines of a shop go by themselves while the program is open, or no longer."""

import sys
from pathlib import Path
from typing import Annotated
from urllib.parse import urlsplit

import typer

from app.server.options import Data
from app.server.place import place_of
from app.wording.message import say
from app.wording.program import hand_over as words

To = Annotated[str, typer.Option("--to", metavar="URL", help=say(words.TO_HELP), show_default=False)]
TokenFile = Annotated[
    Path | None,
    typer.Option("--token-file", exists=True, dir_okay=False, help=say(words.TOKEN_FILE_HELP), show_default=False),
]
Authority = Annotated[
    Path | None,
    typer.Option("--authority", exists=True, dir_okay=False, help=say(words.AUTHORITY_HELP), show_default=False),
]
Stop = Annotated[bool, typer.Option("--stop", help=say(words.STOP_HELP))]


def hand_over(
    to: To = "", token_file: TokenFile = None, authority: Authority = None, stop: Stop = False, data: Data = None
) -> None:
    """Hand engines over to another shop from now on, whether or not Evenbore is running; or no longer."""
    from app.shop.exchange.handing.setting import Receiver, forget, keep

    folder = place_of(data).folder
    if stop:
        typer.echo(say(words.STOPPED if forget(folder) else words.NOT_HANDED_OVER))
        return
    address = urlsplit(to)
    if address.scheme not in ("http", "https") or not address.hostname or address.query:
        typer.echo(say(words.NO_ADDRESS), err=True)
        raise typer.Exit(1)
    if not folder.exists():
        typer.echo(say(words.NO_SHOP, folder=folder), err=True)
        raise typer.Exit(1)
    token = token_file.read_text(encoding="utf-8") if token_file else _typed()
    if not token.strip():
        typer.echo(say(words.NO_TOKEN), err=True)
        raise typer.Exit(1)
    trusted = authority.read_text(encoding="ascii") if authority else ""
    keep(folder, Receiver(to.rstrip("/"), token.strip(), trusted))
    typer.echo(say(words.HANDED_OVER, to=to))


def _typed() -> str:
    """A token that the screen does not show, or a line of what is piped in."""
    return str(typer.prompt(say(words.TOKEN), hide_input=True)) if sys.stdin.isatty() else sys.stdin.readline()
