"""Refusals as problem documents (RFC 9457): their shape, where they are documented, and who turns an error into one."""

import re
from collections.abc import Callable, Iterator, Mapping
from contextlib import contextmanager
from enum import StrEnum
from typing import Any

from fastapi import Request
from fastapi.exceptions import RequestValidationError
from fastapi.responses import Response
from pydantic import Field
from starlette.exceptions import HTTPException
from starlette.routing import Match

from app.shop.errors import ElsewhereError, RejectedError
from app.shop.procedure.requirements import Waiting
from app.shop.reasons import Reason, because
from app.shop.store.database import ShopUnavailableError
from app.web.api.shapes import Told
from app.web.error_responses import PROBLEM, code_of, fault_of, for_programs, not_taken, problem, status_of
from app.wording.program.request_faults import FieldFault, RequestFault
from app.wording.program.to_programs import all_for_a_program, for_a_program

FURTHER = "further"
"""The framework's name for the shape of a body that fits no usual alternative, which no answer tells."""

SHAPE = "kind"
"""The field that says which of several shapes a body has."""

MOST_NAMED = 20
"""How many fields at fault one answer names."""

WAITS: Mapping[StrEnum, str] = dict[StrEnum, str].fromkeys(Waiting, "")
"""What stands before a phase, a visit or its sign-off is at fault in no field of a body."""

Handler = Callable[[Request, Exception], Response]


class Fault(Told):
    """One field of the body, or one parameter of the address, that is wrong: `code` says how."""

    pointer: str | None = Field(default=None, description="JSON pointer to the field.", examples=["#/value"])
    parameter: str | None = Field(default=None, description="Name of the parameter.", examples=["most"])
    detail: str = Field(description="What is wrong with it, in a sentence.", examples=["Enter 300 to 3000\u00a0rpm."])
    code: str = Field(
        description="What is wrong with it, as a code that stays the same; the sentence does not.",
        examples=["out-of-range"],
    )


class Problem(Told):
    """Why nothing was stored, or nothing found: a problem document, RFC 9457."""

    type: str = Field(description="Always `about:blank`: the status tells the kinds apart.", examples=["about:blank"])
    title: str = Field(description="The phrase of the status.", examples=["Unprocessable Content"])
    status: int = Field(description="The status of the answer.", examples=[422])
    detail: str = Field(description="What is wrong and what to do, in words.", examples=["Enter 300 to 3000\u00a0rpm."])
    code: str = Field(
        description="Why, as a code that stays the same: `wrong-shape` where the request is not as described here, "
        "else that of the first of `errors`, where fields are at fault. Rely on it, not on the sentence.",
        examples=["out-of-range"],
    )
    errors: list[Fault] | None = Field(default=None, description="The fields at fault, where fields are.")


def _documented(description: str) -> dict[str, Any]:
    return {"description": description, "content": {PROBLEM: {"schema": {"$ref": "#/components/schemas/Problem"}}}}


OTHERS: dict[int | str, dict[str, Any]] = {
    401: _documented("No token, or one without access; `WWW-Authenticate` says what to send. Nothing was saved."),
    403: _documented(
        "The token lacks the scope of this operation or came unencrypted, or what it is about belongs to another site. "
        "Nothing was saved."
    ),
    429: _documented("Too many requests with this token. Nothing was saved: wait for `Retry-After` seconds."),
    "default": _documented("Any other rejection, as a problem document: 400, 404, 405, 413, 415, 500, 503."),
}
NOT_THERE: dict[int | str, dict[str, Any]] = {
    404: _documented(
        "What the address names is not on record: `code` begins with `no-`, or is `not-found` or `nothing-to-undo`."
    )
}
REFUSALS: dict[int | str, dict[str, Any]] = {
    **NOT_THERE,
    409: _documented("Another write came in between, or the key was used for something else. Nothing was saved."),
    422: _documented("It cannot be saved as it is; `errors` names the fields. Nothing was saved."),
}


@contextmanager
def named(**names: str) -> Iterator[None]:
    """Give the fields of a refusal their places in the body: ``idle_speed="idle_speed_rpm"``; none when empty."""
    try:
        yield
    except RejectedError as refusal:
        refusal.problems = {names.get(field, field): said for field, said in refusal.problems.items()}
        raise


@contextmanager
def pointing(fields: Mapping[StrEnum, str]) -> Iterator[None]:
    """Give a refusal the place in the body that its code is about, where it has one here; none when that is empty."""
    try:
        yield
    except RejectedError as refusal:
        refusal.problems = {fields.get(said.code, field): said for field, said in refusal.problems.items()}
        raise


def escaped(part: str) -> str:
    """One part of a JSON pointer (RFC 6901, section 3)."""
    return part.replace("~", "~0").replace("/", "~1")


def refused(request: Request, error: Exception) -> Response:
    """The records do not take it."""
    assert isinstance(error, RejectedError)
    faults = {f"#/{field}": reason for field, reason in error.problems.items() if field}
    return problem(status_of(error), code_of(error), all_for_a_program(error), faults)


def http(request: Request, error: Exception) -> Response:
    """The address or the method is none of ours, or the body is no JSON."""
    assert isinstance(error, HTTPException)
    if error.status_code == 405:
        allowed = ", ".join(_methods_of(request))
        return not_taken(405, because(RequestFault.METHOD_NOT_ALLOWED, methods=allowed), {"Allow": allowed})
    told: object = error.detail
    reason = told if isinstance(told, Reason) else because(fault_of(error))
    return not_taken(error.status_code, reason, error.headers)


def unreadable(request: Request, error: Exception) -> Response:
    """The body or the address is not of the shape that the interface documents."""
    if not isinstance(error, RequestValidationError):
        return not_taken(422, because(RequestFault.WRONG_SHAPE))  # a number that no table can hold
    found = error.errors()
    if any(one["loc"][0] == "path" for one in found):
        return not_taken(404, because(RequestFault.NOT_FOUND))
    if any(one["type"] == "json_invalid" for one in found):
        return not_taken(400, because(RequestFault.NOT_JSON))
    shape = because(RequestFault.WRONG_SHAPE)
    faults = {_place(one, error.body): _field_fault(one) for one in found[:MOST_NAMED]}
    return problem(422, str(shape.code), for_a_program(shape), faults)


def unavailable(request: Request, error: Exception) -> Response:
    """The records cannot be read or written just now."""
    assert isinstance(error, ShopUnavailableError)
    return problem(503, str(error.reason.code), for_a_program(error.reason))


def elsewhere(request: Request, error: Exception) -> Response:
    """It belongs to another site, or to head office."""
    assert isinstance(error, ElsewhereError)
    return not_taken(403, error.reason)


HANDLERS: Mapping[type[Exception], Handler] = {
    RejectedError: refused,
    HTTPException: http,
    RequestValidationError: unreadable,
    OverflowError: unreadable,
    ShopUnavailableError: unavailable,
    ElsewhereError: elsewhere,
}


def either(error: type[Exception], page: Handler) -> Handler:
    """A handler that answers programs with a problem document and everybody else with ``page``."""

    def handle(request: Request, raised: Exception) -> Response:
        return HANDLERS[error](request, raised) if for_programs(request.scope) else page(request, raised)

    return handle


def _methods_of(request: Request) -> list[str]:
    """The methods of an address; the framework names only those of the first route that it finds there."""
    routes = request.app.router.routes
    return [
        method
        for method in ("GET", "POST", "PUT")
        if any(route.matches({**request.scope, "method": method})[0] is Match.FULL for route in routes)
    ]


FIELD_FAULTS = {
    "missing": FieldFault.REQUIRED,
    "extra_forbidden": FieldFault.UNKNOWN_FIELD,
    "string_too_long": FieldFault.TOO_LONG,
    "too_long": FieldFault.TOO_LONG,
    "string_too_short": FieldFault.TOO_SHORT,
    "too_short": FieldFault.TOO_SHORT,
    "greater_than": FieldFault.OUT_OF_RANGE,
    "greater_than_equal": FieldFault.OUT_OF_RANGE,
    "less_than": FieldFault.OUT_OF_RANGE,
    "less_than_equal": FieldFault.OUT_OF_RANGE,
    "finite_number": FieldFault.OUT_OF_RANGE,
    "uuid": FieldFault.NOT_A_UUID,
}
"""Our codes for the framework's."""

CHOICE = re.compile("'([^']*)'")


def _field_fault(found: Mapping[str, Any]) -> Reason:
    """What is wrong with one field, out of what the framework says of it."""
    kind, context = found["type"], found.get("ctx", {})
    if kind == "hidden_sign":
        return because(FieldFault.HIDDEN_SIGN, sign=context["sign"])
    if expected := context.get("expected_tags") or context.get("expected"):
        choices = tuple(one for one in CHOICE.findall(expected) if one != FURTHER)
        return because(FieldFault.NOT_ONE_OF, choices=choices)
    if kind == "union_tag_not_found":
        there = isinstance(found["input"], dict) and SHAPE in found["input"]
        return because(FieldFault.WRONG_TYPE if there else FieldFault.REQUIRED)
    if kind.endswith(("_type", "_parsing", "int_from_float")):
        return because(FieldFault.WRONG_TYPE)
    return because(FIELD_FAULTS.get(kind, FieldFault.MALFORMED))


def _place(found: Mapping[str, Any], body: Any) -> str:
    """The pointer to a field of the body, or the name of a parameter of the address."""
    place: tuple[int | str, ...] = found["loc"]
    if place[0] != "body":
        return str(place[-1])
    inside = place[1:]
    if isinstance(body, dict) and inside and inside[0] in (body.get(SHAPE), FURTHER):
        inside = inside[1:]  # the framework names the alternative that was taken
    if found["type"].startswith("union_tag_") and isinstance(body, dict):
        inside = (*inside, SHAPE)  # and leaves out the field by which it looked for one
    return "#" + "".join(f"/{escaped(str(part))}" for part in inside)
