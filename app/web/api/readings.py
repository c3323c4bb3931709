"""Readings: begin a round, add a reading, correct one, skip a bore, read the rounds back."""

from typing import Annotated, Literal

from fastapi import APIRouter
from pydantic import Field

from app.shop.assessment.assessment import Assessment
from app.shop.commands import engines, opening_speeds, readings
from app.shop.commands.opening_speeds import NewSpeed
from app.shop.commands.readings import NewReading
from app.shop.procedure.codes import SkipReason
from app.shop.procedure.running import round_ran_out
from app.shop.queries.assessed import assessed
from app.shop.record import loader
from app.shop.record.entries import MeterReading
from app.shop.record.rounds import Round
from app.shop.record.visit_record import VisitRecord
from app.shop.store.database import Database
from app.sync.engine.units import REV_PER_MIN, THOU
from app.sync.estimation.conformity import Conformity
from app.sync.estimation.evenness import BoreVerdict, RoundResult
from app.web.api.problems import NOT_THERE, REFUSALS, named
from app.web.api.shapes import By, Id, Key, MeterUnit, Sent, Slug, Told, example, shown, trade
from app.web.context import Now, Shop
from app.wording.quantities import unit_of
from app.wording.stored import as_stored, code_of
from app.wording.work.verdicts import verdict_sentence

router = APIRouter(prefix="/visits/{visit_id}", tags=["readings"])

BoreNumber = Annotated[int, Field(ge=1, le=999, description="The bore, by its cylinder number.", examples=[3])]
RoundNumber = Annotated[
    int, Field(ge=1, le=999_999, description="The round, as the advice names it; its first reading begins it.")
]
Supersedes = Annotated[
    int | None,
    Field(
        description="The reading that was mistyped, when this one corrects it: in any round of the phase, whatever was "
        "moved since."
    ),
]

FromAbove = Annotated[
    bool | None,
    Field(
        description="Whether the lever was opened further first and brought back onto the feeler. The first reading "
        "of a round begins it that way, and the others have to agree; null goes with the round."
    ),
]


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


class ValueSent(Sent):
    """One value as the meter showed it, in the unit of the visit's meter."""

    key: Key
    kind: Literal["turn", "closing", "again"] = Field(
        description="`turn`: the bore's turn in the round. `closing`: the drift check, which ends the round: "
        "the first bore again, or one that the round leaves out. "
        "`again`: a further reading of a bore that was read. A correction repeats the kind of what it corrects."
    )
    round: RoundNumber
    bore: BoreNumber
    value: float = Field(description="In the unit of the visit's meter.", allow_inf_nan=False, examples=[6.25])
    by: By
    sure: bool = Field(
        default=False,
        description="Whether a value far from what the bore read last, or from the other "
        "bores', was looked at again: it is then stored, where it would be rejected as `far-off`.",
    )
    supersedes: Supersedes = None
    from_above: FromAbove = None
    sd: float | None = Field(
        default=None,
        ge=readings.LEAST_SD,
        le=readings.MOST_SD,
        allow_inf_nan=False,
        description="Standard error of the value as a fraction of it. Null for the meter's own.",
    )
    fixed: bool = Field(
        default=False,
        description="Whether a sensor that stays at its bore read it. Such values prove nothing beside one probe's.",
    )
    model_config = example(
        key="0d6f7a8e-98c1-4c39-9c9e-6f4d5b0c2a02", kind="turn", round=2, bore=1, value=6.25, by="KM"
    )


class SkipSent(Sent):
    """Word that a bore is not read, and why: as a code, or in words."""

    key: Key
    kind: Literal["skip"]
    round: RoundNumber
    bore: BoreNumber
    why: str = Field(
        default="",
        max_length=engines.LONGEST,
        description="In words, stored as typed, where no code fits.",
        examples=["Cannot be reached"],
    )
    why_code: SkipReason | None = Field(
        default=None, strict=False, description="As a code. Where it is sent, `why` is not stored."
    )
    by: By
    supersedes: Supersedes = None
    from_above: FromAbove = None
    model_config = example(
        key="5c1b9b1e-2c0f-4a7e-9a55-7b6a3d9e4c03", kind="skip", round=2, bore=1, why_code="out-of-reach", by="KM"
    )


ReadingSent = Annotated[ValueSent | SkipSent, Field(discriminator="kind")]


class SettledSent(Sent):
    """Which of two readings of one bore's turn counts, each entered without sight of the other."""

    key: Key
    older: int = Field(description="The one entered first.")
    newer: int = Field(description="The one entered after it.")
    counts: Literal["older", "newer", "both"]
    by: By


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
    model_config = example(key="7e2b0a52-6c1d-4f0b-8a61-2f0c9d1e5b04", speed_rpm=1240, by="KM")


class ReadingTold(Told):
    """One reading as entered."""

    id: int
    bore: int
    kind: Literal["turn", "closing", "again", "skip"]
    value: float | None = Field(description="In `unit`, as the meter showed it; null for a bore skipped.")
    unit: MeterUnit
    why: str = Field(description="Why the bore was skipped, or why its value was set aside.")
    why_code: str | None = Field(description="The same as a code; null for words as typed, and where there is none.")
    by: str
    at: str = Field(description="ISO 8601, UTC.")
    supersedes: int | None = Field(description="The reading it corrects.")
    stands: bool = Field(description="False once it was corrected.")

    @staticmethod
    def of(row: MeterReading, stands: bool) -> "ReadingTold":
        """From its row."""
        fields = ("bore", "kind", "value", "unit", "by", "at")
        return ReadingTold.model_validate(
            {
                "id": row.ident,
                "supersedes": row.supersedes_id,
                "stands": stands,
                "why": as_stored(row.why, "reading.why"),
                "why_code": code_of(row.why),
                **{name: getattr(row, name) for name in fields},
            }
        )


class BoreTold(Told):
    """The result of one bore in a round, corrected for the drift of the idle, in the meter's unit."""

    bore: int
    value: float
    deviation: float = Field(description="From the mean of all bores.")
    uncertainty: float = Field(description="Half the width of the interval of `deviation`, which holds nine of ten.")
    share: float = Field(description="Its air beside the mean of all bores, a fraction: 0.05 is 5 % more.")
    share_low: float = Field(description="Lower end of the interval that holds `share` in nine cases of ten.")
    share_high: float = Field(description="Upper end of that interval.")
    inside: float = Field(description="Probability that the bore is within the tolerance.")
    above: float = Field(description="Probability that it takes more air than the tolerance allows.")
    below: float = Field(description="Probability that it takes less.")
    verdict: BoreVerdict


class EvennessTold(Told):
    """How even the bores are as of a round, by every reading of its phase since the last move. Figures in `unit`."""

    verdict: Conformity
    all_inside: float | None = Field(description="Probability that every bore is even; null until known.")
    pass_probability: float = Field(description="From which of it the engine is even: the shop's setting.")
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
    half_width: float = Field(description="Half width of the tolerance around the mean.")
    uncertainty: float
    drift: float = Field(description="How much the idle rose over the round; taken out of the values.")
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

    number: int
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
    with named(speed="speed_rpm"):
        opening_speeds.record(shop, visit_id, body.key, new, now)
    with shop.reading() as session:
        assessment = assessed(session, visit_id)
    return RoundTold.of(assessment, next(one for one in assessment.record.rounds if one.row.number == number))


@router.post("/phases/{phase}/readings", status_code=201, summary="Add a reading", responses=REFUSALS)
def add_reading(shop: Shop, visit_id: Id, phase: Slug, body: ReadingSent, now: Now) -> ReadingTold:
    """Keep one reading, correct one, or skip a bore. A value 1.6 times what the bore read last with nothing moved
    since, or without that 1.6 times the middle of the other bores, or under that fraction of it, is refused as
    `far-off`, unless it says that it is `sure`: it is usually a slip."""
    new = NewReading(
        phase=phase,
        round_number=body.round,
        bore=body.bore,
        kind=body.kind,
        value=body.value if isinstance(body, ValueSent) else None,
        by=body.by,
        why=body.why if isinstance(body, SkipSent) else "",
        why_code=body.why_code if isinstance(body, SkipSent) else None,
        supersedes=body.supersedes,
        from_above=body.from_above,
        sd=body.sd if isinstance(body, ValueSent) else None,
        fixed=isinstance(body, ValueSent) and body.fixed,
    )
    sure = not isinstance(body, ValueSent) or body.sure
    row_id = readings.add(shop, visit_id, body.key, new, now, sure=sure)
    return _stored(shop, visit_id, row_id)


@router.post(
    "/phases/{phase}/readings/settled", status_code=201, summary="Say which reading counts", responses=REFUSALS
)
def settle_readings(shop: Shop, visit_id: Id, phase: Slug, body: SettledSent, now: Now) -> ReadingTold:
    """Answers with the row that says so. The reading that does not count stays in the history."""
    pair = (body.older, body.newer)
    row_id = readings.settle(shop, visit_id, body.key, phase, pair, body.counts, body.by, now)
    return _stored(shop, visit_id, row_id)


def _stored(shop: Database, visit_id: int, row_id: int) -> ReadingTold:
    with shop.reading() as session:
        record = loader.load(session, visit_id)
    entered = [reading for one in record.rounds for reading in one.entered]
    row = next(reading for reading in entered if reading.ident == row_id)
    return ReadingTold.of(row, all(row_id != later.supersedes_id for later in entered))
