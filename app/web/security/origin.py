"""Where a request came from, and what its headers say."""

from collections.abc import MutableMapping
from functools import lru_cache
from ipaddress import IPv4Address, IPv6Address, ip_address
from typing import Any, NamedTuple
from urllib.parse import urlsplit

FEED, STREAM = "/api/live/feed", "/api/live/events"
"""Where programs push live values, by a token of their own, and where pages are told them as they come."""


PASSED_ON = frozenset(
    {b"forwarded", b"via", b"x-forwarded-for", b"x-forwarded-host", b"x-forwarded-proto", b"x-real-ip"}
)
"""Headers by which a proxy says that it passes a request on (RFC 7239; RFC 9110, 7.6.3; and those in common use)."""


BEHIND = "evenbore.behind"
"""What a request's scope holds where the program was told that a proxy passes every request on."""


class PublicAddress(NamedTuple):
    """Where tablets reach a proxy that stands in front: the scheme, and the host with its port if it is not the usual
    one."""

    scheme: str
    host: str

    @classmethod
    def typed(cls, text: str) -> "PublicAddress":
        """What was typed. Raises ValueError for anything but an address of http or https without a path."""
        told = urlsplit(text.strip().lower())
        host = told.netloc
        if told.scheme not in ("http", "https") or not told.hostname or told.username or told.path not in ("", "/"):
            raise ValueError(text)
        if told.query or told.fragment or told.port == 0:
            raise ValueError(text)
        return cls(told.scheme, host)

    @property
    def home(self) -> str:
        """The address as it is opened."""
        return f"{self.scheme}://{self.host}/"

    @property
    def name(self) -> str:
        """The host's name, without a port."""
        return urlsplit(self.home).hostname or ""


def at_this_computer(scope: MutableMapping[str, Any]) -> bool:
    """Whether a request came from the shop computer itself. One without an address did not come over a network, and one
    that a proxy on this computer passed on came from somewhere else."""
    return (
        not behind_a_proxy(scope)
        and _loopback((scope.get("client") or ("",))[0])
        and PASSED_ON.isdisjoint(dict(scope.get("headers", ())))
    )


def behind_a_proxy(scope: MutableMapping[str, Any]) -> bool:
    """Whether the program was told that a proxy passes every request on."""
    return BEHIND in scope


@lru_cache(maxsize=256)
def ip_of(text: str) -> IPv4Address | IPv6Address | None:
    """The IP address that a text is; None for any other."""
    try:
        return ip_address(text)
    except ValueError:
        return None


def _loopback(client: str) -> bool:
    address = ip_of(client)
    if address is None:
        return True
    mapped = address.ipv4_mapped if isinstance(address, IPv6Address) else None
    return (mapped or address).is_loopback


def bearer(scope: MutableMapping[str, Any]) -> str | None:
    """The token that a request carries (RFC 6750), None where it carries none; empty where more than one is."""
    held = [value.partition(" ") for value in sent(scope, b"authorization")]
    tokens = [token.strip() for kind, _, token in held if kind.lower() == "bearer"]
    return None if not tokens else tokens[0] if len(tokens) == 1 else ""


def sent(scope: MutableMapping[str, Any], header: bytes) -> list[str]:
    """Every value that a request has of a header, named in small letters."""
    return [value.decode("latin-1").strip() for name, value in scope["headers"] if name == header]
