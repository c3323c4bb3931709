"""The time of a job: phase by phase as the record tells it, what like jobs took, and the form that corrects a phase."""

from collections.abc import Mapping

from fastapi import APIRouter
from fastapi.responses import HTMLResponse, Response

from app.shop.commands import hours
from app.shop.commands.hours import NewTime
from app.shop.errors import NotFoundError, RejectedError
from app.shop.procedure.phases import PHASES
from app.shop.queries.hours import of_job
from app.shop.record import loader
from app.shop.store.database import Database
from app.shop.store.idempotency import new_key
from app.web.context import Form, Now, Page, Pages, Shop
from app.web.error_responses import status_of
from app.wording.office.hours import duration, job_time, like_jobs
from app.wording.reasons import problems_in_words
from app.wording.work.phases import phase_title

router = APIRouter()


@router.get("/visits/{visit_id}/hours")
def show(shop: Shop, page: Page, visit_id: int) -> HTMLResponse:
    """What the job took so far."""
    return _page(shop, page, visit_id, {"key": new_key(), "phase": "", "minutes": "", "why": "", "by": ""}, {})


@router.post("/visits/{visit_id}/hours")
def correct(shop: Shop, page: Page, form: Form, visit_id: int, now: Now) -> Response:
    """Store what a phase took in truth."""
    try:
        minutes = form.number("minutes")
        form.raise_problems()
        new = NewTime(form.text("phase"), minutes, form.text("why"), form.text("by"))
        hours.correct(shop, visit_id, form.text("key"), new, now)
    except NotFoundError:
        raise
    except RejectedError as refusal:
        return _page(shop, page, visit_id, form.values, problems_in_words(refusal), status_of(refusal))
    return page.saved(f"/visits/{visit_id}/hours")


def _page(
    shop: Database,
    page: Pages,
    visit_id: int,
    values: Mapping[str, str],
    problems: Mapping[str, str],
    status: int = 200,
) -> HTMLResponse:
    with shop.reading() as session:
        record = loader.load(session, visit_id)
        job = of_job(session, visit_id, record.settings.gap)
    return page.show(
        "visit/hours.html",
        status,
        record=record,
        said=job_time(job),
        like=like_jobs(job.like),
        gap=duration(record.settings.gap),
        corrected=[
            (phase_title(one.phase), duration(one.spent), duration(one.recorded), one.correction)
            for one in job.phases
            if one.correction is not None
        ],
        phases=[(phase.slug, phase_title(phase)) for phase in PHASES],
        values=values,
        problems=problems,
    )
