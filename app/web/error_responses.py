"""What a refusal answers with: its status, and for programs a problem document (RFC 9457)."""

from collections.abc import Mapping
from http import HTTPStatus
from typing import Any

from fastapi.responses import JSONResponse
from starlette.types import Scope

from app.shop.errors import ConflictError, NotFoundError, RejectedError

STATUS = {NotFoundError: 404, ConflictError: 409, RejectedError: 422}
PROBLEM = "application/problem+json"
PHRASES = {413: "Content Too Large", 422: "Unprocessable Content"}
"""Statuses that RFC 9110 names otherwise than Python before 3.13 does."""


def status_of(refusal: RejectedError) -> int:
    """The status that a refusal answers with."""
    return next(status for kind, status in STATUS.items() if isinstance(refusal, kind))


def for_programs(scope: Scope) -> bool:
    """Whether a request is for the JSON interface, where every refusal is a problem document."""
    path: str = scope["path"]
    return path == "/api" or path.startswith("/api/")


def problem(
    status: int, detail: str, faults: Mapping[str, str] | None = None, headers: Mapping[str, str] | None = None
) -> JSONResponse:
    """A problem document. ``faults`` maps the JSON pointer of a field, or a parameter, to what is wrong with it.

    The type is ``about:blank``, so the title is the status's own phrase, as RFC 9457 section 4.2.1 asks.
    """
    document: dict[str, Any] = {
        "type": "about:blank",
        "title": PHRASES.get(status, HTTPStatus(status).phrase),
        "status": status,
        "detail": detail,
    }
    if faults:
        document["errors"] = [
            {"pointer" if place.startswith("#") else "parameter": place, "detail": said}
            for place, said in faults.items()
        ]
    return JSONResponse(document, status, headers, PROBLEM)
