"""The words of each kind of adjuster, together: its name, what is done to it, what that moves, what was done.

A new kind gets its words here. ``more`` is the adjustment that opens its plates, lets more air past or opens its bank
earlier; ``less`` the opposite one.
"""

from collections.abc import Collection, Iterable, Mapping, Sequence
from dataclasses import dataclass, replace
from typing import Any, NamedTuple

from app.shop.record.entries import MoveEntry
from app.shop.record.measures import Units
from app.sync.engine.adjusters.kind import ScrewWithGain
from app.sync.engine.adjusters.registry import kind_called, kind_of, kinds
from app.sync.engine.events import Place
from app.sync.engine.layout import Adjuster, Layout
from app.sync.planning.advice import Advice, AdviceKind
from app.wording.message import Message, say
from app.wording.quantities import bore_list, feeler, flats, listed, turns

TITLE = 60
"""Characters that a card's title has room for."""


class Both(NamedTuple):
    """What is said of an adjustment by more, and by less."""

    more: Message
    less: Message

    def of(self, amount: float) -> Message:
        """The one for an amount; where there is no amount both are the same."""
        return self.more if amount > 0 else self.less


@dataclass(frozen=True, slots=True)
class AdjusterWords:
    """What is said of one kind of adjuster.

    name, called
        A choice on a form, and its name within a sentence.
    place
        Where one of them sits.
    title, effect, then
        The advised adjustment, what it moves, and one that is likely to follow.
    made, logged, several
        An adjustment as it was recorded, the same in the activity log, and a list of what was adjusted.
    told
        The adjustment as it is read out over the telephone, where a bore is an intake; the engine is stopped for it.
    turned
        Which way it is turned, where that needs saying.
    fitted
        At which bores an engine has one, where not every engine has it.
    """

    name: Message
    place: Message
    title: Both
    effect: Both
    then: Message
    made: Both
    told: Both
    called: Message
    several: Message
    logged: Message
    turned: Message | None = None
    fitted: Message | None = None


COUPLER = Message("Coupler {near}–{far}")
COUPLER_CALLED = Message("coupler {near}–{far}")
COUPLERS = Message("coupler {places}", many="couplers {places}")
BANK = Message("Bank {bank}")
BORE = Message("Bore {near}")
MOVES = Message("Moves bore {bores} only.", many="Moves bores {bores} together.")
STACK = Message("Reset coupler {near}–{far} on a {first} + {second} feeler stack", limit=TITLE)
TEST_TURN = Message("{title}, then read", limit=TITLE, note="a small turn that shows which way a screw works")


def _same(message: Message) -> Both:
    return Both(message, message)


ADJUSTERS: dict[str, AdjusterWords] = {
    AdviceKind.STOP: AdjusterWords(
        name=Message("Stop screw"),
        place=BANK,
        title=Both(
            Message("Turn bank {bank} stop screw in {turns}", limit=TITLE),
            Message("Turn bank {bank} stop screw out {turns}", limit=TITLE),
        ),
        effect=Both(Message("Opens every plate of bank {bank}."), Message("Closes every plate of bank {bank}.")),
        then=Message("stop screw of bank {places}", many="stop screws of banks {places}"),
        made=Both(
            Message("Bank {bank} stop screw turned in {turns}."),
            Message("Bank {bank} stop screw turned out {turns}."),
        ),
        told=Both(
            Message("Turn the stop screw at intake {intake} in (clockwise) by {turns}."),
            Message("Turn the stop screw at intake {intake} out (counterclockwise) by {turns}."),
        ),
        called=Message("stop screw {bank}"),
        several=Message("stop screw {places}", many="stop screws {places}"),
        logged=Message("Stop screw {bank} turned"),
        turned=Message("A stop screw turned in opens its plates."),
    ),
    AdviceKind.BLADE: AdjusterWords(
        name=Message("Coupler on a feeler"),
        place=COUPLER,
        title=_same(Message("Reset coupler {near}–{far} on a {feeler} feeler", limit=TITLE)),
        effect=_same(MOVES),
        then=COUPLERS,
        made=_same(Message("Coupler {near}–{far} reset on {feeler}.")),
        told=_same(
            Message(
                "Loosen the coupler between intakes {near} and {far}. Let throttle flap {far} close on a feeler of "
                "{feeler}. Tighten the coupler and remove the feeler."
            )
        ),
        called=COUPLER_CALLED,
        several=COUPLERS,
        logged=Message("Coupler {near}–{far} reset"),
    ),
    AdviceKind.SCREW: AdjusterWords(
        name=Message("Coupler screw"),
        place=COUPLER,
        title=Both(
            Message("Turn coupler screw {near}–{far} in {turns}", limit=TITLE),
            Message("Turn coupler screw {near}–{far} out {turns}", limit=TITLE),
        ),
        effect=_same(MOVES),
        then=Message("coupler screw {places}", many="coupler screws {places}"),
        made=Both(
            Message("Coupler screw {near}–{far} turned in {turns}."),
            Message("Coupler screw {near}–{far} turned out {turns}."),
        ),
        told=Both(
            Message("Turn the screw of the coupler between intakes {near} and {far} in (clockwise) by {turns}."),
            Message(
                "Turn the screw of the coupler between intakes {near} and {far} out (counterclockwise) by {turns}."
            ),
        ),
        called=COUPLER_CALLED,
        several=COUPLERS,
        logged=Message("Coupler screw {near}–{far} turned"),
    ),
    AdviceKind.LINK: AdjusterWords(
        name=Message("Link rod"),
        place=BANK,
        title=Both(
            Message("Turn link rod {bank} {flats}, to open earlier", limit=TITLE),
            Message("Turn link rod {bank} {flats}, to open later", limit=TITLE),
        ),
        effect=Both(Message("Bank {bank} opens earlier."), Message("Bank {bank} opens later.")),
        then=Message("link rod {places}", many="link rods {places}"),
        made=Both(
            Message("Link rod {bank} turned {flats}, to open earlier."),
            Message("Link rod {bank} turned {flats}, to open later."),
        ),
        told=Both(
            Message(
                "Turn the rod of side {bank} by {flats} of the 6 flats of its nut, so that this side opens earlier. "
                "Lock the rod."
            ),
            Message(
                "Turn the rod of side {bank} by {flats} of the 6 flats of its nut, so that this side opens later. "
                "Lock the rod."
            ),
        ),
        called=Message("link rod {bank}"),
        several=Message("link rod {places}", many="link rods {places}"),
        logged=Message("Link rod {bank} turned"),
    ),
    AdviceKind.BYPASS: AdjusterWords(
        name=Message("Bypass screw"),
        place=BORE,
        title=Both(
            Message("Turn bypass screw {near} out {turns}", limit=TITLE),
            Message("Turn bypass screw {near} in {turns}", limit=TITLE),
        ),
        effect=Both(
            Message("Lets more air past plate {near} only."),
            Message("Lets less air past plate {near} only."),
        ),
        then=Message("bypass screw {places}", many="bypass screws {places}"),
        made=Both(
            Message("Bypass screw {near} turned out {turns}."),
            Message("Bypass screw {near} turned in {turns}."),
        ),
        told=Both(
            Message("Turn the bypass screw of intake {intake} out (counterclockwise) by {turns}."),
            Message("Turn the bypass screw of intake {intake} in (clockwise) by {turns}."),
        ),
        called=Message("bypass screw {near}"),
        several=Message("bypass screw {places}", many="bypass screws {places}"),
        logged=Message("Bypass screw {near} turned"),
        fitted=Message("bypass screw at bore {bores}", many="bypass screws at bores {bores}"),
        turned=Message("A bypass screw turned out lets more air past."),
    ),
}
"""By the code of the kind."""

ONE_BANK: Mapping[str, AdjusterWords] = {
    AdviceKind.STOP: replace(
        ADJUSTERS[AdviceKind.STOP],
        place=Message("The stop screw"),
        title=Both(
            Message("Turn the stop screw in {turns}", limit=TITLE),
            Message("Turn the stop screw out {turns}", limit=TITLE),
        ),
        effect=Both(Message("Opens every plate."), Message("Closes every plate.")),
        then=Message("the stop screw"),
        made=Both(Message("Stop screw turned in {turns}."), Message("Stop screw turned out {turns}.")),
    ),
}
"""Those that name a bank, for an engine that has only one."""

IN, OUT = Message("in", context="way of a screw"), Message("out", context="way of a screw")
IN_OPENS, OUT_CLOSES = Message("in, opens"), Message("out, closes")
IN_EARLIER, OUT_LATER = Message("in, opens more or earlier"), Message("out, opens less or later")


def register(slug: str, words: AdjusterWords) -> None:
    """Let a further kind of adjuster be spoken of. Raises ValueError where one of that slug is already."""
    if slug in ADJUSTERS:
        raise ValueError(f"{slug} has words already")
    ADJUSTERS[slug] = words


def unregister(slug: str) -> None:
    """Forget the words of a kind of adjuster. Raises KeyError where there are none."""
    del ADJUSTERS[slug]


def words_of(kind: str, layout: Layout) -> AdjusterWords:
    """The words of a kind of adjuster on an engine; one with one bank is not told of banks."""
    words = ADJUSTERS[kind]
    return ONE_BANK.get(kind, words) if len(layout.banks) == 1 else words


def title(advice: Advice, layout: Layout, units: Units) -> str:
    """The advised adjustment: what, where, by how much."""
    if len(advice.leaves) > 1:
        first, second = (feeler(leaf, units) for leaf in advice.leaves)
        return say(STACK, near=advice.near, far=advice.far, first=first, second=second)
    amount = advice.flats or advice.turns
    values = _values(advice.bank, advice.near, advice.far, amount, advice.gap, units)
    return say(words_of(advice.kind, layout).title.of(amount), **values)


def effect(advice: Advice, layout: Layout) -> str:
    """What an advised adjustment moves; empty where no bores are named."""
    message = words_of(advice.kind, layout).effect.of(advice.flats or advice.turns)
    if message.many and not advice.bores:
        return ""
    bores = bore_list(advice.bores) if advice.bores else ""
    return say(message, bank=advice.bank, near=advice.near, bores=bores, count=len(advice.bores))


def following(moves: Sequence[Advice], layout: Layout) -> str:
    """The adjustments likely to follow, without their amounts, since those are planned again; empty for none."""
    said = []
    for kind in dict.fromkeys(one.kind for one in moves):
        places = [place_of(one) for one in moves if one.kind == kind]
        said.append(say(words_of(kind, layout).then, places=listed(places), count=len(places)))
    return listed(said) if said else ""


def called(adjuster: Adjuster) -> str:
    """An adjuster of any engine by name, within a sentence: `coupler 2–3`, `stop screw A`."""
    kind = kind_called(adjuster)
    place = kind.place(adjuster)
    return say(ADJUSTERS[kind.slug].called, bank=place.bank, near=place.near, far=place.far)


def called_at(layout: Layout, place: Place) -> str:
    """The same of what sits there on an engine; empty for nothing."""
    there = (one for kind in kinds() for one in kind.adjusters(layout) if kind.place(one) == place)
    return next(map(called, there), "")


def logged(kind: str, bank: str, near: int | None, far: int | None) -> str:
    """An adjustment of that kind in the activity log, without its amount."""
    return say(ADJUSTERS[kind].logged, bank=bank, near=near, far=far)


def fitted(layout: Layout) -> list[str]:
    """The screws that not every engine has, with their bores, in words."""
    said = []
    for kind in kinds():
        message = ADJUSTERS[kind.slug].fitted if kind.sits == "bore" else None
        bores = sorted(place.near for place in map(kind.place, kind.adjusters(layout)) if place.near is not None)
        if message is not None and bores:
            said.append(say(message, count=len(bores), bores=" ".join(map(str, bores))))
    return said


def adjusted(moves: Iterable[tuple[str, str]]) -> list[str]:
    """What was adjusted, as a list: each of the ``moves`` is a kind and its place as it is read."""
    found: dict[Message, dict[str, None]] = {}
    for slug in sorted(ADJUSTERS, key=lambda slug: kind_of(slug).sits != "coupler"):
        found.setdefault(ADJUSTERS[slug].several, {})
    for slug, place in moves:
        found[ADJUSTERS[slug].several][place] = None
    return [say(message, count=len(places), places=", ".join(places)) for message, places in found.items() if places]


def place_of(advice: Advice) -> str:
    """The letter or numbers of the adjuster: `A`, `2–3`, `4`."""
    if advice.bank is not None:
        return advice.bank
    return str(advice.near) if advice.far is None else f"{advice.near}–{advice.far}"


def made(move: MoveEntry, layout: Layout, units: Units) -> str:
    """An adjustment that was recorded, as a sentence."""
    values = _values(move.bank, move.near, move.far, move.amount, move.amount, units)
    return say(words_of(move.kind, layout).made.of(move.amount), **values)


def places(layout: Layout, kinds: Collection[str]) -> list[tuple[str, str]]:
    """Every adjuster of these kinds as a choice: its place as forms carry it (`2-3`, `A`, `4`), and its name."""
    found: list[tuple[str, str]] = []
    sits = {kind_of(slug).sits for slug in kinds}
    if "coupler" in sits:
        found += [(f"{c.near}-{c.far}", say(COUPLER, near=c.near, far=c.far)) for c in layout.couplers()]
    if "bank" in sits:
        where = words_of(AdviceKind.STOP, layout).place
        found += [(bank.name, say(where, bank=bank.name)) for bank in layout.banks]
    at_bores = [kind for kind in map(kind_of, kinds) if kind.sits == "bore"]
    bores = {kind.place(screw).near for kind in at_bores for screw in kind.adjusters(layout)}
    found += [(str(bore), say(BORE, near=bore)) for bore in layout.bores if bore in bores]
    return found


def ways(kinds: Collection[str]) -> tuple[tuple[str, str], tuple[str, str]]:
    """Which way an adjuster was turned, as two choices, with what that does where it is the same for all kinds."""
    inward, outward = IN_OPENS, OUT_CLOSES
    if AdviceKind.LINK in kinds:
        inward, outward = IN_EARLIER, OUT_LATER
    elif not _all_open_inward(kinds):
        inward, outward = IN, OUT
    return ("in", say(inward)), ("out", say(outward))


def turned(kinds: Collection[str]) -> str:
    """Which way those of the kinds that work in one direction do, where not all kinds work the same."""
    if AdviceKind.LINK in kinds or _all_open_inward(kinds):
        return ""
    said = (ADJUSTERS[kind].turned for kind in kinds)
    return " ".join(say(message) for message in said if message is not None)


def _all_open_inward(kinds: Collection[str]) -> bool:
    """Whether all of the kinds open when turned in, on every engine."""
    return not any(isinstance(kind_of(slug), ScrewWithGain) for slug in kinds)


def _values(
    bank: str | None, near: int | None, far: int | None, amount: float, thickness: float, units: Units
) -> dict[str, Any]:
    """The values that the messages of all kinds name; each takes its own."""
    size = abs(amount)
    return {
        "bank": bank,
        "near": near,
        "far": far,
        "turns": turns(size),
        "flats": flats(size),
        "feeler": feeler(thickness, units),
    }
