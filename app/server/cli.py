"""The command line: ``evenbore serve`` for the shop's own records, ``evenbore demo`` for a shop made up to try.

``backup_commands`` has the commands that look after the records. What is heavy is imported where it is used, so that
``--help`` and a taken port answer at once.
"""

import errno
import signal
import socket
import tempfile
import threading
from collections.abc import Iterator
from contextlib import ExitStack, contextmanager, nullcontext, suppress
from datetime import UTC, datetime
from functools import partial
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, NoReturn

import typer

from app.server import backup_commands
from app.server.network import LOOPBACK, addresses, home_on_the_network, names_in, numbers_of

if TYPE_CHECKING:
    from fastapi import FastAPI
    from uvicorn import Server

    from app.server.tls import Secured
    from app.shop.store.database import Database
    from app.web.security.pairing import Pairing

NOT_OURS = "{host} is not an address of this computer. Leave --host out, or use --host 0.0.0.0."

GRACE_SECONDS = 3
"""How long requests under way may take to finish when the program is told to stop."""

Port = Annotated[int, typer.Option(min=0, max=65535, help="Port to listen on; 0 takes any free one.")]
Host = Annotated[str, typer.Option(help="Address to listen on.")]
Lan = Annotated[bool, typer.Option("--lan", help="Let tablets on the same network in, once they are paired.")]
Tls = Annotated[
    bool, typer.Option("--tls", help="Speak https, by a certificate of its own that each tablet is told to trust once.")
]
Data = Annotated[Path | None, typer.Option(file_okay=False, help="Folder for the shop's records.", show_default=False)]

cli = typer.Typer(no_args_is_help=True, add_completion=False, pretty_exceptions_enable=False)


@cli.command()
def serve(port: Port = 8000, host: Host = LOOPBACK, lan: Lan = False, tls: Tls = False, data: Data = None) -> None:
    """Open the shop's own records, kept in the platform's usual place for user data."""
    from app.places import default_data_folder

    run(data or default_data_folder(), "0.0.0.0" if lan else host, port, demonstration=False, tls=tls)


@cli.command()
def demo(port: Port = 8000, host: Host = LOOPBACK, lan: Lan = False, data: Data = None) -> None:
    """Open a shop made up to try things in. It is thrown away afterwards, unless --data names a folder to keep it."""
    host = "0.0.0.0" if lan else host
    if data is not None:
        run(data, host, port, demonstration=True)
        return
    with tempfile.TemporaryDirectory(prefix="evenbore-demo-") as folder:
        run(Path(folder), host, port, demonstration=True)


for command in (backup_commands.backup, backup_commands.restore, backup_commands.check):
    cli.command()(command)


def main() -> None:
    """The entry point that pyproject.toml names."""
    cli()


def run(folder: Path, host: str, port: int, *, demonstration: bool, tls: bool = False) -> None:
    """Serve the shop in ``folder`` until Ctrl-C or SIGTERM, then close it.

    Parameters: ``port`` 0 to 65535; ``demonstration`` fills a shop that has no engines with made-up ones; ``tls`` is
    for https.
    """
    signal.signal(signal.SIGTERM, signal.default_int_handler)  # closes the shop, as Ctrl-C does
    try:
        with ExitStack() as both:
            door = both.enter_context(listening(host, port))
            secured = both.enter_context(securing(folder, door, host)) if tls else None
            while not keep_open(folder, door, host, demonstration=demonstration, secured=secured):
                typer.echo("A copy was put in place of the damaged records.")
    except KeyboardInterrupt:
        typer.echo("Evenbore is closed.")


def keep_open(
    folder: Path, door: socket.socket, host: str, *, demonstration: bool, secured: "Secured | None" = None
) -> bool:
    """Serve the shop, or the page that says it is damaged. False when a copy was put in place there."""
    from app.shop.store.backup import copying
    from app.shop.store.upgrade import DamagedShopError
    from app.web.application import create_app
    from app.web.pages.shop.damaged import create_damaged_app

    try:
        by_itself = nullcontext() if demonstration else copying(folder, now, partial(typer.echo, err=True))
        with opened(folder, demonstration=demonstration) as shop, by_itself:
            pairing = pairing_for(host, door.getsockname()[1], scheme_of(secured))
            trust = secured.trust if secured else None
            app = create_app(shop, lan_names=names_in(host), pairing=pairing, trusting=trust)
            answer(app, door, host, pairing, secured=secured)
    except DamagedShopError as damage:
        typer.echo(str(damage), err=True)
        again = threading.Event()
        lan_names = names_in(host)
        app = create_damaged_app(damage, start_again=again.set, clock=now, lan_names=lan_names)
        answer(app, door, host, until=again, secured=secured)
        return not again.is_set()
    return True


@contextmanager
def securing(folder: Path, door: socket.socket, host: str) -> Iterator["Secured"]:
    """What https needs, with the page about it open; ends the program with a plain word when there can be none."""
    from app.server.certificates import CertificateError
    from app.server.tls import secured
    from app.web.security.middleware import own_names

    port = door.getsockname()[1]
    home = home_on_the_network(host, port, "https") or f"https://{LOOPBACK}:{port}/"
    try:
        with secured(folder / "https", door, home, own_names() | names_in(host), numbers_of(host), now()) as all_of_it:
            yield all_of_it
    except CertificateError as error:
        give_up(str(error))


def scheme_of(secured: "Secured | None") -> str:
    """What addresses begin with."""
    return "https" if secured else "http"


def now() -> datetime:
    """The time, in UTC."""
    return datetime.now(UTC)


@contextmanager
def listening(host: str, port: int) -> Iterator[socket.socket]:
    """A socket that listens on ``host`` and ``port``; ends the program with a plain word when there can be none."""
    try:
        family = socket.getaddrinfo(host, port, type=socket.SOCK_STREAM)[0][0]
    except OSError:
        give_up(NOT_OURS.format(host=host))
    try:
        door = socket.create_server((host, port), family=family)
    except OSError as error:
        give_up(why_not(error, host, port))
    with door:
        yield door


def why_not(error: OSError, host: str, port: int) -> str:
    """What kept the server from listening, and what to do."""
    if error.errno == errno.EADDRINUSE:
        other = port + 1 if port < 65535 else 8000
        return (
            f"Port {port} is taken by another program, perhaps another Evenbore. Close that one, or choose another "
            f"port: --port {other}, or --port 0 for any free one."
        )
    if error.errno == errno.EADDRNOTAVAIL:
        return NOT_OURS.format(host=host)
    if error.errno == errno.EACCES:
        return f"Port {port} is kept for the system. Choose one above 1023, for instance --port 8000."
    return f"Cannot listen on {host}, port {port}: {error.strerror}."


@contextmanager
def opened(folder: Path, *, demonstration: bool) -> Iterator["Database"]:
    """The shop in ``folder``, closed on leaving; ends the program with a plain word when it cannot be opened.

    Raises DamagedShopError, which has a page of its own.
    """
    from app.shop.store.database import ShopUnavailableError
    from app.shop.store.upgrade import DamagedShopError, open_shop

    try:
        shop = open_shop(folder)
    except DamagedShopError:
        raise
    except ShopUnavailableError as error:
        give_up(str(error))
    try:
        if demonstration and is_empty(shop):
            from app.shop.demo.demo_shop import fill

            fill(shop)
        yield shop
    finally:
        shop.close()


def is_empty(shop: "Database") -> bool:
    """Whether no engine has been registered yet."""
    from sqlmodel import select

    from app.shop.store.tables import Engine

    with shop.reading() as session:
        return session.exec(select(Engine.id).limit(1)).first() is None


def answer(
    app: "FastAPI",
    door: socket.socket,
    host: str,
    pairing: "Pairing | None" = None,
    until: threading.Event | None = None,
    secured: "Secured | None" = None,
) -> None:
    """Serve ``app`` through ``door`` until a signal says to stop, or ``until`` is set. One worker, one process."""
    import uvicorn

    server = uvicorn.Server(
        uvicorn.Config(
            app,
            http="h11",
            ws="none",
            log_level="warning",
            access_log=False,
            server_header=False,
            proxy_headers=False,  # nothing stands in front; a header must not change the scheme that Origin is held to
            timeout_graceful_shutdown=GRACE_SECONDS,
            ssl_certfile=secured.file if secured else None,
        )
    )
    for line in addresses(host, door.getsockname()[1], scheme_of(secured)):
        typer.echo(line)
    for line in secured.words if secured else ():
        typer.echo(line)
    if pairing is not None and pairing.home:
        pairing.new()
    if until is not None:
        threading.Thread(target=stop_when, args=(until, server), daemon=True).start()
    server.run(sockets=[door.dup()])  # the server closes what it is handed


def pairing_for(host: str, port: int, scheme: str = "http") -> "Pairing":
    """What lets tablets in; nobody but this computer when the program listens to nobody else."""
    from app.web.security.pairing import Pairing

    home = home_on_the_network(host, port, scheme)
    return Pairing(home, show_code) if home else Pairing()


def show_code(code: str, address: str) -> None:
    """Show a pairing code on the terminal, as text and as a picture that a tablet scans."""
    import segno

    typer.echo(f"To pair a tablet, scan this or type the code {code} there. Good once, for ten minutes.")
    with suppress(UnicodeEncodeError):  # a terminal without block characters has the code in letters
        segno.make(address, error="l").terminal(compact=True)


def stop_when(over: threading.Event, server: "Server") -> None:
    """Have ``server`` finish what it is answering and stop, once ``over`` is set."""
    over.wait()
    server.should_exit = True


def give_up(message: str) -> NoReturn:
    """End the program with ``message`` where errors go, and status 1."""
    typer.echo(message, err=True)
    raise typer.Exit(1)
