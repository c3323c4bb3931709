"""The command line: ``evenbore serve`` for the shop's own records, ``evenbore demo`` for a demonstration shop.

``backup_commands`` has the commands for backups and checks, ``autostart_commands`` those for the start of the computer,
``program_command`` the one for programs of others.
What is heavy is imported where it is used, so that
``--help`` and a taken port answer at once.
"""

import errno
import secrets
import signal
import socket
import ssl
import tempfile
import threading
from collections.abc import Iterator
from contextlib import ExitStack, contextmanager, nullcontext
from datetime import UTC, datetime
from functools import partial
from pathlib import Path
from typing import TYPE_CHECKING, NoReturn

import typer

from app.server.commands import (
    autostart_commands,
    backup_commands,
    carry_command,
    feed_commands,
    hand_over_command,
    live_commands,
    program_command,
)
from app.server.looking_after import looking_after
from app.server.network import LOOPBACK, addresses, home_on_the_network, names_in, numbers_of
from app.server.options import Data, Host, Instruments, Lan, Nameless, Port, Public, Tls
from app.server.pairing_codes import pairing_for
from app.server.place import ShopPlace, place_of
from app.web.security.origin import PublicAddress
from app.wording.message import say
from app.wording.program import cli as words
from app.wording.program import hand_over

if TYPE_CHECKING:
    from fastapi import FastAPI
    from uvicorn import Server

    from app.server.announcing import Announcer
    from app.server.tls import Secured
    from app.shop.reasons import Reason
    from app.shop.store.database import Database
    from app.web.security.pairing import Pairing

cli = typer.Typer(no_args_is_help=True, add_completion=False, pretty_exceptions_enable=False)


@cli.command(help=say(words.SERVE_HELP))
def serve(
    port: Port = 8000,
    host: Host = LOOPBACK,
    lan: Lan = False,
    no_name: Nameless = False,
    tls: Tls = False,
    live: Instruments = None,
    public: Public = None,
    data: Data = None,
) -> None:
    """Serve the shop's records."""
    at, named = place_of(data), lan and not no_name
    run(at, "0.0.0.0" if lan else host, port, demonstration=False, tls=tls, named=named, live=live, public=public)


@cli.command(help=say(words.DEMO_HELP))
def demo(
    port: Port = 8000, host: Host = LOOPBACK, lan: Lan = False, no_name: Nameless = False, data: Data = None
) -> None:
    """Serve a demonstration shop, deleted afterwards unless it has a folder of its own."""
    host = "0.0.0.0" if lan else host
    named = lan and not no_name
    if data is not None:
        run(data, host, port, demonstration=True, named=named)
        return
    with tempfile.TemporaryDirectory(prefix="evenbore-demo-") as folder:
        run(ShopPlace(Path(folder)), host, port, demonstration=True, named=named)


cli.add_typer(autostart_commands.commands, name="autostart")
cli.command(help=say(words.BACKUP_HELP))(backup_commands.backup)
cli.command(help=say(words.RESTORE_HELP))(backup_commands.restore)
cli.command(help=say(words.CHECK_HELP))(backup_commands.check)
cli.command(help=say(words.CARRY_HELP))(carry_command.carry)
cli.command(help=say(hand_over.HELP))(hand_over_command.hand_over)
cli.command(help=say(words.LIVE_HELP))(live_commands.live)
cli.command(help=say(words.FEED_HELP))(feed_commands.feed)
cli.command(help=say(words.PROGRAM_HELP))(program_command.program)


def main() -> None:
    """The entry point that pyproject.toml names."""
    cli()


def run(
    place: ShopPlace,
    host: str,
    port: int,
    *,
    demonstration: bool,
    tls: bool = False,
    named: bool = False,
    live: Path | None = None,
    public: PublicAddress | None = None,
) -> None:
    """Serve the shop at ``place`` until Ctrl-C or SIGTERM, then close it.

    Parameters: ``port`` 0 to 65535; ``demonstration`` fills a shop that has no engines with made-up ones; ``tls`` is
    for https; ``named`` announces a name on the network; ``live`` is a channel file to read instruments by;
    ``public`` is where a proxy in front answers.
    """
    signal.signal(signal.SIGTERM, signal.default_int_handler)  # closes the shop, as Ctrl-C does
    try:
        with ExitStack() as both:
            door = both.enter_context(listening(host, port))
            place.folder.parent.mkdir(parents=True, exist_ok=True)
            announcer = both.enter_context(naming(place.folder, door, tls=tls)) if named else None
            secured = both.enter_context(securing(place.folder, door, host, announcer)) if tls else None
            again = partial(
                keep_open, place, door, host, secured=secured, announcer=announcer, live=live, public=public
            )
            while not again(demonstration=demonstration):
                typer.echo(say(words.RESTORED_WHILE_DAMAGED))
    except KeyboardInterrupt:
        typer.echo(say(words.CLOSED))


def keep_open(
    place: ShopPlace,
    door: socket.socket,
    host: str,
    *,
    demonstration: bool,
    secured: "Secured | None" = None,
    announcer: "Announcer | None" = None,
    live: Path | None = None,
    public: PublicAddress | None = None,
) -> bool:
    """Serve the shop, or the page that says it is damaged. False when a backup was restored there."""
    from app.shop.store.upgrade import DamagedShopError
    from app.web.application import create_app
    from app.web.pages.shop.damaged import create_damaged_app

    lan_names = announcer.hosts if announcer else names_in(host)
    try:
        with (
            opened(place, demonstration=demonstration) as shop,
            nullcontext() if demonstration else looking_after(shop, now, warn),
        ):
            pairing = pairing_for(shop, host, door.getsockname()[1], scheme_of(secured), announcer, public)
            trust = secured.trust if secured else None
            token = secrets.token_urlsafe(32)
            app = create_app(shop, lan_names=lan_names, pairing=pairing, trusting=trust, own_feed=token, public=public)
            with instruments_of(live, door, host, token, shop if demonstration else None, secured):
                answer(app, door, host, pairing, secured=secured, announcer=announcer, public=public)
    except DamagedShopError as damage:
        warn(damage.reason)
        again = threading.Event()
        app = create_damaged_app(damage, start_again=again.set, clock=now, lan_names=lan_names, public=public)
        answer(app, door, host, until=again, secured=secured, announcer=announcer, public=public)
        return not again.is_set()
    return True


@contextmanager
def instruments_of(
    live: Path | None, door: socket.socket, host: str, token: str, shown: "Database | None", secured: "Secured | None"
) -> Iterator[None]:
    """Instruments are read meanwhile: of the channel file ``live``; simulated ones of a demonstration ``shown``."""
    reached = LOOPBACK if host in ("0.0.0.0", "localhost") else host
    address = f"{scheme_of(secured)}://{f'[{reached}]' if ':' in reached else reached}:{door.getsockname()[1]}"
    if live is not None:
        from app.server.instruments import beside

        authority = ssl.DER_cert_to_PEM_cert(secured.trust.authority) if secured else ""
        with beside(live, address, token, authority):
            yield
    elif shown is not None:
        from app.server.instruments import simulated
        from app.shop.demo.instrument import channel_file

        with shown.reading() as session:
            channels = channel_file(session)
        with simulated(channels, address, token):
            yield
    else:
        yield


@contextmanager
def naming(folder: Path, door: socket.socket, *, tls: bool) -> Iterator["Announcer"]:
    """The program's name is announced on the network meanwhile."""
    from app.server.announcing import Announcer, announcing

    reached = door.getsockname()[1], "https" if tls else "http"
    with announcing(Announcer(*reached, kept=folder / "network-name", tell=typer.echo)) as announcer:
        yield announcer


@contextmanager
def securing(folder: Path, door: socket.socket, host: str, announcer: "Announcer | None" = None) -> Iterator["Secured"]:
    """What https needs, with the page about it open; ends the program with a message when there is no certificate."""
    from app.server.announcing import NAMES
    from app.server.certificates import CertificateError
    from app.server.tls import secured
    from app.web.security.middleware import own_names

    port = door.getsockname()[1]
    home = home_on_the_network(host, port, "https") or f"https://{LOOPBACK}:{port}/"
    try:
        names = own_names() | (frozenset(NAMES) if announcer else names_in(host))
        with secured(folder / "https", door, home, names, numbers_of(host), now()) as all_of_it:
            yield all_of_it
    except CertificateError as error:
        give_up(say(words.CERTIFICATE_PROBLEMS[error.problem], place=error.place, why=error.why))


def scheme_of(secured: "Secured | None") -> str:
    """What addresses begin with."""
    return "https" if secured else "http"


def now() -> datetime:
    """The time, in UTC."""
    return datetime.now(UTC)


@contextmanager
def listening(host: str, port: int) -> Iterator[socket.socket]:
    """A socket that listens on ``host`` and ``port``; ends the program with a message when there can be none."""
    try:
        family = socket.getaddrinfo(host, port, type=socket.SOCK_STREAM)[0][0]
    except OSError:
        give_up(say(words.FOREIGN_ADDRESS, host=host))
    try:
        door = socket.create_server((host, port), family=family)
    except OSError as error:
        give_up(why_not(error, host, port))
    with door:
        yield door


def why_not(error: OSError, host: str, port: int) -> str:
    """Why the server cannot listen, and what to do."""
    if error.errno == errno.EADDRINUSE:
        other = port + 1 if port < 65535 else 8000
        return say(words.PORT_IN_USE, port=port, other=other)
    if error.errno == errno.EADDRNOTAVAIL:
        return say(words.FOREIGN_ADDRESS, host=host)
    if error.errno == errno.EACCES:
        return say(words.PORT_RESERVED, port=port)
    return say(words.NOT_LISTENING, host=host, port=port, why=error.strerror)


@contextmanager
def opened(place: ShopPlace, *, demonstration: bool) -> Iterator["Database"]:
    """The shop at ``place``, closed on leaving; ends the program with a message when it cannot be opened.

    Raises DamagedShopError, which has a page of its own.
    """
    from app.shop.reasons import because
    from app.shop.store.codes import Noticed
    from app.shop.store.database import ShopUnavailableError
    from app.shop.store.upgrade import DamagedShopError
    from app.wording.reasons import in_words

    try:
        shop = place.open()
    except DamagedShopError:
        raise
    except ShopUnavailableError as error:
        give_up(in_words(error.reason))
    for notice in shop.noticed:
        warn(notice)
    try:
        if demonstration and is_empty(shop):
            from app.shop.demo.demo_shop import fill

            fill(shop)
        yield shop
    finally:
        if not shop.close():
            warn(because(Noticed.HELD_AT_CLOSE, file=shop.folder / "shop.db-wal"))


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
    announcer: "Announcer | None" = None,
    public: PublicAddress | None = None,
) -> None:
    """Serve ``app`` through ``door`` until a signal says to stop, or ``until`` is set. One worker, one process."""
    from app.server.door import server_of

    server, own_door = server_of(app, door, secured.file if secured else None)
    app.state.stopping = lambda: server.should_exit
    with stopping(server):
        for line in addresses(host, door.getsockname()[1], scheme_of(secured), public):
            typer.echo(line)
        for line in secured.lines if secured else ():
            typer.echo(line)
        if announcer is not None:
            announcer.wait()
        if pairing is not None and pairing.home:
            pairing.new()
        if until is not None:
            threading.Thread(target=stop_when, args=(until, server), daemon=True).start()
        server.run(sockets=[own_door])  # and closes it


@contextmanager
def stopping(server: "Server") -> Iterator[None]:
    """Ctrl-C and SIGTERM stop ``server``, from before it runs; on leaving, KeyboardInterrupt where one came.

    Raised where it comes, before the server listens for it, an interrupt can be lost: in a callback of a weak
    reference it is printed and ignored.
    """
    asked = threading.Event()

    def stop(_signal: int, _frame: object) -> None:
        asked.set()
        server.should_exit = True

    before = {one: signal.signal(one, stop) for one in (signal.SIGINT, signal.SIGTERM)}
    try:
        yield
    finally:
        for one, handler in before.items():
            signal.signal(one, handler)
    if asked.is_set():
        raise KeyboardInterrupt


def stop_when(over: threading.Event, server: "Server") -> None:
    """Have ``server`` finish what it is answering and stop, once ``over`` is set."""
    over.wait()
    server.should_exit = True


def warn(reason: "Reason") -> None:
    """Show what is to be known of the records where errors go."""
    from app.wording.reasons import in_words

    typer.echo(in_words(reason), err=True)


def give_up(message: str) -> NoReturn:
    """End the program with ``message`` where errors go, and status 1."""
    typer.echo(message, err=True)
    raise typer.Exit(1)
