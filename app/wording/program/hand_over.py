"""What is said of engines that are handed over to another shop: on the command line and on the page about it."""

from app.shop.exchange.codes import FileChoice
from app.shop.exchange.handing.codes import HandOverProblem
from app.shop.reasons import Reason
from app.shop.record.stored_reasons import read_back
from app.wording.message import Message
from app.wording.reasons import TABLES, in_words

HELP = Message(
    "Hand engines over to another shop while the program is open: every few minutes and after each sign-off. It may be "
    "running."
)
TO_HELP = Message("Address of the other shop's program, for example https://office:8000.")
TOKEN_FILE_HELP = Message(
    "File with the token that the other shop gave, with the scope hand-over. Without it, the token is asked for."
)
AUTHORITY_HELP = Message("The other shop's authority.pem, where its https is its own.")
STOP_HELP = Message("Hand nothing over from now on.")
TOKEN = Message("Token")
STOPPED = Message("From now on, no engine is handed over.")
NOT_HANDED_OVER = Message("No engine was being handed over.")
NO_ADDRESS = Message("Enter --to with the address of the other shop's program, for example https://office:8000.")
NO_SHOP = Message("There are no records in {folder}. Start the program there once, or name the folder with --data.")
NO_TOKEN = Message("Enter the token that the other shop gave.")
HANDED_OVER = Message("Engines are handed over to {to} while the program is open.")

PROBLEMS: dict[HandOverProblem, Message] = {
    HandOverProblem.NO_ANSWER: Message(
        "The other shop did not answer ({why}). The program tries again.", note="why: OS"
    ),
    HandOverProblem.REFUSED: Message(
        "The other shop did not take it ({status}): {said}", note="said: a sentence of the other shop's program"
    ),
    HandOverProblem.TOKEN_UNKNOWN: Message(
        "The other shop does not accept this shop's token: it is unknown, expired or was removed. Create another one "
        "there, then enter it here with evenbore hand-over."
    ),
    HandOverProblem.NOT_ALL: Message(
        "The other shop has not acknowledged every entry ({count} missing). The program tries again."
    ),
    HandOverProblem.TOO_LARGE: Message("The engine's file is larger than {most}\u00a0MB, and no shop takes it."),
}
TABLES[HandOverProblem] = PROBLEMS  # type: ignore[assignment]

QUESTIONS: dict[str, Message] = {
    "same": Message("Is the engine of {store} the same as the one on record here?"),
    "facts": Message("The engine's details differ at {store}. Which are right?"),
}

ANSWERS: dict[FileChoice, Message] = {
    FileChoice.JOIN: Message("Same engine: add its history to ours"),
    FileChoice.APART: Message("Another one: keep them apart"),
    FileChoice.MINE: Message("Use ours"),
    FileChoice.THEIRS: Message("Use theirs"),
}


def why_not_handed_over(stored: str) -> str:
    """Why an engine was not handed over, as it is stored; empty for nothing."""
    return " ".join(in_words(Reason(HandOverProblem(one.code), one.values)) for one in read_back(stored) or ())
