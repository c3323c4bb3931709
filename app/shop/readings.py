"""Readings: enter one, correct one, skip a bore, begin another round."""

import math
from dataclasses import dataclass

from sqlmodel import Session, func, select

from app.shop import visits
from app.shop.database import Database
from app.shop.keys import checked, current, earlier, fingerprint, part_key
from app.shop.phases import Phase
from app.shop.progress import require_open, require_ready
from app.shop.refusals import ConflictError, RefusedError
from app.shop.story import Round, Story
from app.shop.tables import ReadingRow, RoundRow
from app.shop.walk import due

KINDS = ("turn", "closing", "again", "skip")


@dataclass(frozen=True, slots=True)
class NewReading:
    """One value as the meter showed it, in its own unit; None skips the bore and wants a reason.

    ``supersedes`` names the reading that was mistyped. ``kind`` is one of KINDS; a ``turn`` is the bore's turn in the
    round, ``again`` a further reading of a bore that was read.
    """

    phase: str
    round_number: int
    bore: int
    kind: str
    value: float | None
    by: str
    why: str = ""
    supersedes: int | None = None


def add(shop: Database, visit_id: int, key: str, new: NewReading, at: str) -> int:
    """Store a reading and return its id; the first one of a round begins it. Raises RefusedError, ConflictError."""
    key = checked(key)
    sent = fingerprint(visit=visit_id, new=new)
    with shop.writing() as session:
        if again := earlier(session, ReadingRow, key, sent):
            return again.ident
        story = visits.load(session, visit_id)
        phase = require_open(story, new.phase)
        if new.supersedes is None:
            require_ready(story, phase)
        if problem := _problem(story, new):
            raise RefusedError({"value": problem})
        one = _round(session, story, phase, new, key, at)
        _may_supersede(one, new)
        row = ReadingRow(
            key=key,
            payload=sent,
            round_id=one.row.ident,
            bore=new.bore,
            kind=new.kind,
            value=new.value,
            unit=story.meter.unit,
            why=new.why.strip(),
            by=new.by.strip() or story.visit.by,
            at=at,
            supersedes_id=new.supersedes,
        )
        session.add(row)
        session.flush()
        return row.ident


def begin_round(shop: Database, visit_id: int, key: str, phase_slug: str, at: str) -> int:
    """Begin one more round in a phase whose round is closed, and return its id. Raises RefusedError."""
    key = checked(key)
    sent = fingerprint(visit=visit_id, phase=phase_slug)
    with shop.writing() as session:
        if again := earlier(session, RoundRow, key, sent):
            return again.ident
        story = visits.load(session, visit_id)
        phase = require_open(story, phase_slug)
        require_ready(story, phase)
        now = due(story, phase)
        if phase.rounds == "none":
            raise RefusedError({"": "Nothing is read with the meter in this phase."})
        if now.bore is not None:
            raise RefusedError({"": f"Round {now.round_number} is still open: read bore {now.bore} first."})
        return _begin(session, story, phase, key, sent, now.opening, at).row.ident


def _problem(story: Story, new: NewReading) -> str:
    meter = story.meter
    if new.bore not in story.layout.bores:
        return f"This engine has no bore {new.bore}."
    if new.kind not in KINDS:
        return "A reading is a bore's turn, the closing one, or one read again."
    if new.value is None:
        return "" if new.why.strip() else f"Say why bore {new.bore} is skipped."
    if not math.isfinite(new.value) or not meter.low <= new.value <= meter.high:
        return f"{meter.name} reads from {meter.low:g} to {meter.high:g} {meter.unit}."
    return ""


def _round(session: Session, story: Story, phase: Phase, new: NewReading, key: str, at: str) -> Round:
    now = due(story, phase)
    known = next((r for r in story.rounds if r.row.number == new.round_number), None)
    if known is not None and known.row.phase == phase.slug:
        if new.kind != "again" and known.closed and new.supersedes is None:
            raise ConflictError(
                {"value": f"Round {new.round_number} was closed meanwhile. Look at it, then read again."}
            )
        return known
    if now.current is None and now.bore is not None and new.round_number == now.round_number:
        return _begin(session, story, phase, part_key(key, "round"), "", now.opening, at)
    raise ConflictError({"value": f"The page was behind: round {now.round_number} is the one being read now."})


def _begin(session: Session, story: Story, phase: Phase, key: str, sent: str, opening: float, at: str) -> Round:
    newest = session.exec(select(func.max(RoundRow.number)).where(RoundRow.visit_id == story.visit.ident)).one()
    row = RoundRow(
        key=key,
        payload=sent,
        visit_id=story.visit.ident,
        phase=phase.slug,
        number=(newest or 0) + 1,
        opening=opening,
        begun_at=at,
    )
    session.add(row)
    session.flush()
    return Round(row, ())


def _may_supersede(one: Round, new: NewReading) -> None:
    standing = current(one.entered)
    if new.supersedes is not None:
        if not any(r.ident == new.supersedes and r.bore == new.bore for r in standing):
            raise ConflictError({"value": f"Bore {new.bore} was corrected meanwhile. Look at it, then correct again."})
        return
    taken = {r.bore for r in standing if r.kind in ("turn", "again")}
    if new.kind == "turn" and new.bore in taken:
        raise ConflictError(
            {"value": f"Bore {new.bore} was read meanwhile. Look at it, then read it again if need be."}
        )
    if new.kind == "closing" and one.closed:
        raise ConflictError({"value": f"Round {one.row.number} was closed meanwhile."})
