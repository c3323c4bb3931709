"""What a visit lists in words: what is still open, what was adjusted, and what it wants next."""

from collections.abc import Collection

from app.shop.procedure.parts import Part, parts_of
from app.shop.record.visit_record import VisitRecord
from app.shop.store.tables import MoveRow
from app.wording.message import Message, say
from app.wording.phases import ByBanks, for_banks
from app.wording.words import blade, fraction

OPEN = Message("{count} open", context="checklist", note="Items that are not recorded yet.")
OPEN_REQUIRED = Message(
    "{count} open, {required} required", context="checklist", note="Required items cannot be waived."
)
ALL_RECORDED = Message("All recorded")
STILL_MISSING = Message("Still missing: {what}")

SIGN_OFF = Message("Sign off")
STOPPED = Message("Engine stopped: reading outside shop limits")
READ_BORE = Message("Read bore {bore}")
READ_DRIFT_CHECK = Message("Read bore {bore} again (drift check)")

MADE_RESET = Message("Coupler {near}–{far} reset on a {feeler} feeler.")
MADE_COUPLER_IN = Message("Coupler screw {near}–{far} turned in by {turns}.")
MADE_COUPLER_OUT = Message("Coupler screw {near}–{far} turned out by {turns}.")
MADE_STOP_IN = ByBanks(
    Message("Stop screw turned in by {turns}."), Message("Bank {bank} stop screw turned in by {turns}.")
)
MADE_STOP_OUT = ByBanks(
    Message("Stop screw turned out by {turns}."), Message("Bank {bank} stop screw turned out by {turns}.")
)
MADE_BYPASS_IN = Message("Bypass screw at bore {near} turned in by {turns}.")
MADE_BYPASS_OUT = Message("Bypass screw at bore {near} turned out by {turns}.")
MADE_ROD_EARLIER = Message("Link rod {bank} turned {flats}, to open earlier.")
MADE_ROD_LATER = Message("Link rod {bank} turned {flats}, to open later.")

TURNS = Message("{figure}\u00a0turn", many="{figure}\u00a0turns")
FLATS = Message("{figure}\u00a0flat", many="{figure}\u00a0flats")


def items_open(count: int, required: int) -> str:
    """How many items of a checklist are not recorded yet, and how many of them cannot be waived."""
    if not count:
        return say(ALL_RECORDED)
    return say(OPEN_REQUIRED, count=count, required=required) if required else say(OPEN, count=count)


def moves_in_words(record: VisitRecord, phase: str = "") -> tuple[str, ...]:
    """The adjustments of a visit, or of one phase, each as a sentence in the shop's units."""
    parts, metric = parts_of(record.layout), record.units.metric
    return tuple(move_words(move, metric, parts) for move in record.moves if phase in ("", move.phase))


def move_words(move: MoveRow, metric: bool = False, parts: Collection[Part] = ("two banks",)) -> str:
    """An adjustment made at an engine with those parts, as a sentence; ``metric`` for feelers in millimeters."""
    inward, places = move.amount > 0, {"bank": move.bank, "near": move.near, "far": move.far}
    turns = _counted(TURNS, abs(move.amount), fraction(abs(move.amount)))
    match move.kind:
        case "blade":
            return say(MADE_RESET, **places, feeler=blade(move.amount, metric))
        case "screw":
            return say(MADE_COUPLER_IN if inward else MADE_COUPLER_OUT, **places, turns=turns)
        case "stop":
            return say(for_banks(MADE_STOP_IN if inward else MADE_STOP_OUT, parts), **places, turns=turns)
        case "bypass":
            return say(MADE_BYPASS_OUT if inward else MADE_BYPASS_IN, **places, turns=turns)
    flats = _counted(FLATS, abs(move.amount), f"{abs(move.amount):g}")
    return say(MADE_ROD_EARLIER if move.amount > 0 else MADE_ROD_LATER, **places, flats=flats)


def _counted(message: Message, amount: float, figure: str) -> str:
    return say(message, count=1 if amount <= 1 else 2, figure=figure)
