"""Findings of an engine that runs uneven, and what they come to."""

from typing import Annotated, Any

from fastapi import APIRouter
from pydantic import Field

from app.shop.cross_check import findings
from app.shop.cross_check.findings import NewFindings, ShownAt
from app.shop.cross_check.weighing import CrossCheck, cross_check
from app.shop.record import loader
from app.sync.diagnosis.causes import EngineFault
from app.sync.diagnosis.diagnose import Standing, Verdict
from app.sync.diagnosis.measurements import FindingKind
from app.web.api.problems import NOT_THERE, REFUSALS, named
from app.web.api.shapes import By, Id, Key, Line, Sent, Told, example
from app.web.context import Now, Shop
from app.wording.causes import causes, tests

router = APIRouter(prefix="/visits/{visit_id}", tags=["advice"])


def _tests(schema: dict[str, Any]) -> None:
    schema["enum"] = [*FindingKind]


TestName = Annotated[str, Field(json_schema_extra=_tests, description="The kind of test.")]


class ShownSent(Sent):
    """What one place showed."""

    bore: int | None = Field(default=None, description="Null for a bank or the whole engine.")
    bank: Line = Field(default="", description="The bank's name, empty for a bore or the whole engine.")
    value: float | None = Field(default=None, description="The figure in `unit`.")
    word: Line = Field(default="", description="What was seen, where the test is answered by a word.")
    spread: float | None = Field(default=None, description="One standard deviation, in the form the test is used in.")


class FindingsSent(Sent):
    """What one test showed, place by place."""

    model_config = Sent.model_config | example(
        key="7c9e6679-7425-40de-944b-e07fc1f90ae7", test="heat", unit="°C", shown=[{"bore": 1, "value": 420}], by="KM"
    )
    key: Key
    test: TestName
    unit: Line = Field(default="", description="Of every `value`; empty for words.")
    shown: list[ShownSent] = Field(min_length=1, max_length=100)
    by: By


class CauseTold(Told):
    """A cause that remains."""

    cause: EngineFault
    bore: int | None
    bank: str | None
    odds: float = Field(description="Between 0 and 1.")
    looked_at: bool = Field(description="Whether a test that looks at this cause itself was made.")
    against: list[FindingKind] = Field(description="Tests whose result does not fit it.")
    speaking: list[FindingKind] = Field(description="Tests that speak most for it, the strongest first.")


class NextTestTold(Told):
    """The next test."""

    test: FindingKind
    bores: list[int] = Field(description="Empty for a bank or the whole engine.")
    minutes: float
    again: bool = Field(description="Whether it is a second look at what was seen already; both count.")
    how: str = Field(description="How it is made and what to keep clear of, for people.")


class WhyTold(Told):
    """What the findings come to."""

    verdict: Verdict
    sentence: str = Field(description="For people.")
    standing: list[CauseTold] = Field(description="At most three, the likeliest first.")
    also_wrong: list[int] = Field(description="Other bores at which something is wrong: the first cause explains one.")
    next: NextTestTold | None = Field(description="Null where no test is worth its time.")
    looked_at: list[FindingKind]
    not_looked_at: list[FindingKind]


@router.get("/why", summary="Why the engine runs uneven", responses=NOT_THERE)
def visit_why(shop: Shop, visit_id: Id) -> WhyTold:
    """The causes that remain, and the one next test. Plates set air only: none of this is corrected by them."""
    with shop.reading() as session:
        return _told(cross_check(session, loader.load(session, visit_id)))


@router.post("/findings", status_code=201, summary="Say what a test showed", responses=REFUSALS)
def add_findings(shop: Shop, visit_id: Id, sent: FindingsSent, now: Now) -> WhyTold:
    """Store the findings of one test, all or none, and weigh them."""
    shown = tuple(ShownAt(one.bore, one.bank, one.value, one.word, one.spread) for one in sent.shown)
    places = {f"at-{one.bore or one.bank}": f"shown/{n}" for n, one in enumerate(sent.shown)}
    with named(kind="test", **places):
        findings.add(shop, visit_id, sent.key, NewFindings(sent.test, shown, sent.unit, sent.by, "json"), now)
    return visit_why(shop, visit_id)


def _told(told: CrossCheck) -> WhyTold:
    diagnosis = told.diagnosis
    banks = [bank.name for bank in told.record.layout.banks]
    following = diagnosis.next_test
    return WhyTold(
        verdict=diagnosis.verdict,
        sentence=causes.verdict_words(diagnosis, told.bores, banks),
        standing=[_standing(one, told.bores, banks) for one in diagnosis.standing],
        also_wrong=[told.bores[bore] for bore in diagnosis.also_wrong],
        next=NextTestTold(
            test=following.measure,
            bores=[told.bores[bore] for bore in following.bores],
            minutes=round(following.minutes, 2),
            again=following.again,
            how=f"{tests.state_line(following.measure)} {tests.how(following.measure)}",
        )
        if following
        else None,
        looked_at=list(diagnosis.looked_at),
        not_looked_at=list(diagnosis.not_looked_at),
    )


def _standing(one: Standing, bores: tuple[int, ...], banks: list[str]) -> CauseTold:
    return CauseTold(
        cause=one.cause,
        bore=bores[one.bore] if one.bore is not None else None,
        bank=banks[one.bank] if one.bank is not None else None,
        odds=round(one.odds, 4),
        looked_at=one.looked_at,
        against=list(one.against),
        speaking=list(one.speaking),
    )
