"""The JSON interface put together, and the document that describes it."""

from functools import cache
from importlib.metadata import version
from typing import Any

from fastapi import APIRouter, Depends, HTTPException, Request
from fastapi.openapi.utils import get_openapi
from fastapi.responses import JSONResponse

from app.shop.commands.access.programs import Program
from app.shop.commands.access.scopes import AccessScope
from app.shop.reasons import because
from app.web.api import (
    advice,
    corrections,
    engines,
    fittings,
    moves,
    phases,
    readings,
    rounds,
    slips,
    story,
    visits,
)
from app.web.api.advising import banks, cold_setting
from app.web.api.answers.dry_run import DESCRIBED, NOT_TRIED, tried_only
from app.web.api.answers.places import LOCATION, located
from app.web.api.cross_check import findings, recorded
from app.web.api.description.codes import enumerate_codes
from app.web.api.description.examples import PARAMETERS
from app.web.api.description.field_names import describe
from app.web.api.ending import ends
from app.web.api.problems import OTHERS, Problem
from app.web.api.shop import changes, handing, instruments, meters, settings, sites
from app.web.live import doors, doors_of_checks
from app.web.security.middleware import HAND_OVER, TABLET
from app.web.security.origin import FEED
from app.web.security.programs import BEARER, PROGRAM
from app.wording.program.request_faults import RequestFault

ABOUT = """
Everything that a page can record, for a program at a test bench.

1. Register the engine (`POST /api/engines`) or find it (`GET /api/engines?words=`), and open a visit.
2. Ask for the state of the visit (`GET /api/visits/{visit_id}`): `current` is the phase under way, `missing` what it
   lacks.
3. Record its checks, and waive what may be waived.
4. Ask for the advice of the phase. Its `do` names the operation to call now, with the items that it is about: first
   what has to be done before, then readings as the meter showed them, moves as they were made, the next phase, the
   sign-off. Ask again after each. A rejection of what was advised a moment ago means that something ran out since: ask
   again; a second one in a row wants a person.
5. When `current` is `sign-off`, a person answers for the engine: send the name of that person, and the PIN where the
   shop lists people.

The engine is first started in `first-fire`, without a write of its own: when the advice asks for the items that are
`at_start`, start it and read them.

**Stops, pauses and heat.** A figure beyond a limit of the shop stops the engine: `engine_state.open_stops` has it, and
every write but its end (`POST /api/visits/{visit_id}/stops/ended`, with cause and remedy) is rejected with `stopped`.
After a stop, and after a pause without readings and checks, the engine counts as stopped (`engine-stands`): say that it
was started, with every item of `engine_state.start_items` checked again. An open round is void then, and the
temperatures are asked for again (`heat-ran-out`).

**Units** are in the names of the fields or beside them: `_thou` is thousandths of an inch, `_rpm` revolutions per
minute, `turns` and `flats` (sixths of a turn) are turned by hand; a reading is in the unit of the visit's meter.
They are the same whatever units the shop sees and types on its pages; only sentences that are meant for people (`what`,
`stops`, `lacks`, `title`, `sentence`) are worded in those.

**Keys.** Every write carries a UUID that the sender makes. The same write sent again under its key is stored once and
gets the same answer, so a program that got no answer sends it again.

**Lists** that may be long are told page by page: `X-Total-Count` says how many there are in all, and `Link` with
`rel="next"` where the next page is.

**Trying.** A write with `?dry_run=true` is looked at as ever and stores nothing: it is answered with 204 where it would
be stored, and rejected where it would not. What is made is found at the `Location` of a 201.

**Rejections** are problem documents (`application/problem+json`, RFC 9457). Nothing is saved by a write that was
rejected. `code` says why, such as `visit-signed-off`, `changed-by-another-tablet` or `no-such-engine`; where fields are
at fault, each of `errors` has a `code` of its own, such as `required`, `out-of-range` or `too-long`. A code never
changes its meaning, and further ones may be added. The sentences in `detail` are for people: they change, and may come
in another language.

**Who is answered.** A program with a token of its own, sent as `Authorization: Bearer`. A person at the shop computer
creates it on the page `/programs`, or by `evenbore program`, with the scopes that each operation here names; it is
shown once and is good for a year at most. From another computer it is taken by https only. Rows written with it name
it. Without a token, programs on the shop computer itself and paired tablets are answered. At most 20 requests a second
are answered for each token; further ones get 429. A program need not send `Origin`; one that does sends this server's
own.

**What changed.** `GET /api/changes?after=` lists what was recorded since, by anybody; `GET /api/events` tells of it as
it happens.

**Hand-over.** Another shop's Evenbore sends whole engine files (`POST /api/hand-over`) with a token of the scope
`hand-over`, again and again until every row is acknowledged.

**Live values.** A program that reads instruments gets access at the shop computer (`evenbore feed NAME`) and sends its
token with each push; the token opens `POST /api/live/feed` and nothing else.

Running engines hurt people. A program that runs an engine keeps the phase's `cautions` and obeys its `stops`; the
maker's instructions come first.
"""

TAGS = {
    "engines": "What an engine is and what is fitted to it.",
    "visits": "One time an engine is worked on, from the opening to the sign-off.",
    "phases": "Cold preset, first fire, heat-soaked recheck, part-throttle bank balance, lock-down.",
    "readings": "Rounds of readings, and how even they are.",
    "moves": "What was turned or reset.",
    "advice": "The one next step, and why.",
    "shop": "What a visit works with.",
    "live values": "What instruments show now. It is a help, not a protective device.",
    "changes": "What was recorded since, in its order.",
    "hand-over": "Engines that another shop's program hands over.",
}


def json_only(request: Request) -> None:
    """Refuses a body that is not said to be JSON. Raises HTTPException."""
    sent = request.headers.get("content-type", "").partition(";")[0].strip().lower()
    if request.method not in ("GET", "HEAD") and sent != "application/json":
        raise HTTPException(415, RequestFault.JSON_EXPECTED)


async def within_scope(request: Request) -> None:
    """Refuses what the program's token does not reach. Raises HTTPException."""
    program: Program | None = getattr(request.state, PROGRAM, None)
    needed = scope_of(request.method, request.url.path)
    if program is not None and needed not in program.scopes:
        headers = {"WWW-Authenticate": f'{BEARER}, error="insufficient_scope", scope="{needed}"'}
        raise HTTPException(403, because(RequestFault.SCOPE_MISSING, scope=str(needed)), headers)


def scope_of(method: str, path: str) -> AccessScope:
    """The scope that a token needs for an operation."""
    if path in (changes.CHANGES, changes.EVENTS):
        return AccessScope.EVENTS
    if path == HAND_OVER:
        return AccessScope.HAND_OVER
    if method in ("GET", "HEAD"):
        return AccessScope.READ
    of_engines = path.startswith("/api/engines") and not path.endswith("/visits")
    return AccessScope.ENGINES if of_engines else AccessScope.RECORD


SECURITY = {
    "program": {
        "type": "http",
        "scheme": "bearer",
        "description": "The token of a program. Scopes: " + ", ".join(f"`{scope}`" for scope in AccessScope) + ".",
    },
    "feed": {"type": "http", "scheme": "bearer", "description": "The token of a feed of live values."},
    "tablet": {"type": "apiKey", "in": "cookie", "name": TABLET, "description": "The cookie of a paired tablet."},
}
"""How a request may prove itself; one from the shop computer itself need not."""


router = APIRouter(
    prefix="/api",
    responses=OTHERS,
    dependencies=[Depends(within_scope), Depends(json_only), Depends(tried_only), Depends(located)],
    generate_unique_id_function=lambda route: route.name,
)
RESOURCES = (
    *(
        engines,
        fittings,
        visits,
        ends,
        phases,
        rounds,
        readings,
        moves,
        advice,
        banks,
        cold_setting,
        findings,
        recorded,
        story,
        slips,
    ),
    *(corrections, meters, settings, sites, changes, handing, instruments, doors, doors_of_checks),
)
for resource in RESOURCES:
    router.include_router(resource.router)
for further in (moves.cold, moves.made):
    router.include_router(further)


@router.get("/openapi.json", include_in_schema=False)
def openapi() -> JSONResponse:
    """The document that describes the interface."""
    return JSONResponse(document())


@cache
def document() -> dict[str, Any]:
    """The interface as an OpenAPI document."""
    described = get_openapi(
        title="Evenbore",
        version=version("evenbore"),
        summary="The JSON interface of a shop's records.",
        description=ABOUT.strip(),
        tags=[{"name": name, "description": said} for name, said in TAGS.items()],
        routes=router.routes,
    )
    problem = Problem.model_json_schema(ref_template="#/components/schemas/{model}")
    described["components"]["securitySchemes"] = SECURITY
    for path, operations in described["paths"].items():
        for method, operation in operations.items():
            asked = [{"program": [scope_of(method.upper(), path)]}, {"tablet": []}, {}]
            operation["security"] = [{"feed": []}] if path == FEED else asked
            _describe_answers(method, operation)
    described["components"]["schemas"] |= {**problem.pop("$defs"), "Problem": problem}
    enumerate_codes(described["components"]["schemas"])
    describe(described["components"]["schemas"])
    return described


def _describe_answers(method: str, operation: dict[str, Any]) -> None:
    """What its address names, where what a write made is found, and that it may be tried only."""
    answers = operation["responses"]
    for parameter in operation.get("parameters", ()):
        if parameter["in"] == "path":
            parameter.setdefault("description", PARAMETERS.get(parameter["name"], ""))
    if "201" in answers:
        answers["201"]["headers"] = {"Location": LOCATION}
    if method == "get" or operation["operationId"] in NOT_TRIED:
        return
    operation.setdefault("parameters", []).append(DESCRIBED)
    answers["204"] = {"description": "With `dry_run`: it would be stored. Nothing was."}
