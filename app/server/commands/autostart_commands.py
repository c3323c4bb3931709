"""``evenbore autostart``: have the system start the program on its own, show how it is told to, and take that back."""

import subprocess
from collections.abc import Sequence

import typer

from app.server.autostart import Autostart, UnknownSystemError, autostart, serving
from app.server.network import LOOPBACK
from app.server.options import Data, Host, Instruments, Lan, Nameless, Port, Public, Tls
from app.server.place import place_of
from app.wording.message import say
from app.wording.program import cli

commands = typer.Typer(invoke_without_command=True)


@commands.callback(help=say(cli.AUTOSTART_HELP))
def write(
    context: typer.Context,
    port: Port = 8000,
    host: Host = LOOPBACK,
    lan: Lan = False,
    no_name: Nameless = False,
    tls: Tls = False,
    live: Instruments = None,
    public: Public = None,
    data: Data = None,
) -> None:
    """Write the file, in place of the one before, and have the system take it up."""
    if context.invoked_subcommand is not None:
        return
    place = place_of(data)
    there = place.server or str(place.folder.absolute())
    serve = serving(port=port, host=host, lan=lan, no_name=no_name, tls=tls, data=there, live=live, public=public)
    wanted = _for_this_system(serve)
    wanted.file.parent.mkdir(parents=True, exist_ok=True)
    wanted.file.write_bytes(wanted.contents)
    if _all_done(wanted.take_up):
        typer.echo(say(cli.AUTOSTART_WRITTEN, file=wanted.file))
    if wanted.sooner:
        typer.echo(say(cli.AUTOSTART_SOONER, line=" ".join(wanted.sooner)))


@commands.command(help=say(cli.AUTOSTART_SHOW_HELP))
def show() -> None:
    """Print the file, so that a person sees with what options the program starts."""
    wanted = _for_this_system(())
    if not wanted.file.exists():
        typer.echo(say(cli.NO_AUTOSTART))
        return
    typer.echo(say(cli.AUTOSTART_FILE, file=wanted.file))
    typer.echo(Autostart(wanted.file, wanted.file.read_bytes()).text)


@commands.command(help=say(cli.AUTOSTART_REMOVE_HELP))
def remove() -> None:
    """Take the file away. A program that is running goes on."""
    wanted = _for_this_system(())
    if not wanted.file.exists():
        typer.echo(say(cli.NO_AUTOSTART))
        return
    done = _all_done(wanted.let_go)
    wanted.file.unlink()
    if done:
        typer.echo(say(cli.AUTOSTART_REMOVED, file=wanted.file))


def _for_this_system(serve: Sequence[str]) -> Autostart:
    try:
        return autostart(serve)
    except UnknownSystemError as error:
        typer.echo(say(cli.AUTOSTART_UNKNOWN, system=error), err=True)
        raise typer.Exit(1) from error


def _all_done(commands: Sequence[Sequence[str]]) -> bool:
    """Whether the system did all of it; tells the person the commands that it did not."""
    failed = [" ".join(command) for command in commands if not _did(command)]
    for line in failed:
        typer.echo(say(cli.AUTOSTART_BY_HAND, line=line), err=True)
    return not failed


def _did(command: Sequence[str]) -> bool:
    try:
        return subprocess.run(command, check=False, capture_output=True).returncode == 0
    except OSError:
        return False
