"""Where the program is reached: the addresses and names that it is opened under, here and from a tablet."""

import socket
from contextlib import suppress
from ipaddress import ip_address

from app.web.security.origin import PublicAddress
from app.wording.message import say
from app.wording.program import cli

LOOPBACK = "127.0.0.1"
EVERY_ADDRESS = ("0.0.0.0", "::")


def addresses(host: str, port: int, scheme: str = "http", public: PublicAddress | None = None) -> list[str]:
    """The lines that say where to open the program, on this computer and, if it lets others in, on a tablet.

    Behind a proxy that is its ``public`` address alone; the other line is for who sets the proxy up.
    """
    every = host in EVERY_ADDRESS
    shown = LOOPBACK if every else f"[{host}]" if ":" in host else host
    here = f"{scheme}://{shown}:{port}/"
    there = home_on_the_network(host, port, scheme) if every else ""
    if public is not None:
        through = say(cli.OPEN_THROUGH_PROXY, address=public.home)
        return [through, say(cli.LISTENS_FOR_PROXY, address=there or here)]
    if not every:
        return [say(cli.OPEN_AT, address=here)]
    return [say(cli.OPEN_AT, address=here), say(cli.OPEN_ON_TABLETS, address=there) if there else say(cli.NO_NETWORK)]


def home_on_the_network(host: str, port: int, scheme: str = "http") -> str:
    """The address that a tablet opens, empty when there is none."""
    if host in EVERY_ADDRESS:
        lan = lan_address()
        return f"{scheme}://{lan}:{port}/" if lan else ""
    with suppress(ValueError):
        if ip_address(host).is_loopback:
            return ""
    shown = f"[{host}]" if ":" in host else host
    return "" if host == "localhost" else f"{scheme}://{shown}:{port}/"


def names_in(host: str) -> frozenset[str]:
    """``host`` when it is a name: a program started under a name is opened under that name."""
    try:
        ip_address(host)
    except ValueError:
        return frozenset({host.lower()})
    return frozenset()


def numbers_of(host: str) -> frozenset[str]:
    """The addresses that this computer is called by when the program listens on ``host``."""
    reached = lan_address() if host in EVERY_ADDRESS else host
    return frozenset({LOOPBACK, "::1", *({reached} if reached and not names_in(reached) else ())})


def lan_address() -> str | None:
    """This computer's address on its network, None when it has none.

    Naming a peer to a datagram socket makes the system choose the address it would send from; nothing is sent.
    The peer is in a block that belongs to no one (RFC 5737).
    """
    with socket.socket(socket.AF_INET, socket.SOCK_DGRAM) as probe:
        try:
            probe.connect(("192.0.2.1", 9))
        except OSError:
            return None
        address: str = probe.getsockname()[0]
    return None if ip_address(address).is_loopback else address
