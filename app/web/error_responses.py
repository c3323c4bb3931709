"""What a refusal answers with: its status, and for programs a problem document (RFC 9457)."""

from collections.abc import Mapping
from http import HTTPStatus
from typing import Any, NamedTuple

from fastapi.responses import JSONResponse
from starlette.types import Scope

from app.shop.errors import ConflictError, NotFoundError, RejectedError
from app.shop.reasons import Reason
from app.wording.reasons import in_words

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


class Detail(NamedTuple):
    """What is wrong with one field: a sentence, and its stable code where it has one."""

    words: str
    code: str | None = None

    @classmethod
    def of(cls, reason: Reason | str) -> "Detail":
        """A reason of the store."""
        return cls(in_words(reason), None if isinstance(reason, str) else str(reason.code))


def code_of(rejected: RejectedError) -> str | None:
    """The code of a rejection: that of its first reason."""
    return next((str(one.code) for one in rejected.problems.values() if isinstance(one, Reason)), None)


def problem(
    status: int,
    detail: str,
    faults: Mapping[str, Detail | str] | None = None,
    headers: Mapping[str, str] | None = None,
    code: str | None = None,
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
    if code:
        document["code"] = code
    if faults:
        document["errors"] = [
            _fault(place, Detail(told) if isinstance(told, str) else told) for place, told in faults.items()
        ]
    return JSONResponse(document, status, headers, PROBLEM)


def _fault(place: str, told: Detail | str) -> dict[str, str]:
    detail = Detail(told) if isinstance(told, str) else told
    fault = {"pointer" if place.startswith("#") else "parameter": place, "detail": detail.words}
    return fault | ({"code": detail.code} if detail.code else {})
