"""The commands that look after a shop's records: ``evenbore backup``, ``restore`` and ``check``."""

from collections.abc import Callable
from datetime import UTC, datetime
from pathlib import Path
from typing import Annotated, NoReturn, TypeVar

import typer

from app.server.options import Data
from app.server.place import ShopPlace, folder_of, opened_at, place_of
from app.wording.message import say
from app.wording.program import cli

T = TypeVar("T")

MEGABYTE = 1024 * 1024


def backup(
    data: Data = None,
    to: Annotated[Path | None, typer.Option(help=say(cli.TO_HELP))] = None,
) -> None:
    """Save a backup, whether or not the program is running."""
    from app.shop.store import copies
    from app.shop.store.backup import back_up
    from app.shop.store.folder.owner import open_to_others

    if place_of(data).server:
        _back_up_server(place_of(data), to)
        return
    folder = folder_of(data)
    now = datetime.now(UTC)
    target = copies.named(copies.folder_of(folder), copies.BY_HAND, now)
    if to is not None:
        target = copies.named(to, "evenbore", now) if to.is_dir() else to
    made = _or_exit(lambda: back_up(folder, target))
    typer.echo(say(cli.BACKUP_SAVED, file=made))
    if open_to_others(made):
        typer.echo(say(cli.BACKUP_OPEN_TO_OTHERS, file=made), err=True)


def _back_up_server(place: ShopPlace, to: Path | None) -> None:
    from app.shop.store import copies
    from app.shop.store.folder.owner import open_to_others
    from app.wording.program.server_records import DUMPED, DUMPED_UNPROVED
    from app.wording.reasons import in_words

    _or_exit(place.require_driver)
    from app.shop.store.postgres.dump import ENDING, dump

    now = datetime.now(UTC)
    target = copies.named(copies.folder_of(place.folder), copies.BY_HAND, now).with_suffix(ENDING)
    if to is not None:
        target = copies.named(to, "evenbore", now).with_suffix(ENDING) if to.is_dir() else to
    made = _or_exit(lambda: dump(place.server, target))
    typer.echo(say(DUMPED, file=made.file, rows=made.rows) if made.rows else say(DUMPED_UNPROVED, file=made.file))
    if made.unproved is not None:
        typer.echo(in_words(made.unproved), err=True)
    if open_to_others(made.file):
        typer.echo(say(cli.BACKUP_OPEN_TO_OTHERS, file=made.file), err=True)


def restore(
    file: Annotated[Path | None, typer.Argument(help=say(cli.FILE_HELP), show_default=False)] = None,
    data: Data = None,
    empty: Annotated[bool, typer.Option("--empty", help=say(cli.EMPTY_HELP))] = False,
) -> None:
    """Restore a backup or start an empty shop; list the backups when neither is asked for."""
    from app.shop.store import copies
    from app.shop.store.backup import restore as put_back
    from app.shop.store.postgres.codes import ServerProblem

    folder = folder_of(data, ServerProblem.RESTORED_BY_OPERATOR)
    backups = copies.folder_of(folder)
    if file is None and not empty:
        _list(backups)
        return
    if file is not None and empty:
        _give_up(say(cli.FILE_OR_EMPTY))
    if file is not None and not file.exists() and (backups / file.name).exists():
        file = backups / file.name
    aside = _or_exit(lambda: put_back(folder, file, datetime.now(UTC)))
    typer.echo(say(cli.RESTORED, file=file) if file else say(cli.EMPTY_NOW))
    if aside is not None:
        typer.echo(say(cli.REPLACED_RECORDS, folder=aside))


def _list(folder: Path) -> None:
    from app.shop.store import copies

    found = copies.listed(folder)
    typer.echo(say(cli.BACKUPS if found else cli.NO_BACKUPS, folder=folder))
    for one in found:
        typer.echo(say(cli.BACKUP_LINE, name=one.file.name, at=one.at, megabytes=one.size / MEGABYTE))
    if found:
        typer.echo(say(cli.HOW_TO_RESTORE))


def check(data: Data = None) -> None:
    """Verify the records; exit with status 1 when something is wrong."""
    from app.shop.store.health import look
    from app.wording.program.store import health_facts, health_problems

    if place_of(data).server:
        _check_server(data)
        return
    found = _or_exit(lambda: look(folder_of(data)))
    for line in health_facts(found):
        typer.echo(line)
    problems = health_problems(found)
    for problem in problems:
        typer.echo(problem, err=True)
    if problems:
        raise typer.Exit(1)
    typer.echo(say(cli.NO_PROBLEMS))


def _check_server(data: ShopPlace | None) -> None:
    from app.wording.program.server_records import facts_of, problems_of

    def checked() -> tuple[list[str], list[str]]:
        with opened_at(data) as shop:
            from app.shop.store.postgres.proof import look as look_at

            found = look_at(shop)
            return facts_of(found), problems_of(found)

    facts, problems = _or_exit(checked)
    for line in facts:
        typer.echo(line)
    for problem in problems:
        typer.echo(problem, err=True)
    if problems:
        raise typer.Exit(1)
    typer.echo(say(cli.NO_PROBLEMS))


def _or_exit(do: Callable[[], T]) -> T:
    from app.shop.store.database import ShopUnavailableError
    from app.wording.reasons import in_words

    try:
        return do()
    except ShopUnavailableError as error:
        _give_up(in_words(error.reason))


def _give_up(message: str) -> NoReturn:
    typer.echo(message, err=True)
    raise typer.Exit(1)
