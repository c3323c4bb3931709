"""``evenbore carry``: moves a whole shop between a folder and a database server, either way."""

from importlib.util import find_spec
from typing import Annotated

import typer

from app.server.place import ShopPlace
from app.wording.message import say
from app.wording.program import cli

From = Annotated[
    ShopPlace, typer.Option("--from", parser=ShopPlace.typed, metavar="PLACE", help=say(cli.CARRY_FROM_HELP))
]
To = Annotated[ShopPlace, typer.Option("--to", parser=ShopPlace.typed, metavar="PLACE", help=say(cli.CARRY_TO_HELP))]


def carry(source: From, target: To) -> None:
    """Carry every row of one shop into an empty one, and prove each row hash there."""
    from app.shop.reasons import because
    from app.shop.store.database import ShopUnavailableError
    from app.shop.store.postgres.codes import ServerProblem
    from app.wording.program.server_records import CARRIED
    from app.wording.reasons import in_words

    try:
        if find_spec("psycopg") is None:
            raise ShopUnavailableError(because(ServerProblem.NO_DRIVER))
        if not source.server and not (source.folder / "shop.db").exists():
            raise ShopUnavailableError(because(ServerProblem.NOTHING_THERE, place=source.folder))
        from app.shop.store.postgres.carry import carry as carried

        mine = source.open()
        try:
            theirs = target.open()
            try:
                done = carried(mine, theirs)
            finally:
                theirs.close()
        finally:
            mine.close()
    except ShopUnavailableError as error:
        typer.echo(in_words(error.reason), err=True)
        raise typer.Exit(1) from error
    typer.echo(say(CARRIED, rows=done.rows, proved=done.proved))
