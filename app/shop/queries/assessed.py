"""A visit with what is judged of it, handed out again while nothing was added to it."""

import math
from typing import NamedTuple

from sqlmodel import Session

from app.shop.assessment.assessment import Assessment, PhaseAssessment, assess
from app.shop.assessment.gates import Gate, gate_of
from app.shop.commands.corrections import as_issued, issue_of
from app.shop.errors import NotFoundError
from app.shop.procedure.phases import PHASES
from app.shop.procedure.requirements import Waiting
from app.shop.reasons import because
from app.shop.record import loader
from app.shop.record.revision import Revision, revision_when_read, version, version_of
from app.shop.record.visit_record import VisitRecord
from app.shop.store.database import Database


class PhaseSeen(NamedTuple):
    """One phase of a visit as a page sees it: all of one moment, with the ``version`` that changes with every row and
    says until when it holds."""

    assessment: Assessment
    judged: PhaseAssessment
    version: str


def phase_seen(shop: Database, visit_id: int, slug: str) -> PhaseSeen:
    """What there is to see of a phase of a visit now. Raises NotFoundError where one of them does not exist."""
    phase = next((one for one in PHASES if one.slug == slug), None)
    if phase is None:
        raise NotFoundError(because(Waiting.NO_SUCH_PHASE))
    with shop.reading() as session:
        assessment = assessed(session, visit_id)
    until = f"@{assessment.until:.3f}" if math.isfinite(assessment.until) else ""
    return PhaseSeen(assessment, assessment.of(phase), f"{version_of(assessment.record)}{until}")


def news_of(session: Session, visit_id: int, since: str) -> str:
    """The version of a visit where a page of version ``since`` is out of date; empty where it is not.

    Raises NotFoundError.
    """
    told, _, until = since.partition("@")
    now, time = version(session, visit_id), session.info["now"]
    try:
        ran_out = bool(until) and time is not None and time > float(until)
    except ValueError:
        ran_out = True
    return now if ran_out or now != told else ""


def issued(assessment: Assessment, issue: int) -> Assessment:
    """What was judged of a visit by an earlier issue of its sheet; ``assessment`` where it is the newest or none."""
    record = assessment.record
    return assess(as_issued(record, issue)) if 0 < issue < issue_of(record) else assessment


def assessed(session: Session, visit_id: int) -> Assessment:
    """The assessment of a visit as it is recorded now. Raises NotFoundError."""
    return assessment_of(session, loader.load(session, visit_id))


def assessment_of(session: Session, record: VisitRecord) -> Assessment:
    """The assessment of a record, made once for each of its revisions and again when something ran out since."""
    name = ("assessment", record.visit.ident)
    kept: tuple[Revision, Assessment] | None = session.info["memory"].get(name)
    revision = revision_when_read(record)
    if kept is not None and kept[0] == revision and kept[1].holds(record.now):
        return kept[1]
    made = assess(record)
    session.info["fresh"][name] = (revision, made)
    return made


def gate_kept(session: Session, record: VisitRecord, slug: str) -> Gate:
    """What stands before a phase, worked out once for as long as only that phase is read and nothing runs out."""
    kept: tuple[Revision, dict[str, Gate]] | None = session.info["memory"].get(("gates", record.visit.ident))
    gate = kept[1].get(slug) if kept is not None and kept[0] == revision_when_read(record) else None
    return gate if gate is not None and gate.holds(record.now) else gate_of(record, slug)


def keep_gate(session: Session, record: VisitRecord, slug: str, gate: Gate) -> None:
    """Keep the gate of a phase for ``record``, which has one more reading taken in that phase."""
    kept: tuple[Revision, dict[str, Gate]] | None = session.info["memory"].get(("gates", record.visit.ident))
    earlier = [phase.slug for phase in PHASES[: [phase.slug for phase in PHASES].index(slug)]]
    known = {name: one for name, one in kept[1].items() if name in earlier} if kept is not None else {}
    session.info["fresh"][("gates", record.visit.ident)] = (revision_when_read(record), {**known, slug: gate})
