"""Practice: start a simulated engine, and see at the end how it really stood and what the work took."""

from collections.abc import Mapping
from dataclasses import dataclass

from fastapi import APIRouter
from fastapi.responses import HTMLResponse, Response

from app.shop.errors import NotFoundError, RejectedError
from app.shop.procedure.phases import HEAT_SOAKED
from app.shop.reasons import because
from app.shop.record import loader
from app.shop.record.measures import Measure
from app.shop.record.visit_record import VisitRecord
from app.shop.rejections import Rejection
from app.shop.store.database import Database
from app.shop.store.idempotency import new_key
from app.shop.training import training, training_start
from app.shop.training.training import Truth
from app.shop.training.training_start import NewPractice
from app.sync.engine.units import KG_PER_HOUR, REV_PER_MIN, THOU
from app.sync.simulation.reference_run import ReferenceRun
from app.web.context import Form, Now, Page, Pages, Shop
from app.web.error_responses import status_of
from app.wording.reasons import problems_in_words
from app.wording.words import signed

router = APIRouter()

SHAPES: Mapping[str, str] = {
    "4": "4 in line",
    "4-two": "4 in two banks",
    "6": "6 in line",
    "6-two": "6 in two banks",
    "8": "8 in line",
    "8-two": "8 in two banks",
    "12-two": "12 in two banks",
    "4-screws": "4 in line, a screw in every coupler",
    "4-twins": "4 on two shafts, with bypass screws",
}
TROUBLES: Mapping[str, str] = {
    "sound": "A sound engine that is not even",
    "slipped": "It was even, then a coupler slipped",
    "loose": "One coupler has lost motion",
    "worn": "A link joint is worn, on two banks",
}
STARTS: Mapping[str, str] = {
    "hot": "At the readings: it is hot, everything before is recorded",
    "cold": "At the cold preset: every step of a first visit",
}


@dataclass(frozen=True, slots=True)
class BoreLine:
    """One bore as it really stands, in words: flow [kg/h], per cent off the mean, gap, wide, tight or even."""

    bore: int
    flow: str
    off: str
    gap: str
    word: str


@router.get("/practice")
def choose(page: Page) -> HTMLResponse:
    """What engine to practise on."""
    values = {"key": new_key(), "shape": "4", "trouble": "slipped", "start": "hot", "by": ""}
    return _choose(page, values, {})


@router.post("/practice")
def start(shop: Shop, page: Page, form: Form, now: Now) -> Response:
    """Register the engine and its visit, and go there."""
    new = NewPractice(form.text("shape"), form.text("trouble"), form.text("start"), form.text("by"))
    try:
        form.raise_problems()
        visit_id = training_start.start(shop, form.text("key"), new, now)
    except RejectedError as refusal:
        return _choose(page, form.values, problems_in_words(refusal), status_of(refusal))
    return page.saved(f"/visits/{visit_id}")


@router.get("/practice/{visit_id}")
def truth(shop: Shop, page: Page, visit_id: int) -> HTMLResponse:
    """How the engine of a practice visit really stands."""
    return _truth(shop, page, visit_id, with_expert=False)


@router.get("/practice/{visit_id}/expert")
def expert(shop: Shop, page: Page, visit_id: int) -> HTMLResponse:
    """The same with what somebody careful would have needed, which takes some seconds to work out."""
    return _truth(shop, page, visit_id, with_expert=True)


def _choose(page: Pages, values: Mapping[str, str], problems: Mapping[str, str], status: int = 200) -> HTMLResponse:
    return page.show(
        "practice/start.html",
        status,
        shapes=list(SHAPES.items()),
        troubles=list(TROUBLES.items()),
        starts=list(STARTS.items()),
        values=values,
        problems=problems,
    )


def _truth(shop: Database, page: Pages, visit_id: int, with_expert: bool) -> HTMLResponse:
    with shop.reading() as session:
        record = loader.load(session, visit_id)
        if training.of_engine(session, record.engine.ident) is None:
            raise NotFoundError(because(Rejection.NO_TRAINING_ENGINE))
        read = any(one.closed for one in record.rounds)
        found = training.truth(session, visit_id) if read else None
        work = training.expert(session, visit_id) if read and with_expert else None
    window = record.settings.window(HEAT_SOAKED.slug)
    return page.show(
        "practice/truth.html",
        record=record,
        found=found,
        headline=_headline(found, window) if found else "",
        gap=record.units.blade,
        lines=_lines(found, window, record.units.of("blade")) if found else [],
        hidden=_hidden(found) if found else [],
        work=work,
        compared=_compared(found, work, record) if found and work else "",
        speed=f"{found.speed / REV_PER_MIN:.0f}" if found else "",
        mean=f"{found.mean / KG_PER_HOUR:.2f}" if found else "",
    )


def _headline(found: Truth, window: float) -> str:
    if found.worst <= window:
        return f"Truly even: every bore is within {100 * window:g} % of the mean."
    far = max(found.bores, key=lambda one: abs(one.off))
    way = "wide" if far.off > 0 else "tight"
    return f"Not even in truth: bore {far.bore} stands {way} by {100 * abs(far.off):.0f} % of the mean."


def _lines(found: Truth, window: float, unit: Measure) -> list[BoreLine]:
    def word(off: float) -> str:
        if abs(off) <= window:
            return "even"
        return "wide" if off > 0 else "tight"

    return [
        BoreLine(
            one.bore,
            f"{one.flow / KG_PER_HOUR:.2f}",
            f"{signed(100 * one.off, 0)} %",
            f"{one.gap / THOU / unit.size:.{unit.places - 1}f}",
            word(one.off),
        )
        for one in found.bores
    ]


def _hidden(found: Truth) -> list[str]:
    """What the trainee could not see, a sentence each."""
    more = found.scale - 1
    said = [
        f"The meter shows {100 * abs(more):.0f} % {'more' if more > 0 else 'less'} than flows. "
        "Evenness does not mind: it shows so at every bore."
    ]
    if found.slipped is not None:
        said.append(f"Coupler {found.slipped.near}–{found.slipped.far} had slipped; the rest was even before.")
    if found.slack is not None:
        coupler = found.slack.coupler
        said.append(
            f"Coupler {coupler.near}–{coupler.far} has lost motion, good for {100 * found.slack.swing:.0f} % of the "
            "flow beyond it. It rests elsewhere after every move; no setting cures that."
        )
    if found.worn is not None:
        bank, flats = found.worn
        said.append(
            f"A joint in the link of bank {bank} has lost motion: opened up to a blade the bank is {flats:.1f} flats "
            "late, from above it is not. Mend the joint; no flat cures it."
        )
    if found.late is not None and (found.worn is None or found.late[1] >= 0.5):
        bank, flats = found.late
        said.append(
            f"The link of bank {bank} is late by {flats:.1f} flats. Idle does not show it; the openings do."
            if flats >= 0.5
            else "Both links start together, to half a flat."
        )
    return said


def _compared(found: Truth, work: ReferenceRun, record: VisitRecord) -> str:
    """The trainee's minutes beside the expert's."""
    more = found.minutes - work.minutes
    if found.worst > record.settings.window(HEAT_SOAKED.slug):
        return "Yours is not even yet: the minutes compare once it is."
    if more > 1:
        return f"That is {more:.0f} minutes less than yours."
    return "Yours took no longer." if more <= 0 else "Yours took about as long."
