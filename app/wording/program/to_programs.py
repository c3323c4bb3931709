"""What programs are told in place of a sentence that speaks of pages, forms or tablets; every other one is the same."""

from collections.abc import Mapping
from enum import StrEnum

from app.shop.errors import RejectedError
from app.shop.procedure.requirements import Waiting
from app.shop.reasons import Reason
from app.shop.rejections import Rejection
from app.wording.message import Message
from app.wording.reasons import in_words, told

R = Rejection

TO_PROGRAMS: Mapping[StrEnum, Message] = {
    R.STALE_FORM: Message("Nothing was saved. Send a UUID of your own as the key."),
    R.KEY_REUSED: Message("This key was used before for other values, and only those are saved. Send a new key."),
    R.CHANGED_BY_ANOTHER_TABLET: Message("Something else changed it first, and this is not saved. Ask for it again."),
    R.ADJUSTED_BY_ANOTHER_TABLET: Message(
        "Another adjustment was saved first, and this one is not. Ask for the advice again."
    ),
    R.OTHER_SITE: Message("This visit is at {site}, and this is not saved. Programs of that site record in it."),
    R.OTHER_SITES_ENGINE: Message(
        "This engine was last at {site}, and this is not saved. Programs of that site change it."
    ),
    R.NO_ROOM_YET: Message("This belongs to {site}, and this is not saved. The program works for no site."),
    R.HEAD_OFFICE_ONLY: Message("Only head office reads this for other sites. Ask for your own site."),
    R.NOT_LISTED: Message("Send one of those on record."),
    R.NAME_TAKEN: Message("This name is taken. Send another one."),
    R.NO_SUCH_ENGINE: Message("This engine is not on record. Search for it: GET /api/engines?words="),
    R.NO_SUCH_VISIT: Message("This visit is not on record. Ask its engine for its visits."),
    R.NO_SUCH_STUDY: Message("This meter study is not on record. Ask its meter for its studies."),
    R.NO_EARLIER_VISIT: Message("This visit has no earlier visit to compare with."),
    R.NOT_SIGNED_OFF: Message("This visit is not signed off yet. Correct the row itself."),
    R.NOTHING_MISSING: Message("Nothing is missing in this phase. Continue with the next one."),
    R.NOT_STOPPED: Message("No stop is open in this visit."),
    R.CHOICE_CLOSED: Message("This was chosen before, or an adjustment was saved since. Ask for the rounds again."),
    R.ANOTHER_ROUND: Message("Round {round} is in progress, so this is not saved. Ask for the advice again."),
    R.ROUND_COMPLETE: Message("Round {round} is complete, so this reading is not saved. Ask for the advice again."),
    R.MOVE_TAKEN_BACK: Message(
        "It was recorded that this adjustment was not made. If it was, record it as a new adjustment."
    ),
    R.CHECK_BEFORE_START: Message("Check this for every start, and send it among the ticks."),
    Waiting.CHECK_FIRST: Message("Check and record this first: {item}."),
}
"""By code; each takes the same values as the sentence that people are shown."""


def for_a_program(reason: Reason) -> str:
    """A reason as a sentence for a program."""
    words = TO_PROGRAMS.get(reason.code)
    return in_words(reason) if words is None else told(words, reason)


def all_for_a_program(rejected: RejectedError) -> str:
    """Everything that is wrong as one text for a program, each sentence once."""
    return " ".join(dict.fromkeys(map(for_a_program, rejected.problems.values())))
