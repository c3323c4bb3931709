"""What a refusal answers with: its status, and for programs a problem document (RFC 9457)."""

from collections.abc import Mapping
from http import HTTPStatus
from typing import Any

from fastapi.responses import JSONResponse
from starlette.exceptions import HTTPException
from starlette.types import Scope

from app.shop.errors import ConflictError, NotFoundError, RejectedError
from app.shop.reasons import Reason
from app.wording.program.request_faults import RequestFault
from app.wording.program.to_programs import for_a_program

STATUS = {NotFoundError: 404, ConflictError: 409, RejectedError: 422}
PROBLEM = "application/problem+json"
FAULTS = {
    404: RequestFault.NOT_FOUND,
    405: RequestFault.METHOD_NOT_ALLOWED,
    415: RequestFault.JSON_EXPECTED,
}
PHRASES = {413: "Content Too Large", 422: "Unprocessable Content"}
"""Statuses that RFC 9110 names otherwise than Python before 3.13 does."""


def status_of(refusal: RejectedError) -> int:
    """The status that a refusal answers with."""
    return next(status for kind, status in STATUS.items() if isinstance(refusal, kind))


def for_programs(scope: Scope) -> bool:
    """Whether a request is for the JSON interface, where every refusal is a problem document."""
    path: str = scope["path"]
    return path == "/api" or path.startswith("/api/")


def fault_of(error: HTTPException) -> RequestFault:
    """Why a request was not taken: the detail where it is a code of ours, else what the status says."""
    if isinstance(error.detail, RequestFault):
        return error.detail
    return FAULTS.get(error.status_code, RequestFault.BAD_REQUEST)


def code_of(rejected: RejectedError) -> str:
    """The code of a rejection: that of its first reason."""
    return str(next(iter(rejected.problems.values())).code)


def problem(
    status: int,
    code: str,
    detail: str,
    faults: Mapping[str, Reason] | None = None,
    headers: Mapping[str, str] | None = None,
) -> JSONResponse:
    """A problem document. ``faults`` maps the JSON pointer of a field, or a parameter, to what is wrong with it.

    The type is ``about:blank``, so the title is the status's own phrase, as RFC 9457 section 4.2.1 asks.
    """
    document: dict[str, Any] = {
        "type": "about:blank",
        "title": PHRASES.get(status, HTTPStatus(status).phrase),
        "status": status,
        "code": code,
        "detail": detail,
    }
    if faults:
        document["errors"] = [_fault(place, reason) for place, reason in faults.items()]
    return JSONResponse(document, status, headers, PROBLEM)


def not_taken(status: int, reason: Reason, headers: Mapping[str, str] | None = None) -> JSONResponse:
    """The problem document of a request that was not taken."""
    return problem(status, str(reason.code), for_a_program(reason), headers=headers)


def _fault(place: str, reason: Reason) -> dict[str, str]:
    where = "pointer" if place.startswith("#") else "parameter"
    return {where: place, "code": str(reason.code), "detail": for_a_program(reason)}
