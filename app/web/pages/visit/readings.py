"""The reading page of a phase: the engine from above, the keypad, the verdict, the one next step."""

from asyncio import get_running_loop
from collections.abc import Mapping
from contextvars import copy_context
from functools import partial
from typing import Any
from uuid import uuid4

from fastapi import APIRouter, Request
from fastapi.responses import PlainTextResponse, Response

from app.shop.commands import checks, opening_speeds, readings
from app.shop.commands.live.looks import Seen
from app.shop.commands.opening_speeds import NewSpeed
from app.shop.commands.readings import NewLook, NewReading
from app.shop.errors import NotFoundError, RejectedError
from app.shop.procedure.codes import SkipReason
from app.shop.procedure.items import Phase
from app.shop.procedure.running import SENT_AT_ONCE
from app.shop.queries.assessed import news_of, phase_seen
from app.shop.reasons import because
from app.shop.record.rounds import seconds
from app.shop.record.visit_record import VisitRecord
from app.shop.rejections import Rejection
from app.shop.store.database import Database
from app.shop.training import training
from app.sync.engine.units import THOU
from app.web.context import Form, Now, Page, Pages, PostedForm, Shop
from app.web.error_responses import status_of
from app.web.forms import Typed
from app.web.live.doors import Live
from app.web.live.hub import Hub, LookDiffersError
from app.web.presenters.drawing import phases
from app.web.presenters.reading.just_saved import just_saved
from app.web.presenters.reading.keypad import Entry, Wanted, speed_item
from app.web.presenters.reading.reading_page import ReadingPage
from app.wording.reasons import problems_in_words
from app.wording.work.safety import safety_lines
from app.wording.work.telephone import ReadingAsked, advice_prompt, speed_prompt

router = APIRouter()


async def add(request: Request) -> Response:
    """Save one reading, or show the page again with what is wrong beside the keypad."""
    visit_id, slug = request.path_params["visit_id"], request.path_params["slug"]
    if not visit_id.isdecimal():
        raise NotFoundError(because(Rejection.NO_SUCH_VISIT))
    sent = await PostedForm.by(request)
    # left to FastAPI, handing it to a thread takes a tenth of a millisecond longer; who asks is known by the context
    work = partial(copy_context().run, _add, sent, int(visit_id), slug, request.app.state.live)
    return await get_running_loop().run_in_executor(None, work)


# The first, as routes are tried in this order. FastAPI would take as long again to look at a request that is read here.
router.add_route("/visits/{visit_id}/{slug}/readings", add, methods=["POST"])


@router.get("/visits/{visit_id}/{slug}/readings")
def desk(
    shop: Shop,
    page: Page,
    visit_id: int,
    slug: str,
    bore: int | None = None,
    entry: Entry = "",
    skip: bool = False,
    above: bool = False,
    saved: str = "",
    *,
    now: Now,
) -> Response:
    """Read the bores. ``bore`` picks one out of turn, ``entry`` says what for, ``skip`` asks why to skip it; ``above``:
    the round that is begun approaches its opening from open. ``saved`` names what was saved a moment ago."""
    return _desk(shop, page, visit_id, slug, Wanted(bore, entry, skip, above), saved=(saved, now))


@router.get("/visits/{visit_id}/news")
def news(shop: Shop, visit_id: int, since: str = "") -> Response:
    """Whether anything was recorded or ran out since a page of that version was made: 200 when it did, else 204."""
    with shop.reading() as session:
        now = news_of(session, visit_id, since)
    return PlainTextResponse(now) if now else Response(status_code=204)


@router.post("/visits/{visit_id}/{slug}/speed")
def add_speed(shop: Shop, page: Page, form: Form, visit_id: int, slug: str, now: Now) -> Response:
    """Save the idle speed with what the phase asks for, or the engine speed off idle with its ``round``; or show the
    page again with what is wrong."""
    by, key = form.text("by"), form.text("key")
    if form.text("round"):
        return _add_opening_speed(shop, page, form, visit_id, slug, now)
    item = speed_item(phase_seen(shop, visit_id, slug).judged)
    if item is None:
        raise RejectedError({"value": because(Rejection.NO_IDLE_SPEED_HERE)})
    try:
        if form.text("practice"):
            training.read_speed(shop, visit_id, key, slug, item.slug, by, now)
        else:
            speed = form.number("value")
            form.raise_problems()
            checks.record(shop, visit_id, key, slug, {item.slug: speed}, by, now)
    except NotFoundError:
        raise
    except RejectedError as refusal:
        wanted = Wanted(entry="speed")
        return _desk(shop, page, visit_id, slug, wanted, form.values, problems_in_words(refusal), status_of(refusal))
    return page.saved(f"/visits/{visit_id}/{slug}/readings")


@router.post("/visits/{visit_id}/{slug}/look")
def add_look(shop: Shop, page: Page, form: Form, visit_id: int, slug: str, live: Live, now: Now) -> Response:
    """Save what sensors at all bores show at one moment as the rest of the round."""
    here = f"/visits/{visit_id}/{slug}/readings"
    try:
        values, shown = _of_all_bores(form)
        look = NewLook(slug, form.whole("round"), values, form.text("by"), form.text("look"))
        form.raise_problems()
        seen = _seen_of(live, look.look, shown)
        speed = seen.speed if seen is not None else None
        readings.add_look(shop, visit_id, form.text("key"), look, now, seen=seen, speed=speed)
    except NotFoundError:
        raise
    except RejectedError as refusal:
        problems = problems_in_words(refusal)
        return _desk(shop, page, visit_id, slug, Wanted(), {"key": form.text("key")}, problems, status_of(refusal))
    return page.saved(here)


@router.post("/visits/{visit_id}/{slug}/settle")
def settle(shop: Shop, page: Page, form: Form, visit_id: int, slug: str, now: Now) -> Response:
    """Save which of two readings of one bore counts."""
    pair = (form.whole("older"), form.whole("newer"))
    form.raise_problems()
    readings.settle(shop, visit_id, form.text("key"), slug, pair, form.text("counts"), form.text("by"), now)
    return page.saved(f"/visits/{visit_id}/{slug}/readings")


@router.post("/visits/{visit_id}/{slug}/rounds")
def begin(shop: Shop, page: Page, form: Form, visit_id: int, slug: str, now: Now) -> Response:
    """Begin one more round: the last one's opening again, or another [thou], straight up or from open."""
    above = bool(form.text("above"))
    named = "above" if above else "opening"
    wanted = form.number(named) * THOU if form.text(named) else None
    form.raise_problems()
    readings.begin_round(shop, visit_id, form.text("key"), slug, now, wanted, from_above=above)
    return page.saved(f"/visits/{visit_id}/{slug}/readings")


def _add(sent: PostedForm, visit_id: int, slug: str, live: Hub) -> Response:
    shop, page, form, now = sent
    here = f"/visits/{visit_id}/{slug}/readings"
    why, why_code, simulated = form.text("why"), form.text("why_code"), bool(form.text("practice"))
    skips = bool(form.text("skip") or why or why_code)
    if skips and not (why or why_code):
        above = "&above=true" if form.text("from_above") == "1" else ""
        return page.go(f"{here}?bore={form.whole('bore')}&skip=true{above}")
    try:
        new = NewReading(
            phase=slug,
            round_number=form.whole("round"),
            bore=form.whole("bore"),
            kind="skip" if skips else form.text("kind"),
            value=None if skips or simulated else form.number("value", Rejection.METER_VALUE_MISSING),
            by=form.text("by"),
            why=why,
            supersedes=_superseded(shop, form),
            from_above={"0": False, "1": True}.get(form.text("from_above")),
            why_code=_skip_reason(form),
            **(_of_a_look(form) if form.values.get("look") else {}),
        )
        form.raise_problems()
        if simulated:
            added = training.read(shop, visit_id, form.text("key"), new, now)
        else:
            seen, sure = _seen(live, form, new) if new.look else None, bool(form.text("sure"))
            speed = seen.speed if seen is not None else _speed_beside(shop, live, visit_id, now)
            added = readings.add(shop, visit_id, form.text("key"), new, now, sure=sure, seen=seen, speed=speed)
    except NotFoundError:
        raise
    except RejectedError as refusal:
        wanted = Wanted.typed(form, skips)
        far_off = refusal.has(Rejection.FAR_OFF)
        values = {**form.values, "sure": "1"} if far_off else form.values
        return _desk(shop, page, visit_id, slug, wanted, values, problems_in_words(refusal), status_of(refusal))
    return page.saved(f"{here}?saved=reading-{added}")


def _add_opening_speed(shop: Database, page: Pages, form: Typed, visit_id: int, slug: str, now: str) -> Response:
    simulated, key = bool(form.text("practice")), form.text("key")
    above = {"0": False, "1": True}.get(form.text("from_above"))
    try:
        speed = None if simulated else form.number("value")
        new = NewSpeed(slug, form.whole("round"), speed, form.text("by"), above)
        form.raise_problems()
        save = training.read_opening_speed if simulated else opening_speeds.record
        save(shop, visit_id, key, new, now)
    except NotFoundError:
        raise
    except RejectedError as refusal:
        wanted = Wanted(entry="speed", above=bool(above))
        return _desk(shop, page, visit_id, slug, wanted, form.values, problems_in_words(refusal), status_of(refusal))
    return page.saved(f"/visits/{visit_id}/{slug}/readings")


def _of_a_look(form: Typed) -> dict[str, Any]:
    """What a live value carries besides itself."""
    return {"sd": form.number("sd"), "look": form.text("look"), "fixed": bool(form.text("fixed"))}


def _seen(live: Hub, form: Typed, new: NewReading) -> Seen | None:
    """What stood behind a live value, None where that is no longer known. Raises RejectedError where it was another."""
    return None if new.value is None else _seen_of(live, new.look, {form.text("channel"): new.value})


def _seen_of(live: Hub, look: str, shown: Mapping[str, float]) -> Seen | None:
    """The same for values by channel."""
    try:
        return live.seen(look, shown)
    except LookDiffersError:
        raise RejectedError({"value": because(Rejection.LOOK_DIFFERS)}) from None


def _of_all_bores(form: Typed) -> tuple[dict[int, tuple[float, float]], dict[str, float]]:
    """What sensors at all bores showed: by bore the value and its standard error, and the value by channel. A field
    that reads ``bore:channel:value:error`` for each. Raises RejectedError."""
    values, shown = dict[int, tuple[float, float]](), dict[str, float]()
    for one in form.text("values").split():
        try:
            bore, channel, value, sd = one.split(":")
            values[int(bore)], shown[channel] = (float(value), float(sd)), float(value)
        except ValueError:
            raise RejectedError({"value": because(Rejection.STALE_FORM)}) from None
    if not values:
        raise RejectedError({"value": because(Rejection.STALE_FORM)})
    return values, shown


def _speed_beside(shop: Database, live: Hub, visit_id: int, at: str) -> float | None:
    """The engine speed beside a typed value [rev/s], None where no channel tells it or the value was held meanwhile."""
    if live.filled != visit_id:
        return None
    at_once = shop.clock is not None and shop.clock() - seconds(at) <= SENT_AT_ONCE
    return live.speed() if at_once else None


def _skip_reason(form: Typed) -> SkipReason | None:
    """Why the bore is skipped, as a code; None for words, which a page from before codes sends."""
    code = form.text("why_code")
    if code and code not in set(SkipReason):
        form.problems["value"] = because(Rejection.NOT_ONE_OF, choices=tuple(SkipReason))
        return None
    return SkipReason(code) if code else None


def _superseded(shop: Database, form: Typed) -> int | None:
    """The reading that is corrected, named by its id, or by its key when it was held while there was no connection."""
    named = form.text("supersedes")
    if not named:
        return None
    return form.whole("supersedes") if named.isdecimal() else readings.stored_under(shop, named)


def _spoken(record: VisitRecord, phase: Phase, shown: ReadingPage) -> str:
    """What is read out over the telephone here; empty at any other place."""
    if record.visit.place != "telephone" or record.sign_off is not None or phase.rounds == "none" or shown.waits:
        return ""
    if shown.opening_speed is not None:
        return speed_prompt(shown.opening_speed.opening, shown.opening_speed.from_above or shown.wanted.above)
    due = shown.due
    spoken = ReadingAsked(
        bore=shown.selected,
        unit=record.meter.unit_name,
        lever=due.opening,
        above=due.from_above or (due.current is None and shown.wanted.above),
        columns=record.meter.quantity == "vacuum",
        connected=record.last_reading > 0,
        begun=due.current is not None and (bool(due.current.entered) or due.opening > 0),
        opened=any(one.row.opening for one in record.rounds),
    )
    return advice_prompt(shown.step, record.layout, spoken)


def _desk(
    shop: Database,
    page: Pages,
    visit_id: int,
    slug: str,
    wanted: Wanted,
    values: Mapping[str, str] | None = None,
    problems: Mapping[str, str] | None = None,
    status: int = 200,
    saved: tuple[str, str] = ("", ""),
) -> Response:
    assessment, judged, made_at = phase_seen(shop, visit_id, slug)
    if assessment.stopped and status == 200:
        return page.go(f"/visits/{visit_id}/stop")
    record, phase = judged.record, judged.phase
    shown = ReadingPage(assessment, phase, wanted, values or {}, problems or {})
    return page.show(
        "visit/readings.html",
        status,
        record=record,
        phase=phase,
        phases=phases(assessment),
        desk=shown,
        version=made_at,
        simulated=record.simulated,
        runs=assessment.runs and record.sign_off is None and shown.writes,
        stop_key=str(uuid4()),
        cautions_here=safety_lines(judged.cautions),
        say=_spoken(record, phase, shown),
        just_saved=just_saved(record, phase, *saved),
        live=page.lets_feeds_in,
        problems=problems or {},
    )
