"""The options that more than one command takes."""

from pathlib import Path
from typing import Annotated

import typer

from app.server.place import ShopPlace
from app.web.security.origin import PublicAddress
from app.wording.message import say
from app.wording.program import cli


def _public(text: str) -> PublicAddress:
    try:
        return PublicAddress.typed(text)
    except ValueError as error:
        raise typer.BadParameter(say(cli.NO_PUBLIC_ADDRESS)) from error


Port = Annotated[int, typer.Option(min=0, max=65535, help=say(cli.PORT_HELP))]
Host = Annotated[str, typer.Option(help=say(cli.HOST_HELP))]
Lan = Annotated[bool, typer.Option("--lan", help=say(cli.LAN_HELP))]
Tls = Annotated[bool, typer.Option("--tls", help=say(cli.TLS_HELP))]
Nameless = Annotated[bool, typer.Option("--no-name", help=say(cli.NO_NAME_HELP))]
Public = Annotated[
    PublicAddress | None,
    typer.Option("--behind-proxy", parser=_public, metavar="ADDRESS", help=say(cli.PROXY_HELP), show_default=False),
]
Data = Annotated[
    ShopPlace | None, typer.Option(parser=ShopPlace.typed, metavar="PLACE", help=say(cli.DATA_HELP), show_default=False)
]
Instruments = Annotated[
    Path | None, typer.Option("--live", dir_okay=False, help=say(cli.SERVE_LIVE_HELP), show_default=False)
]
