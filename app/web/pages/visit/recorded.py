"""The list of what was recorded in a phase while the visit is open, and the correction of a reading in any round."""

from collections.abc import Mapping

from fastapi import APIRouter
from fastapi.responses import HTMLResponse, Response

from app.shop.at_site import may_write
from app.shop.commands import opening_speeds, readings
from app.shop.commands.opening_speeds import NewSpeed
from app.shop.commands.readings import NewReading
from app.shop.errors import ConflictError, NotFoundError, RejectedError
from app.shop.queries.assessed import PhaseSeen, phase_seen
from app.shop.reasons import because
from app.shop.rejections import Rejection
from app.shop.store.idempotency import new_key
from app.web.context import Form, Now, Page, Pages, Shop
from app.web.error_responses import status_of
from app.web.presenters.drawing import phases
from app.web.presenters.reading.recorded import recorded, recorded_reading, recorded_speed
from app.wording.message import say
from app.wording.reasons import problems_in_words
from app.wording.work import corrections as words
from app.wording.work.phases import phase_name

router = APIRouter()


@router.get("/visits/{visit_id}/{slug}/recorded")
def show_recorded(shop: Shop, page: Page, visit_id: int, slug: str, reading: int = 0, speed: int = 0) -> HTMLResponse:
    """Rounds and adjustments of a phase; ``reading`` is one to type the right value of, ``speed`` the round whose
    engine speed is."""
    return _recorded(page, phase_seen(shop, visit_id, slug), reading, {"key": new_key()}, {}, speed=speed)


@router.post("/visits/{visit_id}/{slug}/speed/correct")
def correct_speed(shop: Shop, page: Page, form: Form, visit_id: int, slug: str, now: Now) -> Response:
    """Save the right engine speed of a round off idle, whatever was adjusted since."""
    shown, number = phase_seen(shop, visit_id, slug), form.whole("round")
    try:
        speed = form.number("value")
        form.raise_problems()
        new = NewSpeed(slug, number, speed, form.text("by"))
        opening_speeds.correct(shop, visit_id, form.text("key"), new, now)
    except NotFoundError:
        raise
    except RejectedError as refusal:
        problems = problems_in_words(refusal)
        return _recorded(page, shown, 0, form.values, problems, status_of(refusal), speed=number)
    return page.saved(f"/visits/{visit_id}/{slug}/recorded")


@router.post("/visits/{visit_id}/{slug}/readings/correct")
def correct_reading(shop: Shop, page: Page, form: Form, visit_id: int, slug: str, now: Now) -> Response:
    """Save the right value of a reading, whatever was adjusted since."""
    shown, ident = phase_seen(shop, visit_id, slug), form.whole("reading")
    try:
        value = form.number("value", Rejection.METER_VALUE_MISSING)
        form.raise_problems()
        old = recorded_reading(shown.judged.record, shown.judged.phase, ident)
        if old is None:
            raise ConflictError({"value": because(Rejection.CORRECTED_VALUE_UNKNOWN)})
        entry, number, by = old.entry, old.round.row.number, form.text("by")
        new = NewReading(slug, number, entry.bore, entry.kind, value, by, supersedes=ident)
        readings.add(shop, visit_id, form.text("key"), new, now, sure=bool(form.text("sure")))
    except NotFoundError:
        raise
    except RejectedError as refusal:
        values = {**form.values, "sure": "1"} if refusal.has(Rejection.FAR_OFF) else form.values
        return _recorded(page, shown, ident, values, problems_in_words(refusal), status_of(refusal))
    return page.saved(f"/visits/{visit_id}/{slug}/recorded")


def _recorded(
    page: Pages,
    shown: PhaseSeen,
    reading: int,
    values: Mapping[str, str],
    problems: Mapping[str, str],
    status: int = 200,
    speed: int = 0,
) -> HTMLResponse:
    record, phase = shown.judged.record, shown.judged.phase
    return page.show(
        "visit/recorded.html",
        status,
        record=record,
        phase=phase,
        phases=phases(shown.assessment),
        title=say(words.TITLE, phase=phase_name(phase)),
        lines=recorded(record, phase, reading),
        corrected=recorded_reading(record, phase, reading),
        speed=recorded_speed(record, phase, speed),
        open_here=record.sign_off is None and may_write(record.visit.site_id),
        values=values,
        problems=problems,
    )
