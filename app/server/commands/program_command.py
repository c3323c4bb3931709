"""The command that gives a program of others access: ``evenbore program``."""

from datetime import UTC, datetime, timedelta
from typing import TYPE_CHECKING, Annotated

import typer

from app.server.options import Data
from app.server.place import opened_at
from app.shop.commands.access.scopes import MOST_DAYS, AccessScope
from app.wording.message import say
from app.wording.program import cli

if TYPE_CHECKING:
    from app.shop.store.database import Database


def program(
    name: Annotated[str, typer.Argument(help=say(cli.PROGRAM_NAME_HELP))],
    scope: Annotated[list[AccessScope], typer.Option(help=say(cli.SCOPE_HELP))] = [AccessScope.READ],  # noqa: B006
    days: Annotated[int, typer.Option(min=1, max=MOST_DAYS, help=say(cli.DAYS_HELP))] = MOST_DAYS,
    site: Annotated[str, typer.Option(help=say(cli.SITE_HELP), show_default=False)] = "",
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
            token = let_one_in(shop, new_key(), name, set(scope), days, now, _named(shop, site) if site else None)
    except (ShopUnavailableError, RejectedError) as error:
        typer.echo(in_words(error.reason) if isinstance(error, ShopUnavailableError) else sentence_of(error), err=True)
        raise typer.Exit(1) from error
    typer.echo(say(cli.TOKEN, token=token))
    typer.echo(say(cli.TOKEN_ONCE, at=now + timedelta(days=days)), err=True)


def _named(shop: "Database", site: str) -> int:
    """The site of a name. Raises RejectedError."""
    from app.shop.commands.access.sites import called
    from app.shop.errors import RejectedError
    from app.shop.reasons import because
    from app.shop.rejections import Rejection

    with shop.reading() as session:
        found = called(session, site)
    if found is None:
        raise RejectedError({"site": because(Rejection.NO_SUCH_SITE)})
    return found
