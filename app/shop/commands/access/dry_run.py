"""Writes that are tried only: everything is looked at as for a write, and nothing is stored."""

from contextvars import ContextVar

TRIED: ContextVar[bool] = ContextVar("TRIED", default=False)
"""Whether this request only tries its write."""


class DryRunEnded(Exception):  # noqa: N818 (it is no error)
    """The write could be stored, and was taken back because it was only tried."""
