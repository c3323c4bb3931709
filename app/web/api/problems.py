"""Refusals as problem documents (RFC 9457): their shape, where they are documented, and who turns an error into one."""

from collections.abc import Callable, Iterator, Mapping
from contextlib import contextmanager
from typing import Any

from fastapi import Request
from fastapi.exceptions import RequestValidationError
from fastapi.responses import Response
from pydantic import Field
from starlette.exceptions import HTTPException
from starlette.routing import Match

from app.shop.errors import RejectedError
from app.shop.store.database import ShopUnavailableError
from app.web.api.shapes import Told
from app.web.error_responses import PROBLEM, Detail, code_of, for_programs, problem, status_of
from app.wording.reasons import sentence_of

NOWHERE = "There is nothing at this address."

FURTHER = "further"
"""The framework's name for the shape of a body that fits no usual alternative, which is no part of a pointer."""

Handler = Callable[[Request, Exception], Response]


class Fault(Told):
    """One field of the body, or one parameter of the address, that is wrong."""

    pointer: str | None = Field(default=None, description="JSON pointer to the field.", examples=["#/value"])
    parameter: str | None = Field(default=None, description="Name of the parameter.", examples=["most"])
    detail: str = Field(description="What is wrong with it, in a sentence.", examples=["A number belongs here."])
    code: str | None = Field(
        default=None, description="What is wrong with it, as a stable code.", examples=["required"]
    )


class Problem(Told):
    """Why nothing was stored, or nothing found: a problem document, RFC 9457."""

    type: str = Field(description="Always `about:blank`: the status tells the kinds apart.", examples=["about:blank"])
    title: str = Field(description="The phrase of the status.", examples=["Unprocessable Content"])
    status: int = Field(description="The status of the answer.", examples=[422])
    detail: str = Field(description="What is wrong and what to do, in words.", examples=["A number belongs here."])
    code: str | None = Field(
        default=None,
        description="Why, as a stable code: rely on it, not on the sentence.",
        examples=["visit-signed-off"],
    )
    errors: list[Fault] | None = Field(default=None, description="The fields at fault, where fields are.")


def _documented(description: str) -> dict[str, Any]:
    return {"description": description, "content": {PROBLEM: {"schema": {"$ref": "#/components/schemas/Problem"}}}}


OTHERS: dict[int | str, dict[str, Any]] = {
    "default": _documented("Any other refusal, as a problem document: 400, 401, 403, 404, 405, 413, 415, 500, 503.")
}
NOT_THERE: dict[int | str, dict[str, Any]] = {404: _documented("There is no such thing here.")}
REFUSALS: dict[int | str, dict[str, Any]] = {
    **NOT_THERE,
    409: _documented("Somebody else wrote in between, or the key was used for something else. Nothing was stored."),
    422: _documented("It cannot be stored as it is; `errors` names the fields. Nothing was stored."),
}


@contextmanager
def named(**names: str) -> Iterator[None]:
    """Give the fields of a refusal their places in the body: ``idle_speed="idle_speed_rpm"``; none when empty."""
    try:
        yield
    except RejectedError as refusal:
        refusal.problems = {names.get(field, field): said for field, said in refusal.problems.items()}
        raise


def escaped(part: str) -> str:
    """One part of a JSON pointer (RFC 6901, section 3)."""
    return part.replace("~", "~0").replace("/", "~1")


def refused(request: Request, error: Exception) -> Response:
    """The store said no."""
    assert isinstance(error, RejectedError)
    faults = {f"#/{field}": Detail.of(reason) for field, reason in error.problems.items() if field}
    return problem(status_of(error), sentence_of(error), faults, code=code_of(error))


def http(request: Request, error: Exception) -> Response:
    """The address or the method is none of ours, or the body is no JSON."""
    assert isinstance(error, HTTPException)
    if error.status_code == 405:
        allowed = ", ".join(_methods_of(request))
        return problem(405, f"This address takes {allowed} only.", headers={"Allow": allowed})
    detail = NOWHERE if error.status_code == 404 else f"{error.detail}."
    return problem(error.status_code, detail, headers=error.headers)


def unreadable(request: Request, error: Exception) -> Response:
    """The body or the address is not of the shape that the interface documents."""
    if not isinstance(error, RequestValidationError):
        return problem(404, NOWHERE)  # a number that no table can hold
    found = error.errors()
    if any(one["loc"][0] == "path" for one in found):
        return problem(404, NOWHERE)
    if any(one["type"] == "json_invalid" for one in found):
        return problem(400, "The body is not JSON.")
    faults = {_place(one["loc"], error.body): f"{one['msg']}." for one in found}
    return problem(422, "The request is not of the shape that /api/openapi.json describes.", faults)


def unavailable(request: Request, error: Exception) -> Response:
    """The records cannot be read or written just now."""
    return problem(503, str(error))


HANDLERS: Mapping[type[Exception], Handler] = {
    RejectedError: refused,
    HTTPException: http,
    RequestValidationError: unreadable,
    OverflowError: unreadable,
    ShopUnavailableError: unavailable,
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


def _place(place: tuple[int | str, ...], body: Any) -> str:
    """The pointer to a field of the body, or the name of a parameter of the address."""
    if place[0] != "body":
        return str(place[-1])
    inside = place[1:]
    if isinstance(body, dict) and inside and inside[0] in (body.get("kind"), FURTHER):
        inside = inside[1:]  # the framework names the alternative that was taken
    return "#" + "".join(f"/{escaped(str(part))}" for part in inside)
