"""What the cards of the reading page offer: the ways on, one more round, and the advised move with what it sends."""

from dataclasses import replace
from typing import Literal

from app.shop.assessment.progress import progress
from app.shop.procedure.items import Phase
from app.shop.procedure.read_order import Due
from app.shop.record.visit_record import Story
from app.shop.store.idempotency import new_key
from app.sync.engine.units import THOU
from app.sync.planning.advice import Advice
from app.web.pages.visit.moves import place_name
from app.web.presenters.views import Answer, Card

ONE_MORE = Answer("Read one more round", name="more", value="1")
MARKS: dict[str, Literal["coupler", "stop", "screw", "link", "bypass"]] = {
    "stop": "stop",
    "blade": "coupler",
    "screw": "screw",
    "link": "link",
    "bypass": "bypass",
}
"""What the mark beside a card's title shows of each kind of move."""


def here_of(story: Story, phase: Phase) -> str:
    """Where a phase of a visit is; its reading page, rounds and moves lie below."""
    return f"/visits/{story.visit.ident}/{phase.slug}"


def begins_round(story: Story, phase: Phase, title: str, reason: str, *answers: Answer) -> Card:
    """A card whose buttons begin a round; answers that lead somewhere may stand among them."""
    return Card("none", title, reason, answers, f"{here_of(story, phase)}/rounds", {"key": new_key()})


def go_on(story: Story, phase: Phase) -> Answer:
    """The way on from a phase: to what it lacks, to the next one that is not done, to the sign-off."""
    undone = next((standing.phase for standing in progress(story) if not standing.done), None)
    visit = f"/visits/{story.visit.ident}"
    if undone is None:
        return Answer("Sign it off", True, href=f"{visit}/sign-off")
    if undone is phase:
        return Answer("See what is missing", True, href=here_of(story, phase))
    return Answer(f"Go on to {undone.title.lower()}", True, href=visit)


def leave(story: Story, phase: Phase, due: Due) -> tuple[Answer, ...]:
    """The way on where a round was begun in a finished phase and nothing is in it: it may stay as it is."""
    current = due.current
    if current is None or current.entered or current.skipped:
        return ()
    done = any(standing.done for standing in progress(story) if standing.phase is phase)
    return (replace(go_on(story, phase), advised=False),) if done else ()


def move_card(story: Story, phase: Phase, advice: Advice, title: str, reason: str) -> Card:
    """The card of an advised move: made as advised, which is kept at once, or made differently."""
    place, here = place_name(advice.kind, advice.bank, advice.near, advice.far), here_of(story, phase)
    made = Answer("I made this move", True, name="advised", value="1")
    differently = Answer("Made differently", href=f"{here}/moves/new?kind={advice.kind}&place={place}")
    hidden = {
        "key": new_key(),
        "kind": advice.kind,
        "place": place,
        "by": story.visit.by,
        "seen": str(story.last_move),
        **_size(advice),
    }
    return Card(MARKS[advice.kind], title, reason, (made, differently), f"{here}/moves", hidden)


def _size(advice: Advice) -> dict[str, str]:
    """How far a move goes, as the form carries it: one or two leaves [thou], or turns or flats in or out."""
    if advice.kind == "blade":
        thou = [f"{leaf / THOU:g}" for leaf in advice.leaves]
        return {"leaf": thou[0], "second_leaf": thou[1] if len(thou) > 1 else ""}
    amount = advice.flats if advice.kind == "link" else advice.turns
    inward = amount < 0 if advice.kind == "bypass" else amount > 0
    return {"amount": f"{abs(amount):g}", "way": "in" if inward else "out"}
