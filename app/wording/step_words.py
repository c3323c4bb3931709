"""The next step of a phase in words, the same on pages, on the board and for programs."""

from app.shop.assessment.advising import stops_of
from app.shop.assessment.verdicts import balance_of
from app.shop.procedure.items import Phase
from app.shop.procedure.phases import HEAT_SOAKED
from app.shop.procedure.read_order import next_reading
from app.shop.record.visit_record import VisitRecord
from app.sync.planning.advice import Advice
from app.web.presenters.drawing import unit_of
from app.wording import bank_words, words
from app.wording.reasons import in_words


def said(record: VisitRecord, phase: Phase, step: Advice) -> tuple[str, str]:
    """A step as a title, and why or what to expect in a sentence or two."""
    about = words.sentence(words.named_bores(step.about)) if step.about else ""
    match step.why:
        case "signed-off" if record.sign_off is not None:
            return "Signed off", f"By {record.sign_off.name}. Nothing more is recorded here."
        case "stopped":
            return "Stop the engine", " ".join(in_words(stop) for stop in stops_of(record, phase))
        case "in-question":
            has = "has" if len(step.about) == 1 else "have"
            return f"{about} {has} two values", "The next step comes once it is said which of them counts."
        case "preset":
            return (
                f"Turn every stop screw in by {words.turns(step.turns)}",
                "From where it touches the base blade; then take the blade out. Both banks alike.",
            )
        case "nothing-read":
            return "Leave the plates alone", "Nothing is read with the meter in this phase."
        case "tightening":
            return "It moved in tightening", f"{about}: go back to the {HEAT_SOAKED.title.lower()}."
    if phase.rounds == "openings":
        return bank_words.said(record, step, balance_of(record), next_reading(record, phase))
    return words.title(step, record.layout, record.units.metric), words.reason(step, unit_of(record.meter))
