"""Where a shop's records are, as it is typed after ``--data``: in a folder, or on a database server."""

import hashlib
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from importlib.util import find_spec
from pathlib import Path
from typing import TYPE_CHECKING

import typer

from app.places import default_data_folder
from app.wording.message import say
from app.wording.program import cli

if TYPE_CHECKING:
    from app.shop.store.database import Database
    from app.shop.store.postgres.codes import ServerProblem

SCHEMES = ("postgresql://", "postgres://")


@dataclass(frozen=True, slots=True)
class ShopPlace:
    """A folder, and the address of a database where the records are in one: then the folder has what is no record."""

    folder: Path
    server: str = ""

    @classmethod
    def typed(cls, text: str) -> "ShopPlace":
        """What was typed. Raises typer.BadParameter for a file."""
        if text.startswith(SCHEMES):
            own = hashlib.sha256(text.encode()).hexdigest()[:12]  # the folder of one database is no other's
            return cls(default_data_folder() / "servers" / own, text)
        if Path(text).is_file():
            raise typer.BadParameter(say(cli.DATA_IS_A_FILE, file=text))
        return cls(Path(text))

    def open(self) -> "Database":
        """Open the shop, made or brought up to date first if need be. Raises ShopUnavailableError."""
        if not self.server:
            from app.shop.store.upgrade import open_shop

            return open_shop(self.folder)
        self.require_driver()
        from app.shop.store.postgres.opening import open_server

        return open_server(self.server, self.folder)

    def require_driver(self) -> None:
        """Raises ShopUnavailableError where the package for a database server is not installed."""
        from app.shop.reasons import because
        from app.shop.store.database import ShopUnavailableError
        from app.shop.store.postgres.codes import ServerProblem

        if find_spec("psycopg") is None:
            raise ShopUnavailableError(because(ServerProblem.NO_DRIVER))


def place_of(data: ShopPlace | None) -> ShopPlace:
    """Where the records are: the platform's usual folder unless told otherwise."""
    return data or ShopPlace(default_data_folder())


def folder_of(data: ShopPlace | None, otherwise: "ServerProblem | None" = None) -> Path:
    """The folder of a shop that has to be in one. Ends the program where it is on a server, and says ``otherwise``."""
    place = place_of(data)
    if place.server:
        from app.shop.reasons import because
        from app.shop.store.postgres.codes import ServerProblem
        from app.wording.reasons import in_words

        typer.echo(in_words(because(otherwise or ServerProblem.NOT_A_FOLDER)), err=True)
        raise typer.Exit(1)
    return place.folder


@contextmanager
def opened_at(data: ShopPlace | None) -> "Iterator[Database]":
    """The shop there, open until the block is left. Raises ShopUnavailableError."""
    shop = place_of(data).open()
    try:
        yield shop
    finally:
        shop.close()
