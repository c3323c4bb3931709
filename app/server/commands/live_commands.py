"""``evenbore live``: the process that reads instruments."""

import os
import signal
import sys
import threading
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from app.wording.message import say
from app.wording.program import cli

if TYPE_CHECKING:
    from app.live.channels import ChannelFile, ChannelFileError
    from app.live.process import Told

TOKEN = "EVENBORE_FEED_TOKEN"
"""The variable of the environment that holds the token of a feed."""

AUTHORITY = "EVENBORE_FEED_AUTHORITY"
"""The variable that holds the certificate which a program on https is trusted by, as PEM."""

BESIDE = "EVENBORE_BESIDE"
"""The variable that says that the process was begun by the program, and ends with its standard input."""

File = Annotated[Path, typer.Argument(metavar="FILE", help=say(cli.LIVE_FILE_HELP))]
To = Annotated[str, typer.Option("--to", help=say(cli.LIVE_TO_HELP))]
TokenFile = Annotated[Path | None, typer.Option("--token-file", help=say(cli.LIVE_TOKEN_HELP))]


def live(file: File, to: To = "http://127.0.0.1:8000", token_file: TokenFile = None) -> None:
    """Read the instruments of a file until Ctrl-C or SIGTERM."""
    from app.live.feed import Feed
    from app.live.process import run
    from app.wording.program import live as words

    channels = _read(file)
    token = _token(token_file)
    stopped = threading.Event()
    for name in (signal.SIGTERM, signal.SIGINT):
        signal.signal(name, lambda *_: stopped.set())
    if os.environ.get(BESIDE):
        threading.Thread(target=_until_the_end_of_input, args=(stopped,), daemon=True).start()
    for source in channels.loose:
        typer.echo(say(words.LOOSE, source=source), err=True)
    typer.echo(say(words.SENDS, channels=len(channels.channels), sources=len(channels.sources), to=to))
    feed = Feed(to, token, channels.channels, authority=os.environ.get(AUTHORITY, ""))
    run(channels, feed, stopped, _tell)
    typer.echo(say(words.ENDED))


def _until_the_end_of_input(stopped: threading.Event) -> None:
    sys.stdin.buffer.read()
    stopped.set()


def _read(file: Path) -> "ChannelFile":
    from app.live.channels import ChannelFileError, read_channels
    from app.wording.program import live as words

    try:
        return read_channels(file.read_text("utf-8"))
    except (OSError, UnicodeDecodeError) as problem:
        typer.echo(say(words.NO_FILE, file=file, problem=problem), err=True)
    except ChannelFileError as problem:
        typer.echo(problem_words(problem), err=True)
    raise typer.Exit(2)


def problem_words(problem: "ChannelFileError") -> str:
    """What is wrong with a file, with the line where it is known."""
    from app.wording.program import live as words
    from app.wording.quantities import percent

    values = dict(problem.values)
    if "left" in values:
        values["left"] = percent(float(str(values["left"])), 1)
    if "choices" in values:
        values["choices"] = ", ".join(map(str, problem.values["choices"]))  # type: ignore[call-overload]
    said = say(words.FAULTS[problem.code], where=problem.where, **values)
    return say(words.AT_LINE, line=problem.line, problem=said) if problem.line else said


def _token(file: Path | None) -> str:
    from app.wording.program import live as words

    try:
        token = file.read_text("utf-8").strip() if file is not None else os.environ.get(TOKEN, "")
    except OSError as problem:
        typer.echo(say(words.NO_FILE, file=file, problem=problem), err=True)
        raise typer.Exit(2) from None
    if not token:
        typer.echo(say(words.NO_TOKEN), err=True)
        raise typer.Exit(2)
    return token


def _tell(what: "Told") -> None:
    typer.echo(_said(what), err=True)


def _said(what: "Told") -> str:
    from app.live.baud import Crowded
    from app.live.feed import RefusedError
    from app.live.process import Running
    from app.live.sources.source import MissingExtraError, SourceError
    from app.wording.program import live as words

    if isinstance(what, RefusedError):
        return say(words.NOT_LET_IN, status=what.status)
    if isinstance(what, Crowded):
        return say(words.CROWDED, source=what.source, baud=what.baud, needs=what.needs)
    if not isinstance(what, Running):
        return say(words.NO_ANSWER)
    name, problem = what.source.name, what.problem
    if isinstance(problem, MissingExtraError):
        return say(words.MISSING_EXTRA, source=name, extra=problem.extra)
    if isinstance(problem, SourceError):
        return say(words.SOURCE_UNUSABLE, source=name, problem=problem)
    return say(words.SOURCE_ENDED, source=name, problem=problem or "end")
