"""Everything that ``serve --tls`` adds: the certificate, and a second door on plain http that says how to trust it."""

import socket
import threading
from collections.abc import Collection, Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from datetime import datetime
from pathlib import Path
from urllib.parse import urlsplit

from app.server.certificates import Certificate, ready
from app.server.door import server_of
from app.web.pages.shop.trust import Trust, create_trust_app
from app.wording.message import say
from app.wording.program import cli


@dataclass(frozen=True)
class Secured:
    """``file`` holds the server's key and certificate as PEM; ``lines`` are what the terminal shows."""

    file: Path
    trust: Trust
    lines: tuple[str, ...]


@contextmanager
def secured(
    folder: Path,
    door: socket.socket,
    home: str,
    names: frozenset[str],
    numbers: Collection[str],
    now: datetime,
) -> Iterator[Secured]:
    """What https needs, the second door being open meanwhile.

    Parameters: ``folder`` for the certificates; ``door``, where the program itself listens; ``home``, the address that
    a tablet opens; ``names`` and ``numbers`` that this computer is called by. Raises CertificateError.
    """
    certificate = ready(folder, names, numbers, now)
    with beside(door) as second:
        place = urlsplit(home).netloc.rpartition(":")[0]
        page = f"http://{place}:{second.getsockname()[1]}/trust"
        trust = Trust(certificate.authority, certificate.fingerprint, home, page)
        server, own_door = server_of(create_trust_app(trust, lan_names=names), second)
        thread = threading.Thread(target=server.run, kwargs={"sockets": [own_door]})
        thread.start()
        try:
            yield Secured(certificate.file, trust, trust_lines(certificate, page))
        finally:
            server.should_exit = True
            thread.join()


def beside(door: socket.socket) -> socket.socket:
    """A socket that listens where ``door`` does, one port further or, when that one is taken, on any free one."""
    host, port = door.getsockname()[:2]
    try:
        return socket.create_server((host, port + 1), family=door.family)
    except (OSError, OverflowError):
        return socket.create_server((host, 0), family=door.family)


def trust_lines(certificate: Certificate, page: str) -> tuple[str, ...]:
    """The lines on the terminal about trusting this computer."""
    pairs = certificate.fingerprint.split(" ")
    lines = (
        say(cli.TRUST, page=page),
        say(cli.FINGERPRINT_LINE, pairs=" ".join(pairs[:16])),
        say(cli.FINGERPRINT_LINE, pairs=" ".join(pairs[16:])),
    )
    if not certificate.left_out:
        return lines
    return (*lines, say(cli.NOT_COVERED, names=", ".join(certificate.left_out)))
