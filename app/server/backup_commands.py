"""The commands that look after a shop's records: ``evenbore backup``, ``restore`` and ``check``."""

from collections.abc import Callable
from datetime import UTC, datetime
from pathlib import Path
from typing import Annotated, NoReturn, TypeVar

import typer

T = TypeVar("T")

Data = Annotated[Path | None, typer.Option(file_okay=False, help="Folder of the shop's records.", show_default=False)]


def backup(
    data: Data = None,
    to: Annotated[
        Path | None, typer.Option(help="File, or folder, to copy to; the shop's own copies if left out.")
    ] = None,
) -> None:
    """Copy the shop's records, whether or not the program is running, and check the copy by opening it."""
    from app.shop.store import copies
    from app.shop.store.backup import back_up

    folder = _folder(data)
    now = datetime.now(UTC)
    target = copies.named(copies.folder_of(folder), copies.BY_HAND, now)
    if to is not None:
        target = copies.named(to, "evenbore", now) if to.is_dir() else to
    made = _told(lambda: back_up(folder, target))
    typer.echo(f"The records are copied to {made}, and the copy is whole.")


def restore(
    copy: Annotated[Path | None, typer.Argument(help="The copy to go back to.", show_default=False)] = None,
    data: Data = None,
    empty: Annotated[bool, typer.Option("--empty", help="Begin an empty shop instead.")] = False,
) -> None:
    """Go back to a copy. What is there now is put aside first, never thrown away. Without a copy named: lists them."""
    from app.shop.store import copies
    from app.shop.store.backup import restore as put_back

    folder = _folder(data)
    if copy is None and not empty:
        held = copies.listed(copies.folder_of(folder))
        typer.echo(f"Copies in {copies.folder_of(folder)}, newest first:" if held else f"No copies in {folder} yet.")
        for one in held:
            typer.echo(f"  {one.file.name}  {one.at:%Y-%m-%d %H:%M} UTC  {one.size / 1024 / 1024:.1f} MB")
        typer.echo("Name one: evenbore restore FILE")
        return
    if copy is not None and empty:
        _give_up("Name a copy, or --empty, not both.")
    if copy is not None and not copy.exists() and (copies.folder_of(folder) / copy.name).exists():
        copy = copies.folder_of(folder) / copy.name
    aside = _told(lambda: put_back(folder, copy, datetime.now(UTC)))
    typer.echo(f"In place now: {copy}." if copy else "The next start begins an empty shop.")
    if aside is not None:
        typer.echo(f"What was there before is kept in {aside}.")


def check(data: Data = None) -> None:
    """Say whether the shop's records are whole, and what to do if not. Changes nothing; the program may be running."""
    from app.shop.store.health import look

    found = _told(lambda: look(_folder(data)))
    for line in found.lines:
        typer.echo(line)
    for problem in found.problems:
        typer.echo(problem, err=True)
    if found.problems:
        raise typer.Exit(1)
    typer.echo("All is well.")


def _folder(data: Path | None) -> Path:
    from app.places import default_data_folder

    return data or default_data_folder()


def _told(do: Callable[[], T]) -> T:
    from app.shop.store.database import ShopUnavailableError

    try:
        return do()
    except ShopUnavailableError as error:
        _give_up(str(error))


def _give_up(message: str) -> NoReturn:
    typer.echo(message, err=True)
    raise typer.Exit(1)
