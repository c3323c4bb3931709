"""What the cards of the reading page offer: the ways on, one more round, and the advised adjustment to record."""

from dataclasses import replace
from typing import Literal

from app.shop.assessment.progress import progress
from app.shop.procedure.items import Phase
from app.shop.procedure.read_order import NextReading
from app.shop.record.visit_record import VisitRecord
from app.shop.store.idempotency import new_key
from app.sync.engine.units import THOU
from app.sync.planning.advice import Advice, AdviceKind
from app.web.pages.visit.moves import place_name
from app.web.presenters.views import Action, Card
from app.wording import reading_page as words
from app.wording.message import say
from app.wording.phases import phase_name

MARKS: dict[str, Literal["coupler", "stop", "screw", "link", "bypass"]] = {
    AdviceKind.STOP: "stop",
    AdviceKind.BLADE: "coupler",
    AdviceKind.SCREW: "screw",
    AdviceKind.LINK: "link",
    AdviceKind.BYPASS: "bypass",
}
"""What the mark beside a card's title shows of each kind of adjustment."""


def here_of(record: VisitRecord, phase: Phase) -> str:
    """Where a phase of a visit is; its reading page, rounds and moves lie below."""
    return f"/visits/{record.visit.ident}/{phase.slug}"


def one_more() -> Action:
    """One more round of the same kind."""
    return Action(say(words.ONE_MORE), name="more", value="1")


def begins_round(record: VisitRecord, phase: Phase, title: str, reason: str, *answers: Action) -> Card:
    """A card whose buttons begin a round; answers that lead somewhere may stand among them."""
    return Card("none", title, reason, answers, f"{here_of(record, phase)}/rounds", {"key": new_key()})


def go_on(record: VisitRecord, phase: Phase) -> Action:
    """The way on from a phase: to what it lacks, to the next one that is not done, to the sign-off."""
    undone = next((standing.phase for standing in progress(record) if not standing.done), None)
    visit = f"/visits/{record.visit.ident}"
    if undone is None:
        return Action(say(words.SIGN_OFF), True, href=f"{visit}/sign-off")
    if undone is phase:
        return Action(say(words.SHOW_MISSING), True, href=here_of(record, phase))
    return Action(say(words.CONTINUE, phase=phase_name(undone)), True, href=visit)


def leave(record: VisitRecord, phase: Phase, due: NextReading) -> tuple[Action, ...]:
    """The way on where a round was begun in a finished phase and nothing is in it: it may stay as it is."""
    current = due.current
    if current is None or current.entered or current.skipped:
        return ()
    done = any(standing.done for standing in progress(record) if standing.phase is phase)
    return (replace(go_on(record, phase), advised=False),) if done else ()


def move_card(record: VisitRecord, phase: Phase, advice: Advice, title: str, reason: str) -> Card:
    """The card of an advised adjustment: done as shown, which is saved at once, or done differently."""
    place, here = place_name(advice.kind, advice.bank, advice.near, advice.far), here_of(record, phase)
    made = Action(say(words.DONE_AS_SHOWN), True, name="advised", value="1")
    differently = Action(say(words.DONE_DIFFERENTLY), href=f"{here}/moves/new?kind={advice.kind}&place={place}")
    hidden = {
        "key": new_key(),
        "kind": str(advice.kind),
        "place": place,
        "by": record.visit.by,
        "seen": str(record.last_move),
        **_size(advice),
    }
    return Card(MARKS[advice.kind], title, reason, (made, differently), f"{here}/moves", hidden)


def _size(advice: Advice) -> dict[str, str]:
    """How far an adjustment goes, as the form carries it: one or two leaves [thou], or turns or flats in or out."""
    if advice.kind is AdviceKind.BLADE:
        thou = [f"{leaf / THOU:g}" for leaf in advice.leaves]
        return {"leaf": thou[0], "second_leaf": thou[1] if len(thou) > 1 else ""}
    amount = advice.flats if advice.kind is AdviceKind.LINK else advice.turns
    inward = amount < 0 if advice.kind is AdviceKind.BYPASS else amount > 0
    return {"amount": f"{abs(amount):g}", "way": "in" if inward else "out"}
