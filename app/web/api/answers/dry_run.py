"""How a program asks that its write be tried only, and what it is answered."""

from collections.abc import AsyncIterator

from fastapi import HTTPException, Request
from fastapi.exceptions import RequestValidationError
from fastapi.responses import Response

from app.shop.commands.access.dry_run import TRIED, DryRunEnded
from app.wording.program.request_faults import RequestFault

NOT_TRIED = frozenset({"sign_off", "let_feed_in", "push_live_values", "hand_in"})
"""Operations that are never tried only: what a PIN is worth, and a token, is known by using it."""

PARAMETER = "dry_run"
DESCRIBED = {
    "name": PARAMETER,
    "in": "query",
    "required": False,
    "description": "Whether the write is only tried: 204 where it would be stored, else rejected as ever.",
    "schema": {"type": "boolean", "default": False},
}
"""As the description tells of it."""


async def tried_only(request: Request) -> AsyncIterator[None]:
    """Has the write of this request tried only, where it asks for that.

    Raises HTTPException where it cannot be, RequestValidationError for what is neither true nor false.
    """
    asked = request.query_params.get(PARAMETER, "false")
    if asked not in ("true", "false"):
        raise RequestValidationError([{"loc": ("query", PARAMETER), "type": "bool_parsing"}])
    if asked == "true" and request.scope["route"].name in NOT_TRIED:
        raise HTTPException(422, RequestFault.NO_DRY_RUN)
    TRIED.set(asked == "true")
    yield
    TRIED.set(False)


def told(request: Request, error: Exception) -> Response:
    """The answer to a write that was tried only."""
    assert isinstance(error, DryRunEnded)
    return Response(status_code=204)
