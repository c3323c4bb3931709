"""The lines of the Engines page: an engine that is worked on, or one that was found."""

from collections.abc import Sequence
from dataclasses import dataclass

from app.shop.assessment.assessment import Assessment
from app.shop.at_site import customer
from app.shop.queries.open_visits import STALE
from app.shop.store.tables import Engine, Visit
from app.web.presenters.drawing import phases, small_rows
from app.web.presenters.filters import day, liters
from app.web.presenters.steps import wanted_next
from app.web.presenters.views import PhaseView, SmallRow
from app.wording import names
from app.wording.message import say
from app.wording.office import engines as engine_words
from app.wording.office import finding


@dataclass(frozen=True, slots=True)
class BoardLine:
    """One engine as the page shows it; the whole line leads to ``href``. ``age`` of an open visit is since anything was
    entered; one is ``stale`` after weeks."""

    href: str
    number: str
    what: str
    detail: str
    rows: Sequence[SmallRow]
    phases: Sequence[PhaseView]
    phase: str
    next: str
    where: str
    age: str = ""
    stale: bool = False


def worked_on(assessment: Assessment, age: float, elsewhere: str = "") -> BoardLine:
    """An engine with an open visit that was touched ``age`` [s] ago; ``elsewhere`` names another site that has it."""
    record, shown = assessment.record, phases(assessment)
    return BoardLine(
        href=f"/visits/{record.visit.ident}",
        number=record.engine.serial,
        what=f"{names.layout(record.layout)}, {liters(record.engine)}",
        detail=_joined(_job(record.visit.job), record.engine.vehicle, customer(record.engine)),
        rows=small_rows(assessment),
        phases=shown,
        phase=next((p.title for p in shown if p.state == "current"), say(engine_words.READY)),
        next=wanted_next(assessment),
        where=_joined(names.choice(record.visit.place), record.visit.by, elsewhere),
        age=finding.age(age),
        stale=age >= STALE,
    )


def found(engine: Engine, newest: Visit | None, mistaken: str = "") -> BoardLine:
    """An engine that was searched for, with its newest visit; ``mistaken`` says why that should never have been."""
    return BoardLine(
        href=f"/engines/{engine.ident}",
        number=engine.serial,
        what=engine.description or liters(engine),
        detail=_joined(engine.vehicle, customer(engine)),
        rows=(),
        phases=(),
        phase=_last_visit(newest),
        next=say(engine_words.MISTAKEN, why=mistaken) if mistaken else newest.why if newest else "",
        where=_place_and_job(newest) if newest else "",
    )


def _last_visit(newest: Visit | None) -> str:
    if newest is None:
        return say(engine_words.NO_VISIT)
    return say(engine_words.VISIT, number=newest.number, day=day(newest.opened_at))


def _place_and_job(visit: Visit) -> str:
    return _joined(names.choice(visit.place), _job(visit.job))


def _job(job: str) -> str:
    return say(engine_words.JOB, job=job) if job else ""


def _joined(*parts: str) -> str:
    return ", ".join(part for part in parts if part)
