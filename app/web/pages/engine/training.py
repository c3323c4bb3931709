"""Training: start a simulated engine, and see at the end its true state and the work it took."""

from collections.abc import Mapping
from dataclasses import dataclass

from fastapi import APIRouter
from fastapi.responses import HTMLResponse, Response

from app.shop.errors import NotFoundError, RejectedError
from app.shop.procedure.phases import HEAT_SOAKED
from app.shop.reasons import because
from app.shop.record import loader
from app.shop.record.measures import Measure
from app.shop.rejections import Rejection
from app.shop.store.database import Database
from app.shop.store.idempotency import new_key
from app.shop.training import rough, training, training_start
from app.shop.training.training import Truth
from app.shop.training.training_start import NewPractice
from app.sync.engine.units import KG_PER_HOUR, REV_PER_MIN, THOU
from app.sync.engine.work_minutes import READ_MINUTES, RESET_MINUTES, TURN_MINUTES
from app.web.context import Form, Now, Page, Pages, Shop
from app.web.error_responses import status_of
from app.web.pages.shop.meters import meter_choices
from app.wording.message import Message, say
from app.wording.office import training as words
from app.wording.quantities import signed
from app.wording.reasons import problems_in_words

router = APIRouter()


@dataclass(frozen=True, slots=True)
class BoreTruth:
    """One bore's true state as shown: flow [kg/h], deviation from the mean, edge gap, and open, closed or even."""

    bore: int
    flow: str
    off: str
    gap: str
    word: str


@router.get("/practice")
def choose(shop: Shop, page: Page, now: Now) -> HTMLResponse:
    """The choice of a training engine."""
    values = {"key": new_key(), "shape": "4", "trouble": "slipped", "start": "hot", "by": ""}
    return _choose(shop, page, now, values, {})


@router.post("/practice")
def start(shop: Shop, page: Page, form: Form, now: Now) -> Response:
    """Register the engine and its visit, and go there."""
    meter = form.whole("meter") if form.text("meter") else None
    new = NewPractice(form.text("shape"), form.text("trouble"), form.text("start"), form.text("by"), meter)
    try:
        form.raise_problems()
        visit_id = training_start.start(shop, form.text("key"), new, words.record_texts(), now)
    except RejectedError as refusal:
        return _choose(shop, page, now, form.values, problems_in_words(refusal), status_of(refusal))
    return page.saved(f"/visits/{visit_id}")


@router.get("/practice/{visit_id}")
def truth(shop: Shop, page: Page, visit_id: int) -> HTMLResponse:
    """The true state of a training engine."""
    return _truth(shop, page, visit_id, with_expert=False)


@router.get("/practice/{visit_id}/expert")
def expert(shop: Shop, page: Page, visit_id: int) -> HTMLResponse:
    """The same with the work of a careful expert, which takes a few seconds to compute."""
    return _truth(shop, page, visit_id, with_expert=True)


def _choose(
    shop: Database,
    page: Pages,
    now: str,
    values: Mapping[str, str],
    problems: Mapping[str, str],
    status: int = 200,
) -> HTMLResponse:
    with shop.reading() as session:
        meters = meter_choices(session, now[:10])
    return page.show(
        "practice/start.html",
        status,
        shapes=_said(words.SHAPES),
        troubles=_said(words.TROUBLES),
        starts=_said(words.STARTS),
        meters=meters,
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
        graded = rough.grade(session, visit_id) if read else None
    tolerance, units = record.settings.window(HEAT_SOAKED.slug), record.units.on_screen
    return page.show(
        "practice/truth.html",
        record=record,
        found=found,
        headline=words.headline(found, tolerance) if found else "",
        gap=units.blade,
        lines=_lines(found, tolerance, units.of("blade")) if found else [],
        cause=words.cause_of(graded) if graded else [],
        unsafe=words.unsafe_words(graded) if graded else "",
        my_tests=words.hand_work(graded.mine) if graded else [],
        hand_tests=words.hand_work(graded.careful) if graded else [],
        hand_steps=words.hand_steps(graded) if graded else "",
        hands=words.hands_compared(graded) if graded else "",
        hidden=words.hidden(found) if found else [],
        mine=words.work_of(found) if found else [],
        expert=words.work_of_expert(work) if work else [],
        compared=words.compared(found, work, tolerance) if found and work else [],
        cost={"reading": READ_MINUTES, "screw": TURN_MINUTES, "feeler": f"{RESET_MINUTES:g}"},
        speed=f"{found.speed / REV_PER_MIN:.0f}" if found else "",
        mean=f"{found.mean / KG_PER_HOUR:.2f}" if found else "",
    )


def _said(choices: Mapping[str, Message]) -> list[tuple[str, str]]:
    """What may be chosen, each with its words."""
    return [(code, say(message)) for code, message in choices.items()]


def _lines(found: Truth, tolerance: float, unit: Measure) -> list[BoreTruth]:
    return [
        BoreTruth(
            one.bore,
            f"{one.flow / KG_PER_HOUR:.2f}",
            f"{signed(100 * one.off, 0)}\u00a0%",
            f"{one.gap / THOU / unit.size:.{unit.places}f}",
            words.state(one.off, tolerance),
        )
        for one in found.bores
    ]
