"""Lists told page by page: how many there are in all, and where the next page is."""

from collections.abc import Sequence
from typing import Any, TypeVar
from urllib.parse import urlencode

from fastapi import Request, Response

TOTAL, LINK = "X-Total-Count", "Link"

HEADERS: dict[str, Any] = {
    TOTAL: {"description": "How many there are in all.", "schema": {"type": "integer"}},
    LINK: {
        "description": 'The next page, with `rel="next"` (RFC 8288); none after the last.',
        "schema": {"type": "string"},
    },
}
"""As the description tells of them."""

PAGED: dict[int | str, dict[str, Any]] = {200: {"headers": HEADERS}}

T = TypeVar("T")


def page_of(request: Request, answer: Response, found: Sequence[T], most: int | None, skip: int) -> Sequence[T]:
    """At most ``most`` of all that was ``found``, without the first ``skip``; the answer says how many there are."""
    return shown(request, answer, found[skip:] if most is None else found[skip : skip + most], len(found), most, skip)


def shown(
    request: Request, answer: Response, found: Sequence[T], total: int, most: int | None, skip: int
) -> Sequence[T]:
    """What is shown of a list of ``total``; the answer says how many there are and where the next ones are."""
    answer.headers[TOTAL] = str(total)
    if most is not None and skip + len(found) < total:
        query = urlencode({**request.query_params, "most": most, "skip": skip + len(found)})
        answer.headers[LINK] = f'<{request.url.path}?{query}>; rel="next"'
    return found
