"""The hand-over between shops: what waits and what failed, what a person is asked, and visits that are elsewhere."""

import json
from collections.abc import Mapping
from dataclasses import dataclass

from fastapi import APIRouter
from fastapi.responses import HTMLResponse, Response

from app.shop.errors import RejectedError
from app.shop.exchange.codes import FileChoice
from app.shop.exchange.handing import receiving, sending
from app.shop.exchange.handing.setting import kept
from app.shop.store.database import Database
from app.shop.store.handing.tables import StoreQuestionRow
from app.web.context import Form, Now, Page, Pages, Shop
from app.web.error_responses import status_of
from app.wording.message import say
from app.wording.program.hand_over import ANSWERS, QUESTIONS, why_not_handed_over
from app.wording.reasons import problems_in_words

router = APIRouter()

MOST = 100
"""How many engines that wait are listed."""


@dataclass(frozen=True, slots=True)
class QuestionAsked:
    """A question as the page asks it: what differs, on both sides, and the answers."""

    ident: str
    serial: str
    question: str
    mine: str
    theirs: str
    answers: tuple[tuple[str, str], ...]

    @staticmethod
    def of(one: StoreQuestionRow) -> "QuestionAsked":
        """In words."""
        mine, theirs = json.loads(one.mine), json.loads(one.theirs)
        same = one.id.endswith(":same")
        shown = [name for name in mine if (mine[name] != theirs[name] or same) and isinstance(mine[name], str)]
        question = say(QUESTIONS["same" if same else "facts"], store=one.store)
        answers = tuple((name, say(ANSWERS[FileChoice(name)])) for name in receiving.options_of(one.id))
        sides = [" · ".join(side[name] for name in shown if side[name]) or "–" for side in (mine, theirs)]
        return QuestionAsked(one.id, one.serial, question, sides[0], sides[1], answers)


@router.get("/hand-over")
def show(shop: Shop, page: Page) -> HTMLResponse:
    """How the hand-over stands, both ways."""
    return _shown(shop, page, {})


@router.post("/hand-over/answers")
def answer(shop: Shop, page: Page, form: Form) -> Response:
    """Keep a person's answer to one question."""
    try:
        receiving.answer(shop, form.text("question"), form.text("answer"))
    except RejectedError as refusal:
        return _shown(shop, page, problems_in_words(refusal), status_of(refusal))
    return page.go("/hand-over")


@router.post("/hand-over/visits/{visit_id}")
def take_over(shop: Shop, page: Page, form: Form, visit_id: int, now: Now) -> Response:
    """Go on here with an open visit of another store."""
    try:
        receiving.take_over(shop, form.text("key"), visit_id, form.text("by"), now)
    except RejectedError as refusal:
        return _shown(shop, page, problems_in_words(refusal), status_of(refusal), visit_id)
    return page.go(f"/visits/{visit_id}")


def _shown(shop: Database, page: Pages, problems: Mapping[str, str], status: int = 200, at: int = 0) -> HTMLResponse:
    """The page; the problem with initials is beside those of the visit ``at``."""
    receiver = kept(shop.folder)
    with shop.reading() as session:
        standing = sending.standing(session, receiver.to, MOST) if receiver else None
        asked = [QuestionAsked.of(one) for one in receiving.open_questions(session)]
        away = [
            {"id": one.visit.ident, "serial": one.engine.serial, "number": one.visit.number}
            | {"store": one.elsewhere.store if one.elsewhere else "", "at": one.visit.opened_at}
            for one in receiving.elsewhere(session)
        ]
    waiting = [
        {"id": one.engine_id, "serial": one.serial, "at": one.tried_at} | {"problem": why_not_handed_over(one.problem)}
        for one in (standing.waiting if standing else ())
    ]
    return page.show(
        "group/hand_over.html",
        status,
        to=receiver.to if receiver else "",
        whole=standing.whole if standing else 0,
        count=standing.count if standing else 0,
        waiting=waiting,
        asked=asked,
        away=away,
        at=at,
        problems=problems,
    )
