"""A visit, phase by phase: what to do, what to record, what is missing; waivers and the sign-off."""

from collections.abc import Mapping
from dataclasses import replace
from datetime import datetime, timedelta
from urllib.parse import quote

from fastapi import APIRouter
from fastapi.responses import HTMLResponse, Response

from app.shop.at_site import may_write
from app.shop.commands import checks, people, visits
from app.shop.errors import NotFoundError, RejectedError
from app.shop.procedure.items import Item
from app.shop.procedure.phases import HEAT_SOAKED
from app.shop.procedure.running import may_run, state_of
from app.shop.queries.assessed import PhaseSeen, assessed, phase_seen
from app.shop.reasons import because
from app.shop.record import loader
from app.shop.record.measures import Units, offered
from app.shop.record.visit_record import VisitRecord
from app.shop.rejections import Rejection
from app.shop.store.database import Database
from app.shop.store.idempotency import new_key
from app.web.context import Form, Now, Page, Pages, ServerNow, Shop, stamp
from app.web.error_responses import status_of
from app.web.forms import LONGEST_AGO, Typed
from app.web.presenters.cold_setting import cold_offer
from app.web.presenters.drawing import phases
from app.web.presenters.heat_curve import heat_view
from app.web.presenters.history.history import since_left
from app.web.presenters.paper.result import result_of
from app.web.presenters.steps import (
    ask_of,
    check_lines,
    done_lines,
    in_groups,
    leak_lines,
    left_of,
    missing_besides_items,
    next_prompt,
    ready_to_read,
    recorded_here,
    resume_url,
    starts_first,
    the_rest,
)
from app.wording.reasons import problems_in_words
from app.wording.work.advice import outside_range
from app.wording.work.phases import phase_goal, phase_steps, phase_title
from app.wording.work.safety import deferral, safety_lines

router = APIRouter()

MISTAKEN_FIELDS = {"why": "mistaken_why", "by": "mistaken_by"}
"""The fields of the form that ends a visit opened by mistake: the page has others of those names."""


@router.get("/visits/{visit_id}")
def visit(shop: Shop, page: Page, visit_id: int) -> Response:
    """Go to where the visit is: the phase under way, at its readings once what comes before them is recorded."""
    with shop.reading() as session:
        assessment = assessed(session, visit_id)
    return page.go(resume_url(assessment))


@router.get("/visits/{visit_id}/sign-off")
def sign_off_form(shop: Shop, page: Page, visit_id: int) -> Response:
    """What was left undone, if anything, and the line for the name."""
    with shop.reading() as session:
        stopped = assessed(session, visit_id).stopped
    if stopped:
        return page.go(f"/visits/{visit_id}/stop")
    return _sign_off(shop, page, visit_id, {"key": new_key(), "name": ""}, {})


@router.post("/visits/{visit_id}/sign-off")
def sign_off(shop: Shop, page: Page, form: Form, visit_id: int, now: ServerNow) -> Response:
    """End the visit by a named person's word, then show the sheet."""
    try:
        visits.sign_off(shop, visit_id, form.text("key"), form.text("name"), now, form.text("pin"))
    except NotFoundError:
        raise
    except RejectedError as refusal:
        return _sign_off(shop, page, visit_id, form.values, problems_in_words(refusal), status_of(refusal))
    return page.saved(f"/visits/{visit_id}/sheet")


@router.post("/visits/{visit_id}/mistaken")
def end_mistaken(shop: Shop, page: Page, form: Form, visit_id: int, now: Now) -> Response:
    """End a visit that was opened by mistake, then show the engine, which has it in its history."""
    why, by = form.text("mistaken_why"), form.text("mistaken_by")
    with shop.reading() as session:
        engine_id = loader.load(session, visit_id).engine.ident
    try:
        visits.end_mistaken(shop, visit_id, form.text("key"), why, by, now)
    except NotFoundError:
        raise
    except RejectedError as refusal:
        problems = {MISTAKEN_FIELDS.get(name, name): said for name, said in problems_in_words(refusal).items()}
        typed = {"key": new_key(), "name": "", "mistaken_key": form.text("key"), "mistaken_why": why}
        return _sign_off(shop, page, visit_id, typed, problems, status_of(refusal))
    return page.saved(f"/engines/{engine_id}")


@router.get("/visits/{visit_id}/{slug}")
def steps(shop: Shop, page: Page, visit_id: int, slug: str, after: str = "") -> Response:
    """What a phase asks for, first what comes behind the item ``after``; the screen of a stop while one is open."""
    shown = phase_seen(shop, visit_id, slug)
    if shown.assessment.stopped:
        return page.go(f"/visits/{visit_id}/stop")
    return _steps(page, shown, {"after": after}, {})


@router.post("/visits/{visit_id}/{slug}/checks")
def record(shop: Shop, page: Page, form: Form, visit_id: int, slug: str, now: Now) -> Response:
    """Store what was ticked and filled in, all of it or nothing."""
    before = phase_seen(shop, visit_id, slug)
    try:
        units = _units(before, form)
        values = _values(before, form, units)
        kept = {item.slug for item in before.judged.items if item.over_time}
        read_at = _read_at(form, now, not kept.isdisjoint(values))
        form.raise_problems()
        checks.record(shop, visit_id, form.text("key"), slug, values, form.text("by"), now, read_at, units)
    except RejectedError as refusal:
        return _steps(page, before, form.values, problems_in_words(refusal), status_of(refusal))
    with shop.reading() as session:
        assessment = assessed(session, visit_id)
    there = resume_url(assessment)
    if form.text("after") and there == f"/visits/{visit_id}/{slug}":
        there += f"?after={quote(form.text('asked'))}"
    return page.saved(there)


@router.post("/visits/{visit_id}/{slug}/checks/back")
def take_back(shop: Shop, page: Page, form: Form, visit_id: int, slug: str, now: Now) -> Response:
    """Take one recorded item back."""
    item = form.text("item")
    try:
        checks.take_back(shop, visit_id, form.text("key"), slug, item, form.text("by"), now)
    except NotFoundError:
        raise
    except RejectedError as refusal:
        return _steps(page, phase_seen(shop, visit_id, slug), {}, problems_in_words(refusal), status_of(refusal))
    return page.saved(f"/visits/{visit_id}/{slug}")


@router.post("/visits/{visit_id}/{slug}/overrides")
def override(shop: Shop, page: Page, form: Form, visit_id: int, slug: str, now: Now) -> Response:
    """Pass the phase with something missing, for the reason typed."""
    try:
        why, by, gate = form.text("why"), form.text("override_by"), form.text("gate")
        checks.waive(shop, visit_id, form.text("key"), slug, why, by, now, gate or None)
    except NotFoundError:
        raise
    except RejectedError as refusal:
        shown = phase_seen(shop, visit_id, slug)
        return _steps(page, shown, form.values, problems_in_words(refusal), status_of(refusal))
    return page.saved(f"/visits/{visit_id}")


def _units(shown: PhaseSeen, form: Typed) -> Units:
    """What the figures of a form are in: the units beside its boxes, or the one a customer read this one out in."""
    unit, said = form.text("said_unit"), form.text("said")
    item = next((one for one in shown.judged.items if one.slug == said), None)
    if not unit or item is None:
        return form.units
    if item.quantity is None or unit not in offered(item.quantity):
        choices = offered(item.quantity) if item.quantity else (item.unit,)
        form.problems[said] = because(Rejection.NOT_ONE_OF, choices=choices)
        return form.units
    return replace(form.units, **{item.quantity: unit})


def _values(shown: PhaseSeen, form: Typed, units: Units) -> dict[str, float | None]:
    values: dict[str, float | None] = {}
    rest = form.text("rest").split()
    for item in shown.judged.items:
        typed = form.text(item.slug)
        if item.kind == "tick" and (typed or (item.in_a_row and item.slug in rest)):
            values[item.slug] = None
        elif item.kind == "number" and typed and not _unchanged(shown, item, typed, units):
            values[item.slug] = item.kept(form.number(item.slug), units)
    return values


def _read_at(form: Typed, now: str, over_time: bool) -> str:
    """When the figures typed were read, if that was some minutes before ``now``; ``over_time``: some are of a kind that
    keeps when it was read."""
    if not form.text("ago"):
        return ""
    if not over_time:
        form.problems["ago"] = because(Rejection.NO_TEMPERATURE)
        return ""
    ago = form.number("ago")
    if not 0 <= ago <= LONGEST_AGO:
        form.problems.setdefault("ago", because(Rejection.OUT_OF_RANGE, low=0, high=LONGEST_AGO, unit="minutes"))
        return ""
    return stamp(datetime.fromisoformat(now) - timedelta(minutes=ago)) if ago else ""


def _unchanged(shown: PhaseSeen, item: Item, typed: str, units: Units) -> bool:
    before = shown.judged.record.checks.get((shown.judged.phase.slug, item.slug))
    return (
        not item.over_time
        and before is not None
        and before.number is not None
        and typed == item.shown(before.number, units)
        and item.slug not in shown.judged.stale
    )


def _empty(record: VisitRecord) -> dict[str, str]:
    return {"key": new_key(), "by": record.visit.by, "override_by": record.visit.by}


def _steps(
    page: Pages, shown: PhaseSeen, values: Mapping[str, str], problems: Mapping[str, str], status: int = 200
) -> HTMLResponse:
    assessment, judged = shown.assessment, shown.judged
    record, phase, standing = judged.record, judged.phase, judged.status
    units = Typed(values).units if values.get("units") else record.units.on_screen
    stands = state_of(record).stands if phase.rounds != "none" else None
    parts = judged.parts
    lines = check_lines(judged, values, problems, units)
    open_here = record.sign_off is None and may_write(record.visit.site_id)
    offer = cold_offer(judged.cold) if open_here else None
    say = next_prompt(judged, lines) if open_here else None
    busy = say or standing.stops or standing.not_needed_because or (offer and offer.first)
    asks = ask_of(lines, values.get("after", ""), values.get("asked", "")) if open_here and not busy else None
    if stands and asks and not asks.line.item.engine_off:
        asks = None
    return page.show(
        "visit/steps.html",
        status,
        record=record,
        phase=phase,
        phases=phases(assessment),
        standing=standing,
        groups=in_groups(tuple(line for line in lines if not (line.done or line.optional) or not open_here)),
        done_here=[line for line in lines if line.done and open_here],
        optional=in_groups(tuple(line for line in lines if line.optional and open_here)),
        optional_typed=any(line.typed or line.problem for line in lines if line.optional),
        rest=the_rest(lines),
        units=units,
        left=left_of(standing, lines),
        beyond=missing_besides_items(standing),
        ready=stands is None and ready_to_read(standing, record.visit.place),
        title=phase_title(phase),
        goal=phase_goal(phase, parts),
        cautions_here=safety_lines(judged.cautions),
        steps_here=phase_steps(phase, parts),
        done=done_lines(record, phase),
        leaks=leak_lines(record, phase),
        recorded_here=open_here and recorded_here(record, phase),
        preset=judged.preset,
        preset_outside=outside_range(judged.preset.outside) if judged.preset else "",
        offer=offer,
        asks=asks,
        since=since_left(assessment),
        open_here=open_here,
        stands=stands,
        runs=open_here and may_run(record),
        starts=asks is not None and starts_first(judged, asks.line.item, lines),
        current=assessment.current,
        live=page.lets_feeds_in and not record.simulated,
        to_banks=phase is HEAT_SOAKED and assessment.to_banks,
        say=say,
        recheck=assessment.recheck if phase.rounds in ("coarse", "fine") and not standing.done else None,
        heat=heat_view(record, standing.heat) if standing.heat is not None else None,
        defer=deferral(),
        values={**_empty(record), **values},
        problems=problems,
    )


def _sign_off(
    shop: Database,
    page: Pages,
    visit_id: int,
    values: Mapping[str, str],
    problems: Mapping[str, str],
    status: int = 200,
) -> HTMLResponse:
    with shop.reading() as session:
        assessment, names = assessed(session, visit_id), people.everyone(session)
    alone = {"name": names[0].name} if len(names) == 1 and not values.get("name") else {}
    return page.show(
        "visit/sign_off.html",
        status,
        record=assessment.record,
        phases=phases(assessment),
        result=result_of(assessment),
        standings=[(phase_title(one.phase), one) for one in assessment.statuses],
        people=[(one.name, one.name) for one in names],
        values={**values, **alone},
        problems=problems,
    )
