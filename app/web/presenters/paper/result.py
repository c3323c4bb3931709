"""The result of a visit: what a person signs, and what the sheet's record says in the same words."""

from dataclasses import dataclass

from app.shop.assessment.assessment import Assessment
from app.shop.procedure.left_out import values_of
from app.shop.record.visit_record import VisitRecord
from app.sync.estimation.conformity import Conformity
from app.sync.estimation.evenness import RoundResult
from app.web.presenters.drawing import MARKS, by_bore, shown
from app.wording.message import say
from app.wording.office import paper
from app.wording.quantities import percent, unit_of
from app.wording.work.verdicts import verdict_sentence


@dataclass(frozen=True, slots=True)
class SignedBore:
    """One bore of the round that a result rests on: its reading, and a word with how far it is from the mean."""

    bore: int
    value: str
    word: str


@dataclass(frozen=True, slots=True)
class Result:
    """The result of a visit as its record states it, and the readings that it rests on."""

    mark: str
    title: str
    sentence: str
    bores: tuple[SignedBore, ...]


def result_of(assessment: Assessment) -> Result:
    """What a person signs: the result and the rule it is said by, in the words of the sheet's record."""
    record, as_left = assessment.record, assessment.as_left
    return Result(_mark(record, as_left), _title(record, as_left), _sentence(record, as_left), _bores(assessment))


def _mark(record: VisitRecord, as_left: RoundResult | None) -> str:
    """The mark beside the result, never better than what was read after tightening."""
    if as_left is None or as_left.alone:
        return "none"
    mark = "close" if as_left.verdict is Conformity.LIMIT else MARKS.get(as_left.verdict, "none")
    return mark if record.read_after_tightening or mark == "not-even" else "close"


def _title(record: VisitRecord, as_left: RoundResult | None) -> str:
    if as_left is None:
        return say(paper.NO_RESULT)
    if as_left.alone:
        return say(paper.ALONE)
    title = paper.RESULT if record.read_after_tightening else paper.RESULT_BEFORE_TIGHTENING
    return say(title, verdict=say(paper.VERDICTS[as_left.verdict]))


def _sentence(record: VisitRecord, as_left: RoundResult | None) -> str:
    """What the result says, the rule it is said by and the evidence it rests on."""
    if as_left is None:
        return say(paper.NO_ROUND)
    repeats = percent(record.meter_as_read().repeatability, 1)
    sure = percent(record.settings.pass_probability)
    basis = say(paper.BASIS, sure=sure, count=as_left.counted, repeats=repeats)
    said = [] if record.read_after_tightening else [say(paper.LEFT_BEFORE_TIGHTENING)]
    return " ".join([*said, verdict_sentence(as_left, unit_of(record.meter)), basis])


def _bores(assessment: Assessment) -> tuple[SignedBore, ...]:
    """The readings that the result rests on, bank by bank; none where none were read."""
    record, left, judged = assessment.record, assessment.record.as_left(), assessment.as_left
    if left is None or judged is None:
        return ()
    unit, standings, bores = unit_of(record.meter), by_bore(judged), []
    values = values_of(record, left)
    for bore in record.layout.bores:
        reading, standing = values.get(bore), standings.get(bore)
        read = reading.value if reading is not None else None
        apart = unit.apart(unit.size * (0.0 if read is None else read), judged.mean)
        word = paper.bore_words(standing.verdict, apart) if standing else say(paper.SKIPPED)
        if judged.alone and standing:
            word = ""
        bores.append(SignedBore(bore, shown(read, record.meter) or "–", word))
    return tuple(bores)
