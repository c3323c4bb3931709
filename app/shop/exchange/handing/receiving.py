"""An engine that another store hands over automatically: what can be decided is, the rest waits for a person here.

The rows come in whatever the engine's facts say there: which facts are right is asked. Only whether two engines of one
serial are the same has to be known first. An open visit belongs to the store that it came from.
"""

import json
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path

from sqlmodel import Session, col, select

from app.shop.apart import Talk
from app.shop.commands import engines
from app.shop.commands.engines import folded
from app.shop.errors import NotFoundError, RejectedError
from app.shop.exchange.beside import reading_of
from app.shop.exchange.codes import FileChoice
from app.shop.exchange.contradictions import FACTS
from app.shop.exchange.imports import Conflict, drafted, plan, read
from app.shop.exchange.rows import HandingStore
from app.shop.exchange.sealing import known_keys, of_visit, unsealed
from app.shop.exchange.versions import v6 as v6
from app.shop.reasons import because
from app.shop.record import loader
from app.shop.record.visit_record import VisitRecord
from app.shop.rejections import Rejection
from app.shop.stopwatch import Allowance
from app.shop.store.database import Database
from app.shop.store.handing.tables import Elsewhere, StoreQuestionRow
from app.shop.store.idempotency import checked, earlier, fingerprint
from app.shop.store.tables import Engine, Visit

SHARED_METER = "00000000-0000-4000-8000-000000000001"
"""The key of the meter that every shop once began with: two of them are two instruments."""

OF_A_PERSON = ("same", "facts")
"""Questions that only a person answers, by the name of the conflict."""


@dataclass(frozen=True, slots=True)
class StoreQuestion:
    """What a person here is asked about an engine of another store; ``mine`` and ``theirs`` are facts by name."""

    engine_key: str
    name: str
    serial: str
    mine: Mapping[str, object]
    theirs: Mapping[str, object]

    @property
    def ident(self) -> str:
        """What it is kept under."""
        return f"{self.engine_key}:{self.name}"


@dataclass(frozen=True, slots=True)
class HandedIn:
    """What came of a file: the engine, None while a person has to say which; how many parts had no seal; and questions
    that were not answered yet."""

    engine_id: int | None
    unsealed: int
    questions: tuple[StoreQuestion, ...]


def take_in(records: Path | str, sent: bytes, sender: HandingStore) -> Talk:
    """The work of taking a file in, for ``imports.carry_on``: HandedIn. Raises RejectedError, TookTooLongError."""
    file, reading = read(sent), reading_of(records)
    with reading() as session:
        _require_not_taken_over(session, file)
        choices, questions = _decided(session, file)
    bare = unsealed(file)
    if any(one.name == "same" for one in questions):
        return HandedIn(None, bare, questions)
    engine_id = yield from drafted(reading, file, choices, Allowance(), sender)
    return HandedIn(engine_id, bare, questions)


def note(shop: Database, came: HandedIn, sender: HandingStore) -> None:
    """Keep the questions for a person, once each, and anew where the other store says something else by now."""
    if not came.questions:
        return
    with shop.reading() as session:
        known = {one.id: (one.theirs, one.mine) for one in session.exec(select(StoreQuestionRow)).all()}
    new = [one for one in came.questions if known.get(one.ident) != (_text(one.theirs), _text(one.mine))]
    if not new:
        return
    with shop.writing() as session:
        for one in new:
            facts = {"serial": one.serial, "mine": _text(one.mine), "theirs": _text(one.theirs), "answer": ""}
            session.merge(StoreQuestionRow(id=one.ident, store=sender.store, asked_at=sender.at, **facts))


def open_questions(session: Session) -> Sequence[StoreQuestionRow]:
    """What a person has not answered, the oldest first."""
    unanswered = select(StoreQuestionRow).where(col(StoreQuestionRow.answer) == "")
    return session.exec(unanswered.order_by(col(StoreQuestionRow.asked_at), col(StoreQuestionRow.id))).all()


def answer(shop: Database, ident: str, chosen: str) -> None:
    """Keep a person's answer, and take the other store's facts where that is the answer; the next file of the engine is
    taken in by it. Raises NotFoundError, RejectedError, ConflictError."""
    if chosen not in options_of(ident):
        raise RejectedError({"answer": because(Rejection.NOT_ONE_OF, choices=options_of(ident))})
    with shop.reading() as session:
        asked = session.get(StoreQuestionRow, ident)
        key = ident.rpartition(":")[0]
        engine = session.exec(select(Engine).where(Engine.key == key)).first()
    if asked is not None and engine is not None and chosen == FileChoice.THEIRS:
        engines.change(shop, engine.ident, engine.version, engines.EngineFacts(**json.loads(asked.theirs)))
    with shop.writing() as session:
        asked = session.get(StoreQuestionRow, ident)
        if asked is None:
            raise NotFoundError(because(Rejection.NO_SUCH_QUESTION))
        asked.answer = chosen
        session.add(asked)


def take_over(shop: Database, key: str, visit_id: int, by: str, at: str) -> None:
    """An open visit of another store belongs here from now on: that store's computer is gone for good, say.

    Raises NotFoundError, RejectedError where it is no such visit.
    """
    key = checked(key)
    sent = fingerprint(visit=visit_id, by=by)
    with shop.writing() as session:
        if earlier(session, Elsewhere, key, sent) is not None:
            return
        record = loader.load(session, visit_id)
        if record.sign_off is not None or record.elsewhere is None or not record.elsewhere.away:
            raise RejectedError({"": because(Rejection.NOT_ELSEWHERE)})
        if not by.strip():
            raise RejectedError({"by": because(Rejection.INITIALS_MISSING)})
        store = record.elsewhere.store
        session.add(Elsewhere(key=key, payload=sent, visit_id=visit_id, store=store, away=0, by=by.strip(), at=at))


def elsewhere(session: Session) -> list[VisitRecord]:
    """Open visits that belong to another store, the newest first."""
    ids = select(Elsewhere.visit_id).where(col(Elsewhere.visit_id).in_(loader.open_ids(session))).distinct()
    found = loader.load_all(session, sorted(session.exec(ids).all(), reverse=True))
    return [one for one in found if one.elsewhere is not None and one.elsewhere.away]


def options_of(ident: str) -> tuple[str, ...]:
    """What may be answered to a question."""
    same = ident.endswith(":same")
    return (FileChoice.JOIN, FileChoice.APART) if same else (FileChoice.MINE, FileChoice.THEIRS)


def _decided(session: Session, file: v6.EngineFile) -> tuple[dict[str, str], tuple[StoreQuestion, ...]]:
    """The choices that the file is taken in by, and the questions that no person has answered."""
    choices: dict[str, str] = {}
    questions: list[StoreQuestion] = []
    while left := plan(session, file, choices).conflicts:
        for one in left:
            if one.name not in OF_A_PERSON:
                choices[one.name] = _by_itself(one)
                continue
            question = _question(session, file, one)
            said = session.get(StoreQuestionRow, question.ident)
            still = said is not None and (one.name == "same" or said.theirs == _text(question.theirs))
            answered = said is not None and still and said.answer
            if not answered:
                questions.append(question)
            choices[one.name] = said.answer if said is not None and answered else FileChoice.MINE
            if one.name == "same" and not answered:
                return choices, tuple(questions)
    return choices, tuple(questions)


def _by_itself(one: Conflict) -> str:
    """What needs no person: the visits are numbered after ours, and a meter is the same where its key is its own."""
    if FileChoice.APPEND in one.options:
        return FileChoice.APPEND
    shared = one.name.endswith(SHARED_METER)
    return FileChoice.SAME_METER if FileChoice.SAME_METER in one.options and not shared else FileChoice.APART


def _question(session: Session, file: v6.EngineFile, one: Conflict) -> StoreQuestion:
    by_key = session.exec(select(Engine).where(Engine.key == file.engine.key)).first()
    here = by_key or session.exec(select(Engine).where(Engine.serial_folded == folded(file.engine.serial))).one()
    mine = {name: getattr(here, name) for name in FACTS}
    theirs = {name: getattr(file.engine, name) for name in FACTS}
    return StoreQuestion(file.engine.key, one.name, file.engine.serial, mine, theirs)


def _require_not_taken_over(session: Session, file: v6.EngineFile) -> None:
    """Raises RejectedError for more of a visit that a person here took over from its store."""
    by_key = {visit.key: visit for visit in file.visits}
    query = select(Visit, Elsewhere).join(Elsewhere).where(col(Visit.key).in_(by_key)).order_by(col(Elsewhere.id))
    newest = {visit.key: (visit, said) for visit, said in session.exec(query).all()}
    for key, (visit, said) in newest.items():
        known = known_keys(session, visit.engine_id) if not said.away else set[str]()
        if not said.away and any(part.key not in known for part in of_visit(by_key[key])):
            raise RejectedError({"file": because(Rejection.VISIT_TAKEN_OVER)})


def _text(facts: Mapping[str, object]) -> str:
    return json.dumps(facts, sort_keys=True)
