"""Rounds: begin one, record the engine speed in it, read the rounds back with how even they were."""

from fastapi import APIRouter
from pydantic import Field

from app.shop.assessment.assessment import Assessment
from app.shop.commands import opening_speeds, readings
from app.shop.commands.opening_speeds import NewSpeed
from app.shop.procedure.running import round_ran_out
from app.shop.queries.assessed import assessed
from app.shop.record.rounds import Round
from app.shop.record.visit_record import VisitRecord
from app.sync.engine.units import REV_PER_MIN, THOU
from app.sync.estimation.conformity import Conformity
from app.sync.estimation.evenness import BoreVerdict, RoundResult
from app.web.api.problems import NOT_THERE, REFUSALS, named, pointing
from app.web.api.readings import IN_THE_ADDRESS, FromAbove, ReadingTold, RoundNumber
from app.web.api.shapes import By, Id, Key, MeterUnit, Sent, Slug, Told, example, shown, trade
from app.web.context import Now, Shop
from app.wording.quantities import unit_of
from app.wording.work.verdicts import verdict_sentence

router = APIRouter(prefix="/visits/{visit_id}", tags=["readings"])


class RoundSent(Sent):
    """Word that one more round begins."""

    key: Key
    lever_thou: float | None = Field(
        default=None,
        gt=0,
        allow_inf_nan=False,
        description="What is laid under the central lever in the bank balance, in thousandths of an inch. Null for the "
        "last round's opening again.",
        examples=[10],
    )
    from_above: bool = Field(
        default=False,
        description="Whether the lever is opened well past it, then brought back onto the feeler, never nudged up.",
    )


class SpeedSent(Sent):
    """How fast the engine runs with the lever on the feeler of a round."""

    key: Key
    speed_rpm: float = Field(
        allow_inf_nan=False,
        description="By the tachometer. Above the `rev-limit` recorded in the phase, the engine is stopped.",
        examples=[1240],
    )
    by: By
    from_above: FromAbove = None
    corrects: bool = Field(
        default=False,
        description="Whether it corrects what was mistyped, in any round of the phase, whatever was moved since.",
    )
    model_config = example(key="7e2b0a52-6c1d-4f0b-8a61-2f0c9d1e5b04", speed_rpm=1240, by="KM")


class BoreTold(Told):
    """The result of one bore in a round, corrected for the drift of the idle, in the meter's unit."""

    bore: int
    value: float
    deviation: float = Field(description="From the mean of all bores, in `unit` of the round.")
    uncertainty: float = Field(description="Half the width of the interval of `deviation`, which holds nine of ten.")
    share: float = Field(description="Its air beside the mean of all bores, a fraction: 0.05 is 5 % more.")
    share_low: float = Field(
        description="Lower end of the interval that holds `share` in nine cases of ten: a fraction."
    )
    share_high: float = Field(description="Upper end of that interval, a fraction.")
    inside: float = Field(description="Probability that the bore is within the tolerance.")
    above: float = Field(description="Probability that it takes more air than the tolerance allows.")
    below: float = Field(description="Probability that it takes less.")
    verdict: BoreVerdict


class EvennessTold(Told):
    """How even the bores are as of a round, by every reading of its phase since the last move. Figures in `unit`."""

    verdict: Conformity
    all_inside: float | None = Field(description="Probability that every bore is even; null until known.")
    pass_probability: float = Field(description="From which probability on the engine is even: the shop's setting.")
    counted: int = Field(description="Readings gone by, those of earlier rounds too.")
    rounds_to_decide: int | None = Field(description="Further rounds that would likely decide it; null where none is.")
    readings_to_decide: int | None = Field(
        default=None,
        description="Most further readings asked for before something is said; null where unknown.",
    )
    read_next: list[int] = Field(description="Bores whose next reading tells most, most telling first.")
    sentence: str
    unit: MeterUnit
    mean: float
    half_width: float = Field(description="Half width of the tolerance around the mean, in `unit`.")
    uncertainty: float
    drift: float = Field(description="How much the idle rose over the round, in `unit`; taken out of the values.")
    drift_seen: bool = Field(description="Whether the drift is more than the meter's own scatter.")
    bank_means: dict[str, float]
    misread: list[int] = Field(description="Bores to read again first.")
    bores: list[BoreTold]

    @staticmethod
    def of(record: VisitRecord, found: RoundResult) -> "EvennessTold":
        """From what was worked out."""
        meter = record.meter
        return EvennessTold.model_validate(
            {
                "verdict": found.verdict,
                "all_inside": found.decision.all_inside,
                "pass_probability": record.settings.pass_probability,
                "counted": found.counted,
                "rounds_to_decide": found.decision.rounds,
                "readings_to_decide": found.decision.readings,
                "read_next": list(found.decision.read_next),
                "sentence": verdict_sentence(found, unit_of(meter)),
                "unit": meter.unit,
                "mean": shown(found.mean, meter),
                "half_width": shown(found.tolerance, meter),
                "uncertainty": shown(found.uncertainty, meter),
                "drift": shown(found.drift, meter),
                "drift_seen": found.drift_seen,
                "bank_means": {name: shown(mean, meter) for name, mean in found.bank_means.items()},
                "misread": sorted(found.outliers),
                "bores": [
                    BoreTold(
                        bore=one.bore,
                        value=shown(one.value, meter),
                        deviation=shown(one.deviation, meter),
                        uncertainty=shown(one.uncertainty, meter),
                        share=one.share,
                        share_low=one.low,
                        share_high=one.high,
                        inside=one.inside,
                        above=one.above,
                        below=one.below,
                        verdict=one.verdict,
                    )
                    for one in found.standings
                ],
            }
        )


class QuestionTold(Told):
    """Two readings of one bore's turn, of which a person has to say which counts."""

    bore: int
    older: int
    newer: int


class RoundTold(Told):
    """A round: every bore in turn, with everything entered in it, oldest first."""

    number: int = Field(description="Counts the rounds of the visit from 1; readings name it as `round`.")
    phase: Slug
    lever_thou: float = Field(description="The feeler under the central lever, in thousandths of an inch; 0 at idle.")
    from_above: bool = Field(description="Whether the lever was opened further first and brought back onto the feeler.")
    speed_rpm: float | None = Field(
        description="Engine speed with the lever on that feeler, as recorded last; null at idle, where it was not "
        "recorded, and where a move came between it and the readings."
    )
    begun_at: str = Field(description="ISO 8601, UTC.")
    closed: bool = Field(description="Whether the drift check was read that ends it.")
    moved_since: bool = Field(description="Whether a move came after it, so that it speaks for nothing any more.")
    readings: list[ReadingTold]
    ran_out: bool = Field(description="Whether it was left open too long or the engine was stopped: it ends unread.")
    in_question: list[QuestionTold] = Field(description="A round speaks for nothing while two of its values are.")
    evenness: EvennessTold | None = Field(description="Null before the first reading.")

    @staticmethod
    def of(assessment: Assessment, one: Round) -> "RoundTold":
        """From what was entered, and how even it is."""
        record = assessment.record
        standing = {row.ident for row in (*one.readings, *one.skipped.values())}
        speed = record.speed_in(one)
        return RoundTold.model_validate(
            {
                "number": one.row.number,
                "phase": one.row.phase,
                "lever_thou": trade(one.row.opening, THOU),
                "from_above": bool(one.row.from_above),
                "speed_rpm": trade(speed.speed, REV_PER_MIN) if speed is not None else None,
                "begun_at": one.row.begun_at,
                "closed": one.closed,
                "moved_since": record.moved_since(one),
                "ran_out": round_ran_out(record, one),
                "readings": [ReadingTold.of(row, row.ident in standing) for row in one.entered],
                "in_question": [
                    QuestionTold(bore=older.bore, older=older.ident, newer=newer.ident)
                    for older, newer in one.in_question
                ],
                "evenness": EvennessTold.of(record, assessment.evenness(one)) if one.readings else None,
            }
        )


@router.get("/rounds", summary="The rounds of a visit", responses=NOT_THERE)
def rounds(shop: Shop, visit_id: Id) -> list[RoundTold]:
    """Every round in order, with how even it was."""
    with shop.reading() as session:
        assessment = assessed(session, visit_id)
    return [RoundTold.of(assessment, one) for one in assessment.record.rounds]


@router.post("/phases/{phase}/rounds", status_code=201, summary="Begin one more round", responses=REFUSALS)
def begin_round(shop: Shop, visit_id: Id, phase: Slug, body: RoundSent, now: Now) -> RoundTold:
    """Begin a round beyond the one that the phase asks for: the last one's opening again, or another one. Refused while
    a round is open: the first reading of a round that is asked for begins it."""
    wanted = None if body.lever_thou is None else body.lever_thou * THOU
    with named(value="", opening="lever_thou"):
        row_id = readings.begin_round(shop, visit_id, body.key, phase, now, wanted, from_above=body.from_above)
    with shop.reading() as session:
        assessment = assessed(session, visit_id)
    return RoundTold.of(assessment, next(one for one in assessment.record.rounds if one.row.ident == row_id))


@router.post(
    "/phases/{phase}/rounds/{number}/speed", status_code=201, summary="Record the engine speed", responses=REFUSALS
)
def record_round_speed(
    shop: Shop, visit_id: Id, phase: Slug, number: RoundNumber, body: SpeedSent, now: Now
) -> RoundTold:
    """Keep how fast the engine runs in a round off idle, in the place of what was recorded of it. That of the round
    which is due is best recorded before its first reading, and begins it."""
    new = NewSpeed(phase, number, body.speed_rpm, body.by, body.from_above)
    save = opening_speeds.correct if body.corrects else opening_speeds.record
    with named(speed="speed_rpm"), pointing(IN_THE_ADDRESS):
        save(shop, visit_id, body.key, new, now)
    with shop.reading() as session:
        assessment = assessed(session, visit_id)
    return RoundTold.of(assessment, next(one for one in assessment.record.rounds if one.row.number == number))
