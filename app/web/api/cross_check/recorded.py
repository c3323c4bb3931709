"""Findings one by one: all that were recorded, one taken back, a cause repaired, a test that cannot be made here, and a
logger's file."""

from typing import Annotated, ClassVar

from fastapi import APIRouter
from pydantic import Field

from app.shop.cross_check import findings, weighing
from app.shop.cross_check.findings import NewFindings, ShownAt
from app.shop.cross_check.logger_file import read_logger
from app.shop.record import loader
from app.shop.rejections import Rejection
from app.shop.store.tables import FindingRow
from app.sync.diagnosis.causes import EngineFault
from app.web.api.cross_check.findings import TestName, WhyTold, visit_why
from app.web.api.phases import TakeBackSent
from app.web.api.problems import NOT_THERE, REFUSALS, named, pointing
from app.web.api.shapes import By, Id, Key, Line, Sent, Told
from app.web.context import Now, Shop

router = APIRouter(prefix="/visits/{visit_id}/findings", tags=["advice"])

LONGEST_FILE = 900_000
"""Characters of a logger's file: what the body of one request holds besides."""


class FindingTold(Told):
    """One thing that was measured, seen or repaired, or word that one of them does not count."""

    id: int
    kind: str = Field(description="The kind of test, or `repaired`.", examples=["heat"])
    bore: int | None
    bank: str = Field(description="The bank's name; empty for a bore or the whole engine.")
    value: float | None = Field(description="The figure in `unit`; null for a word.", examples=[420.0])
    unit: str = Field(description="Of `value`; empty for words.", examples=["°C"])
    word: str | None = Field(description="What was seen, or the cause that was repaired.", examples=["wet"])
    why: str | None = Field(
        description="`cannot`: the test cannot be made here. `taken-back`: what it supersedes does not count. "
        "`cautions-missed`: a trainee began the test without its cautions. Null else."
    )
    spread: float | None = Field(description="One standard deviation; null where it was not told.", examples=[0.02])
    source: str = Field(description="`tablet`, `json`, or `csv` for a logger's file.", examples=["json"])
    by: str
    at: str = Field(description="ISO 8601, UTC.")
    supersedes: int | None = Field(description="The finding that it takes back.")
    stands: bool = Field(description="False once it was taken back, and for the taking back itself.")

    @staticmethod
    def of(row: FindingRow, *, stands: bool) -> "FindingTold":
        """From its row."""
        same = ("kind", "bore", "bank", "value", "unit", "word", "why", "spread", "source", "by", "at")
        told = {name: getattr(row, name) for name in same}
        return FindingTold(id=row.ident, supersedes=row.supersedes_id, stands=stands, **told)


class RepairedSent(Sent):
    """Word that a cause was repaired: at a bore, at a bank, or of the whole engine."""

    key: Key
    cause: EngineFault = Field(strict=False, description="The cause, as `why` names it.")
    bore: int | None = Field(default=None, description="Null for a bank or the whole engine.")
    bank: Line = Field(default="", description="The bank's name; empty for a bore or the whole engine.")
    by: By


class CannotTestSent(Sent):
    """Word that a test cannot be made here."""

    key: Key
    test: TestName
    by: By


class LoggerFileSent(Sent):
    """A logger's file with named columns, as text."""

    LINES: ClassVar = frozenset({"text"})
    key: Key
    text: str = Field(
        max_length=LONGEST_FILE,
        description="Columns apart by comma, tab, or semicolon with decimal comma; names in the first line.",
        examples=["time_s,speed_rpm,egt_1_C,egt_2_C\n0,850,420,431\n"],
    )
    roles: dict[Annotated[str, Field(max_length=120)], Annotated[str, Field(max_length=40)]] | None = Field(
        default=None,
        max_length=100,
        description="What each column is, by its name: `time_s`, `speed_rpm`, or a quantity at a bore such as "
        "`egt_3_C`, `lambda_1`, `vac_2_kPa`, `air_4_kg/h`; columns that are not named here are left out. Null where "
        "the names say it.",
        examples=[{"EGT cyl 1": "egt_1_C"}],
    )
    by: By


@router.get("", summary="Everything found beside the readings", responses=NOT_THERE)
def visit_findings(shop: Shop, visit_id: Id) -> list[FindingTold]:
    """Every finding in the order in which it was stored, those taken back too."""
    with shop.reading() as session:
        loader.load(session, visit_id)
        rows = weighing.stored(session, visit_id)
        counting = {row.ident for row in weighing.not_taken_back(rows)}
        return [FindingTold.of(row, stands=row.ident in counting) for row in rows]


@router.post("/{finding_id}/taken-back", status_code=201, summary="Take a finding back", responses=REFUSALS)
def take_back_finding(shop: Shop, visit_id: Id, finding_id: Id, body: TakeBackSent, now: Now) -> WhyTold:
    """It does not count from now on; it stays in the history."""
    findings.take_back(shop, visit_id, body.key, finding_id, body.by, now)
    return visit_why(shop, visit_id)


@router.post("/repaired", status_code=201, summary="Say that a cause was repaired", responses=REFUSALS)
def repair_cause(shop: Shop, visit_id: Id, body: RepairedSent, now: Now) -> WhyTold:
    """What was found of it before counts no longer."""
    new = NewFindings(findings.REPAIRED, (ShownAt(body.bore, body.bank, word=body.cause),), "", body.by, "json")
    with named(word="cause", place="bank" if body.bank else "bore"):
        findings.add(shop, visit_id, body.key, new, now)
    return visit_why(shop, visit_id)


@router.post("/cannot", status_code=201, summary="Say that a test cannot be made here", responses=REFUSALS)
def cannot_test(shop: Shop, visit_id: Id, body: CannotTestSent, now: Now) -> WhyTold:
    """It is not asked for again in this visit."""
    with named(kind="test"):
        findings.cannot(shop, visit_id, body.key, body.test, body.by, now)
    return visit_why(shop, visit_id)


@router.post("/file", status_code=201, summary="Add a logger's file", responses=REFUSALS)
def add_logger_file(shop: Shop, visit_id: Id, body: LoggerFileSent, now: Now) -> WhyTold:
    """Store the middle of the last steady stretch of each column, all of it or nothing, and weigh it."""
    with shop.reading() as session:
        bores = loader.load(session, visit_id).layout.bores
    with named(file="text", columns="roles"), pointing({Rejection.NOTHING_ENTERED: "text"}):
        told = read_logger(body.text, bores, body.by, body.roles)
        findings.add_all(shop, visit_id, body.key, told, now)
    return visit_why(shop, visit_id)
