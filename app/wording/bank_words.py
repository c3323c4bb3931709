"""What the banks do off idle and what to turn or read next, in words: the same for pages and programs."""

from app.shop.procedure.read_order import NextReading
from app.shop.record.visit_record import VisitRecord
from app.sync.banks.banks import Z95, BankAssessment, Extra
from app.sync.engine.units import DEGREE
from app.sync.planning.advice import Advice
from app.wording import words

CAUSES = {
    "nothing": "Nothing speaks against the links.",
    "length": "The difference stays as the lever opens: a link of the wrong length.",
    "ratio": "The difference grows as the lever opens: unequal levers. Flow cannot size that.",
    "slack": "Late on the way up, not on the way down: mend the joint, not the link.",
    "held": "A link holds its bank off the stop.",
    "unknown": "The readings fit more than one cause.",
    "single": "One bank: there is nothing to balance.",
}
EXTRAS = {
    "flow_meter": ("Read both banks with a flow meter", "A vacuum column says nothing off idle."),
    "idle": ("Read both banks at idle first", "In the heat-soaked recheck: what the openings are held against."),
    "free_play": ("Feel both links for free play", "Engine off, pedal released: both must have some. Then record it."),
    "opening": ("Read both banks at a further opening", "One opening does not tell a length from a lever."),
    "wider_opening": (
        "Read both banks at a wider opening",
        "One is still on its stop. A blade or the shank of a drill, held under the central lever.",
    ),
    "both_ways": (
        "Read it again from above",
        "Open well past, come back onto the blade, never nudge up. Or feel the joints, engine off: any lost motion?",
    ),
    "angle_gauge": (
        "Lay an angle gauge on both shafts",
        "Engine off, rest to full pedal; record both under Steps. Flow cannot tell whether the levers are equal.",
    ),
    "again": ("Read both openings again", "The readings fit more than one cause."),
    "none": ("Leave the links alone", "What is left is less than a flat can put right."),
}
"""What would tell most next, as a title and a reason."""

FROM_ABOVE = "From above: open well past {}, come back onto it, never nudge up; hold it there."

MENDS = {
    "slack": "Mend the joint, not the link",
    "ratio": "Make the levers equal",
    "held": "Give the link free play",
}
"""What is put right where flats are not the cure."""


def extra_sentence(extra: Extra) -> str:
    """What would tell most next, in a sentence or two; empty for nothing."""
    return "" if extra == "none" else "{}. {}".format(*EXTRAS[extra])


def said(record: VisitRecord, advice: Advice, found: BankAssessment | None, due: NextReading) -> tuple[str, str]:
    """The next step off idle as a title and the reason for it."""
    match advice.kind, advice.why:
        case "done", "single":
            return "Nothing to do here", CAUSES["single"]
        case "done", _:
            return "Leave the links alone", CAUSES["nothing"]
        case "measure", _ if due.bore is not None:
            lever = "Blade out, pedal released: idle once more, since a link was turned."
            if due.opening:
                laid = words.blade(due.opening, record.units.metric)
                lever = f"Lay {laid} under the central lever and hold it there."
                lever = FROM_ABOVE.format(laid) if due.from_above else lever
            return f"Read bore {due.bore}{' again' if due.kind == 'closing' else ''}", lever
        case "link", _ if found is not None:
            early = found.banks[1] if found.offset > 0 else found.banks[0]
            give = max(0.25, Z95 * found.flats_sd)
            return (
                words.title(advice, record.layout),
                f"Bank {early} leaves {abs(found.offset) / DEGREE:.1f} degrees early; "
                f"give or take {words.flats(give)}. Engine off. Lock it, then read the openings again.",
            )
    if found is not None and found.cause in MENDS and advice.why == "none":
        return MENDS[found.cause], CAUSES[found.cause]
    title, reason = EXTRAS[advice.why]
    if found is not None and advice.why == "both_ways":
        title = f"Read {words.blade(found.extra_travel, record.units.metric)} again, from above"
    if found is not None and advice.why == "wider_opening":
        title = f"Read both banks at {words.blade(found.extra_travel, record.units.metric)}"
    return title, reason
