"""The command that gives a program of others access: ``evenbore program``."""

from datetime import UTC, datetime, timedelta
from typing import Annotated

import typer

from app.server.options import Data
from app.server.place import opened_at
from app.shop.commands.access.scopes import MOST_DAYS, AccessScope
from app.wording.message import say
from app.wording.program import cli


def program(
    name: Annotated[str, typer.Argument(help=say(cli.PROGRAM_NAME_HELP))],
    scope: Annotated[list[AccessScope], typer.Option(help=say(cli.SCOPE_HELP))] = [AccessScope.READ],  # noqa: B006
    days: Annotated[int, typer.Option(min=1, max=MOST_DAYS, help=say(cli.DAYS_HELP))] = MOST_DAYS,
    data: Data = None,
) -> None:
    """Give a program access to the shop, which nothing else may have open."""
    from app.shop.commands.access.programs import let_one_in
    from app.shop.errors import RejectedError
    from app.shop.store.database import ShopUnavailableError
    from app.shop.store.idempotency import new_key
    from app.wording.reasons import in_words, sentence_of

    now = datetime.now(UTC)
    try:
        with opened_at(data) as shop:
            token = let_one_in(shop, new_key(), name, set(scope), days, now)
    except (ShopUnavailableError, RejectedError) as error:
        typer.echo(in_words(error.reason) if isinstance(error, ShopUnavailableError) else sentence_of(error), err=True)
        raise typer.Exit(1) from error
    typer.echo(say(cli.TOKEN, token=token))
    typer.echo(say(cli.TOKEN_ONCE, at=now + timedelta(days=days)), err=True)
