"""How even a round is, in words: a title, a sentence, and the word below each reading."""

import math
from collections.abc import Mapping
from enum import StrEnum

from app.sync.estimation.conformity import Conformity
from app.sync.estimation.evenness import BoreResult, BoreVerdict, RoundResult
from app.wording.message import Message, say
from app.wording.quantities import PERCENT, Unit, bore_list, percent, percent_allowed, percent_known, with_unit
from app.wording.reasons import TABLES

TITLE, SENTENCE, TILE = 60, 110, 16
"""Characters that a card's title, its sentence and a bore's tile have room for."""

MOST_NAMED = 3
"""Bores at the limit that are named in a sentence; more are counted."""

TITLES: Mapping[StrEnum, Message] = {
    Conformity.EVEN: Message("Even", limit=TITLE, context="verdict"),
    Conformity.NOT_EVEN: Message("Not even", limit=TITLE),
    Conformity.UNDECIDED: Message("Undecided", limit=TITLE),
    Conformity.LIMIT: Message("Even as far as this meter shows", limit=TITLE),
    Conformity.INCOMPLETE: Message("Even so far", limit=TITLE),
}
WORDS: Mapping[StrEnum, Message] = {
    BoreVerdict.EVEN: Message("even", limit=TILE),
    BoreVerdict.AT_LIMIT: Message("not sure", limit=TILE),
    BoreVerdict.OPEN: Message("open", limit=TILE, context="a plate"),
    BoreVerdict.CLOSED: Message("closed", limit=TILE, context="a plate"),
}
COARSE_TITLES: Mapping[Conformity, Message] = {
    Conformity.EVEN: Message("Close enough for now", limit=TITLE),
    Conformity.LIMIT: Message("Close enough as far as this meter shows", limit=TITLE),
    Conformity.INCOMPLETE: Message("Close enough so far", limit=TITLE),
}
"""The titles of a round that only tells whether the engine may be warmed up: its tolerance is too wide for "even"."""
INSIDE = Message("inside", limit=TILE, note="bore: within a tolerance too wide to be called even")
ALONE = Message("One bore: nothing to compare it with", limit=TITLE)
ALONE_BECAUSE = Message("One bore has no other to be even with.", limit=SENTENCE)
NOT_SURE_YET = Message("Not sure yet", limit=TITLE)
"""The title of a round in progress in which a bore may be outside."""
TABLES[Conformity] = TITLES
TABLES[BoreVerdict] = WORDS

HIGH, LOW = Message("high {gap}", limit=TILE), Message("low {gap}", limit=TILE)
OPEN, CLOSED = Message("open {gap}", limit=TILE), Message("closed {gap}", limit=TILE)
HIGH_END, LOW_END = Message("high", limit=TILE), Message("low", limit=TILE)

EVEN = Message("All bores within ±{tolerance} of the average: {probability} likely.", limit=SENTENCE)
SO_FAR = Message("No bore outside ±{tolerance} so far. Finish the round.", limit=SENTENCE)
NOT_SURE_SO_FAR = Message(
    "Not sure of bore {bores} so far. Finish the round.",
    many="Not sure of bores {bores} so far. Finish the round.",
    limit=SENTENCE,
)
MANY_NOT_SURE_SO_FAR = Message("Not sure of {count} bores so far. Finish the round.", limit=SENTENCE)
MISREAD = Message(
    "Bore {bores} is far from the others. Read it again.",
    many="Bores {bores} are far from the others. Read them again.",
    limit=SENTENCE,
)
AT_LIMIT = Message(
    "{probability} likely that all bores are inside. Not sure of bore {bores}.",
    many="{probability} likely that all bores are inside. Not sure of bores {bores}.",
    limit=SENTENCE,
)
MANY_AT_LIMIT = Message(
    "{probability} likely that all bores are inside. Not sure of {count} of {total} bores.",
    limit=SENTENCE,
)
NOT_ALL = Message("Each bore alone is likely inside, all of them together only {probability} likely.", limit=SENTENCE)
UNPROVED = Message(
    "By sensors that differ, {probability} likely that all bores are inside. One probe has to prove it.", limit=SENTENCE
)
METER_LIMIT = Message(
    "{probability} likely that all bores are within ±{tolerance}. More readings with this meter hardly help.",
    limit=SENTENCE,
)
READ_ENOUGH = Message(
    "{probability} likely that all bores are within ±{tolerance}. Another round may make it surer.",
    limit=SENTENCE,
)
LIKELY_DECIDES = Message("{count} more readings would likely decide it.", limit=SENTENCE)
DECIDES = Message("{count} more reading decides it.", many="At most {count} more readings decide it.", limit=SENTENCE)
SOME_OUTSIDE = Message(
    "Hardly likely that all bores are inside: bore {bores} least of all.",
    limit=SENTENCE,
)
TOO_OPEN = Message("Bore {bores} is too open.", many="Bores {bores} are too open.")
TOO_CLOSED = Message("Bore {bores} is too closed.", many="Bores {bores} are too closed.")
DRIFTED = Message("Idle drifted {change} during the round (corrected).")


def verdict_title(found: RoundResult, coarse: bool = False) -> str:
    """How even a round is, in a word or three.

    Parameters: ``found`` for the round; ``coarse``: it only tells whether the engine may be warmed up.
    """
    if found.alone:
        return say(ALONE)
    if found.verdict is Conformity.INCOMPLETE and _with(found, BoreVerdict.AT_LIMIT):
        return say(NOT_SURE_YET)
    title = COARSE_TITLES.get(found.verdict) if coarse else None
    return say(title or TITLES[found.verdict])


def verdict_sentence(found: RoundResult, unit: Unit) -> str:
    """What the verdict rests on.

    Parameters: ``found`` for the round; ``unit`` of the meter.
    """
    if found.outliers:
        return _of_bores(MISREAD, sorted(found.outliers))
    if found.alone:
        return say(ALONE_BECAUSE)
    tolerance = percent_allowed(found.window)
    match found.verdict:
        case Conformity.INCOMPLETE:
            return _so_far(found, tolerance)
        case Conformity.EVEN:
            said = [say(EVEN, tolerance=tolerance, probability=probability(found))]
        case Conformity.LIMIT:
            message = METER_LIMIT if found.decision.rounds is None else READ_ENOUGH
            said = [say(message, tolerance=tolerance, probability=probability(found))]
        case Conformity.UNDECIDED:
            unproved = found.decision.unproved and not _with(found, BoreVerdict.AT_LIMIT)
            said = [say(UNPROVED, probability=probability(found)) if unproved else _at_limit(found), *_to_decide(found)]
        case Conformity.NOT_EVEN:
            sides = (TOO_OPEN, BoreVerdict.OPEN), (TOO_CLOSED, BoreVerdict.CLOSED)
            said = [_of_bores(message, bores) for message, verdict in sides if (bores := _with(found, verdict))]
            said = said or [_of_bores(SOME_OUTSIDE, [found.least_likely])]
    if found.drift_seen:
        said.append(say(DRIFTED, change=with_unit(unit.change(found.drift), unit.name)))
    return " ".join(said)


def probability(found: RoundResult) -> str:
    """How likely it is that all bores are inside, in whole per cent and never more than 99: "97 %".

    Parameters: ``found`` for a complete round.
    """
    return percent(min(math.floor(100 * (found.decision.all_inside or 0.0)), 99) / 100)


def bore_word(one: BoreResult, vacuum: bool, coarse: bool = False) -> str:
    """The word below a reading: even, not sure, or on which side and by how much.

    Parameters: ``one`` bore; ``vacuum``: the meter is a vacuum gauge, where a high column is a
    closed plate, so that the plate is named and not the figure; ``coarse`` as for ``verdict_title``.
    """
    if coarse and one.verdict is BoreVerdict.EVEN:
        return say(INSIDE)
    if one.verdict in (BoreVerdict.EVEN, BoreVerdict.AT_LIMIT):
        return say(WORDS[one.verdict])
    above, below = (OPEN, CLOSED) if vacuum else (HIGH, LOW)
    return say(above if one.opening > 0 else below, gap=percent_known(one.share, one.share_sd))


def ruler_ends(vacuum: bool) -> tuple[str, str]:
    """The two ends of the ruler, closed plates first.

    Parameters: ``vacuum``: the meter is a vacuum gauge.
    """
    if vacuum:
        return say(WORDS[BoreVerdict.CLOSED]), say(WORDS[BoreVerdict.OPEN])
    return say(LOW_END), say(HIGH_END)


def ruler_scale(window: float) -> tuple[str, ...]:
    """The figures along the ruler: whole tolerances, three each way, the ends with their unit.

    Parameters: ``window``, the tolerance as a fraction of the average.

    >>> ruler_scale(0.08)
    ('−24\\xa0%', '−16', '−8', '0', '+8', '+16', '+24\\xa0%')
    """
    figures = [f"{100 * window * abs(step):g}" for step in range(-3, 4)]
    below, above = [f"−{one}" for one in figures[:3]], [f"+{one}" for one in figures[4:]]
    return (say(PERCENT, figure=below[0]), *below[1:], figures[3], *above[:-1], say(PERCENT, figure=above[-1]))


def _so_far(found: RoundResult, tolerance: str) -> str:
    bores = _with(found, BoreVerdict.AT_LIMIT)
    if not bores:
        return say(SO_FAR, tolerance=tolerance)
    return (
        _of_bores(NOT_SURE_SO_FAR, bores) if len(bores) <= MOST_NAMED else say(MANY_NOT_SURE_SO_FAR, count=len(bores))
    )


def _at_limit(found: RoundResult) -> str:
    bores, chance = _with(found, BoreVerdict.AT_LIMIT), probability(found)
    if not bores:
        return say(NOT_ALL, probability=chance)
    if len(bores) <= MOST_NAMED:
        return say(AT_LIMIT, bores=bore_list(bores), count=len(bores), probability=chance)
    return say(MANY_AT_LIMIT, count=len(bores), total=len(found.standings), probability=chance)


def _to_decide(found: RoundResult) -> list[str]:
    """How many readings would decide it, where that is known."""
    rounds, readings = found.decision.rounds, found.decision.readings
    if rounds is not None:
        return [say(LIKELY_DECIDES, count=rounds * len(found.standings))]
    return [] if readings is None else [say(DECIDES, count=readings)]


def _with(found: RoundResult, verdict: BoreVerdict) -> list[int]:
    return [one.bore for one in found.standings if one.verdict is verdict]


def _of_bores(message: Message, bores: list[int]) -> str:
    return say(message, bores=bore_list(bores), count=len(bores))
