"""What the cards of the reading page offer: the ways on, one more round, and the advised adjustment to record."""

from dataclasses import replace

from app.shop.assessment.assessment import Assessment, PhaseAssessment
from app.shop.procedure.items import Phase
from app.shop.procedure.phases import HEAT_SOAKED
from app.shop.procedure.requirements import Waiting
from app.shop.record.visit_record import VisitRecord
from app.shop.store.idempotency import new_key
from app.sync.planning.advice import Advice
from app.web.presenters.adjusters import amount_fields, drawing_of, place_text
from app.web.presenters.views import Action, Card
from app.wording.message import Message, say
from app.wording.work import reading_page as words
from app.wording.work.phases import phase_name


def here_of(record: VisitRecord, phase: Phase) -> str:
    """Where a phase of a visit is; its reading page, rounds and moves lie below."""
    return f"/visits/{record.visit.ident}/{phase.slug}"


def one_more() -> Action:
    """One more round of the same kind."""
    return Action(say(words.ONE_MORE), name="more", value="1")


def find_cause(record: VisitRecord, label: Message, advised: bool = False) -> Action:
    """The way to the cross-check: what no plate puts right."""
    return Action(say(label), advised, href=f"/visits/{record.visit.ident}/why")


def begins_round(record: VisitRecord, phase: Phase, title: str, reason: str, *answers: Action) -> Card:
    """A card whose buttons begin a round; answers that lead somewhere may stand among them."""
    return Card("none", title, reason, answers, f"{here_of(record, phase)}/rounds", {"key": new_key()})


def go_on(assessment: Assessment, phase: Phase) -> Action:
    """The way on from a phase: to what it lacks, to the next one that is not done, to the sign-off."""
    undone = next((status.phase for status in assessment.statuses if not status.done), None)
    record = assessment.record
    visit = f"/visits/{record.visit.ident}"
    if undone is None:
        return Action(say(words.SIGN_OFF), True, href=f"{visit}/sign-off")
    if undone is phase:
        return Action(say(words.SHOW_MISSING), True, href=here_of(record, phase))
    return Action(say(words.CONTINUE, phase=phase_name(undone)), True, href=visit)


def first(assessment: Assessment, judged: PhaseAssessment) -> Action:
    """The way to what has to be done before the engine is read."""
    home = f"/visits/{assessment.record.visit.ident}"
    match judged.waits.code if judged.waits is not None else None:
        case Waiting.ENGINE_STANDS:
            return Action(say(words.OPEN_START_LIST), True, href=f"{home}/start")
        case Waiting.HEAT_RAN_OUT:
            return Action(say(words.READ_GAUGES), True, href=here_of(assessment.record, HEAT_SOAKED))
        case Waiting.CHECK_FIRST:
            return Action(say(words.OPEN_CHECKLIST), True, href=here_of(assessment.record, judged.phase))
    return go_on(assessment, judged.phase)


def leave(assessment: Assessment, judged: PhaseAssessment) -> tuple[Action, ...]:
    """The way on where a round was begun in a finished phase and nothing is in it: it may stay as it is."""
    current = judged.due.current
    if current is None or current.entered or current.skipped:
        return ()
    return (replace(go_on(assessment, judged.phase), advised=False),) if judged.status.done else ()


def move_card(record: VisitRecord, phase: Phase, advice: Advice, title: str, reason: str) -> Card:
    """The card of an advised adjustment: done as shown, which is saved at once, or done differently."""
    assert advice.adjuster is not None
    place, here = place_text(advice.place), here_of(record, phase)
    made = Action(say(words.DONE_AS_SHOWN), True, name="advised", value="1")
    differently = Action(say(words.DONE_DIFFERENTLY), href=f"{here}/moves/new?kind={advice.kind}&place={place}")
    hidden = {
        "key": new_key(),
        "kind": str(advice.kind),
        "place": place,
        "says": title,
        "by": record.visit.by,
        "seen": str(record.newest_move),
        **amount_fields(advice.adjuster, advice),
    }
    return Card(drawing_of(advice.kind).mark, title, reason, (made, differently), f"{here}/moves", hidden)
