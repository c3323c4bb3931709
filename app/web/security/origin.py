"""Where a request came from, and what its headers say."""

from collections.abc import MutableMapping
from functools import lru_cache
from ipaddress import IPv6Address, ip_address
from typing import Any

FEED, STREAM = "/api/live/feed", "/api/live/events"
"""Where programs push live values, by a token of their own, and where pages are told them as they come."""


PASSED_ON = frozenset(
    {b"forwarded", b"via", b"x-forwarded-for", b"x-forwarded-host", b"x-forwarded-proto", b"x-real-ip"}
)
"""Headers by which a proxy says that it passes a request on (RFC 7239; RFC 9110, 7.6.3; and those in common use)."""


def at_this_computer(scope: MutableMapping[str, Any]) -> bool:
    """Whether a request came from the shop computer itself. One without an address did not come over a network, and one
    that a proxy on this computer passed on came from somewhere else."""
    return _loopback((scope.get("client") or ("",))[0]) and PASSED_ON.isdisjoint(dict(scope.get("headers", ())))


@lru_cache(maxsize=256)
def _loopback(client: str) -> bool:
    try:
        address = ip_address(client)
    except ValueError:
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
