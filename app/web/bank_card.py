"""The words of the part-throttle page: what the banks do off idle, and what to turn or read next."""

from app.shop.judgement import balanced
from app.shop.keys import new_key
from app.shop.story import Story
from app.shop.walk import Due
from app.sync import words
from app.sync.advice import Advice
from app.sync.banks import BankStory
from app.sync.units import DEGREE
from app.web.drawing import unit_of
from app.web.views import Answer, Card, VerdictView

CAUSES = {
    "nothing": "Nothing speaks against the links.",
    "length": "The difference stays the same as the lever opens: a link of the wrong length.",
    "ratio": "The difference grows as the lever opens: the levers are unequal. Flow cannot size that.",
    "slack": "Late on the way up and not on the way down: lost motion in a joint. Mend that, not the link.",
    "held": "A link holds its bank off the stop.",
    "unknown": "The readings fit more than one cause.",
    "single": "One bank: there is nothing to balance.",
}
EXTRAS = {
    "flow_meter": "Read both banks with a flow meter: a vacuum column says nothing here.",
    "idle": "Read both banks at idle first, in the heat-soaked recheck.",
    "free_play": "Engine off: feel that both links have free play at the stop, and record it.",
    "opening": "Read both banks at a further opening.",
    "wider_opening": "Read both banks at a wider opening.",
    "both_ways": "Engine off: feel the link joints for lost motion, and record it.",
    "angle_gauge": "Engine off: lay an angle gauge on both shafts through the whole travel.",
    "again": "Read both openings again.",
    "none": "",
}


def verdict(story: Story, found: BankStory | None) -> VerdictView:
    """How far the banks stand apart, at each opening that was read."""
    if len(story.layout.banks) < 2:
        return VerdictView("none", "One bank", "There is nothing to balance.")
    if found is None:
        return VerdictView("none", "Nothing to say yet", "Both banks, at two openings of the lever, each round closed.")
    unit = unit_of(story.meter)
    first, second = found.banks
    said = []
    for one in found.differences:
        at = words.blade(one.lever_travel, story.units.metric) if one.lever_travel else "idle"
        said.append(f"{at}: {unit.show(one.difference)} ({one.percent:+.1f} %)")
    even = balanced(story, found)
    return VerdictView(
        "none",
        "Banks open together" if even else f"Bank {second} less bank {first}",
        f"{second} less {first}, {unit.name} a bore. {'; '.join(said)}." if even else f"{'; '.join(said)}.",
    )


def said(story: Story, advice: Advice, found: BankStory | None, due: Due) -> tuple[str, str]:
    """The next step off idle as a title and the reason for it."""
    match advice.kind, advice.why:
        case "done", "single":
            return "Nothing to do here", CAUSES["single"]
        case "done", _:
            return "Leave the links alone", CAUSES["nothing"]
        case "measure", _ if due.bore is not None:
            lever = "Blade out, pedal released: idle once more, since a link was turned."
            if due.opening:
                lever = f"Lay {words.blade(due.opening, story.units.metric)} under the central lever and hold it there."
            return f"Read bore {due.bore}{' again' if due.kind == 'closing' else ''}", lever
        case "link", _ if found is not None:
            way = "earlier" if advice.flats > 0 else "later"
            count = f"{abs(advice.flats):g} flat{'' if abs(advice.flats) == 1 else 's'}"
            early = found.banks[1] if found.offset > 0 else found.banks[0]
            return (
                f"Turn the link of bank {advice.bank} by {count}, so that it opens {way}",
                f"Bank {early} leaves {abs(found.offset) / DEGREE:.1f} degrees early. Engine off; idle is not touched. "
                "Lock it, then read both openings again.",
            )
    cause = f"{CAUSES[found.cause]} " if found is not None else ""
    return "Cannot tell yet", f"{cause}{EXTRAS[advice.why]}".strip()


def card(story: Story, advice: Advice, found: BankStory | None, due: Due, here: str) -> Card:
    """The next thing to read or turn."""
    title, reason = said(story, advice, found, due)
    match advice.kind:
        case "done" if advice.why == "single":
            return Card("none", title, reason, (_go_on(story),))
        case "done":
            return Card("none", title, reason, (_go_on(story), *_more()), f"{here}/rounds", _key())
        case "link":
            return _turn(story, advice, title, reason, here)
        case "measure" if due.bore is not None:
            return Card("none", title, reason)
    missing = Answer("Record it", True, href=here) if advice.why in ("free_play", "both_ways") else None
    answers = tuple(a for a in (missing, *_more()) if a)
    return Card("none", title, reason, answers, f"{here}/rounds", _key())


def _turn(story: Story, advice: Advice, title: str, reason: str, here: str) -> Card:
    return Card(
        "link",
        title,
        reason,
        (
            Answer("I made this move", True, name="advised", value="1"),
            Answer("Made differently", href=f"{here}/moves/new?kind=link&place={advice.bank}"),
        ),
        f"{here}/moves",
        {
            **_key(),
            "kind": "link",
            "place": advice.bank or "",
            "amount": f"{abs(advice.flats):g}",
            "way": "in" if advice.flats > 0 else "out",
            "by": story.visit.by,
            "seen": str(story.last_move),
        },
    )


def _go_on(story: Story) -> Answer:
    return Answer("Go on", True, href=f"/visits/{story.visit.ident}")


def _more() -> tuple[Answer, ...]:
    return (Answer("Read one more round", name="more", value="1"),)


def _key() -> dict[str, str]:
    return {"key": new_key()}
