"""What the brain found, as a calm colleague would say it: titles of at most two short lines, sentences of one or two.

Numbers stand in the meter's unit with its steps, blades in thousandths of an inch, turns in sixteenths in words. A stop
screw turned in opens its bank; a bypass screw turned out lets more air past its plate.
"""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from fractions import Fraction

from app.sync.engine.layout import Layout
from app.sync.engine.units import INCH, MM, THOU
from app.sync.planning.advice import Advice
from app.sync.readings.rounds import RoundResult

COUNTS = ("no", "one", "two", "three", "four", "five", "six", "seven", "eight", "nine", "ten", "eleven", "twelve")
SIXTEENTHS = (
    "",
    "one sixteenth",
    "one eighth",
    "three sixteenths",
    "one quarter",
    "five sixteenths",
    "three eighths",
    "seven sixteenths",
    "one half",
    "nine sixteenths",
    "five eighths",
    "eleven sixteenths",
    "three quarters",
    "thirteen sixteenths",
    "seven eighths",
    "fifteen sixteenths",
)


QUARTERS = {0.25: "¼", 0.5: "½", 0.75: "¾"}
MOST_NAMED = 3
"""Bores named in a sentence of which all are alike; more are counted."""


def signed(value: float, decimals: int) -> str:
    """A change with its sign, a minus as wide as the plus; what shows as nothing has none.

    Parameters: ``value`` in any unit; ``decimals`` to show.

    >>> signed(0.64, 1), signed(-0.64, 1), signed(-0.04, 1)
    ('+0.6', '−0.6', '0.0')
    """
    size = f"{abs(value):.{decimals}f}"
    if not float(size):
        return size
    return f"{'+' if value > 0 else '−'}{size}"


@dataclass(frozen=True, slots=True)
class Unit:
    """The unit a meter shows: its name, its size in base units, the places its step has, and the step itself."""

    name: str
    size: float
    decimals: int
    step: float = 0.0

    def show(self, value: float) -> str:
        """A value in base units as the meter would show it."""
        return f"{value / self.size:.{self.decimals}f}"

    def change(self, value: float) -> str:
        """A difference in base units with its sign."""
        return signed(value / self.size, self.decimals)

    def nearest(self, value: float) -> str:
        """A value in base units to the nearest step that the meter can show."""
        step = self.step * self.size
        return self.show(round(value / step) * step if step else value)


def turns(amount: float) -> str:
    """Turns of a screw in words, to the nearest sixteenth.

    Parameters: ``amount`` of turns, 0 or more.

    >>> turns(0.125), turns(1.0), turns(1.5)
    ('one eighth', 'one turn', 'one turn and one half')
    """
    whole, part = divmod(round(amount * 16), 16)
    if not whole:
        return SIXTEENTHS[part] or "nothing"
    said = "one turn" if whole == 1 else f"{COUNTS[whole] if whole < len(COUNTS) else whole} turns"
    return f"{said} and {SIXTEENTHS[part]}" if part else said


def fraction(amount: float) -> str:
    """Turns of a screw in figures, to the nearest sixteenth, for a title.

    Parameters: ``amount`` of turns, 0 or more.

    >>> fraction(0.1875), fraction(0.5), fraction(1.25)
    ('3/16', '1/2', '1 1/4')
    """
    whole, part = divmod(Fraction(round(amount * 16), 16), 1)
    said = [str(whole)] if whole or not part else []
    return " ".join([*said, f"{part.numerator}/{part.denominator}"] if part else said)


def flats(count: float) -> str:
    """Sixths of a turn of a rod as a person says them.

    Parameters: ``count`` above 0, to the nearest quarter.

    >>> flats(1.5), flats(0.5), flats(1.0), flats(2.25)
    ('1½ flats', '½ flat', '1 flat', '2¼ flats')
    """
    whole, part = divmod(round(count * 4) / 4, 1)
    said = f"{int(whole) if whole else ''}{QUARTERS.get(part, '')}"
    return f"{said} {'flat' if count <= 1 else 'flats'}"


def blade(thickness: float, metric: bool = False) -> str:
    """A blade's thickness, with a last place only where it needs one.

    Parameters: ``thickness`` [m]; ``metric`` for millimetres instead of inches.

    >>> blade(3 * THOU), blade(4.5 * THOU)
    ('0.003\\xa0in', '0.0045\\xa0in')
    >>> blade(0.1 * MM, metric=True), blade(3 * THOU, metric=True)
    ('0.10\\xa0mm', '0.076\\xa0mm')
    """
    if metric:
        places = 2 if abs(thickness / MM * 100 - round(thickness / MM * 100)) < 0.05 else 3
        return f"{thickness / MM:.{places}f}\u00a0mm"
    places = 3 if abs(thickness / THOU - round(thickness / THOU)) < 0.05 else 4
    return f"{thickness / INCH:.{places}f}\u00a0in"


def opening(thickness: float, from_above: bool, metric: bool = False) -> str:
    """What holds the central lever, and whether it was reached from further open.

    Parameters: ``thickness`` [m] of the blade; ``from_above``; ``metric`` for millimetres instead of inches.

    >>> opening(30 * THOU, True), opening(30 * THOU, False)
    ('0.030\\xa0in, from above', '0.030\\xa0in')
    """
    return f"{blade(thickness, metric)}{', from above' if from_above else ''}"


def bores_in_words(bores: Sequence[int]) -> str:
    """Bores by number alone, for a sentence that began with the word.

    Parameters: ``bores``, at least one.

    >>> bores_in_words([3]), bores_in_words([3, 4]), bores_in_words([3, 4, 8])
    ('3', '3 and 4', '3, 4 and 8')
    """
    said = [str(bore) for bore in bores]
    return said[0] if len(said) == 1 else f"{', '.join(said[:-1])} and {said[-1]}"


def named_bores(bores: Sequence[int]) -> str:
    """Bores by number, with the word before them.

    Parameters: ``bores``, at least one.

    >>> named_bores([3]), named_bores([3, 4])
    ('bore 3', 'bores 3 and 4')
    """
    return f"{'bore' if len(bores) == 1 else 'bores'} {bores_in_words(bores)}"


def sentence(words: str) -> str:
    """Words as they begin a sentence.

    Parameters: ``words``, one letter at least.
    """
    return words[0].upper() + words[1:]


def title(advice: Advice, layout: Layout, metric: bool = False) -> str:
    """The next move in a line or two.

    Parameters: ``advice`` to say; ``layout`` it is about; ``metric`` for blades in millimetres.
    """
    match advice.kind:
        case "measure":
            return f"Read {named_bores(advice.bores)}" if len(advice.bores) < 4 else "Read every bore"
        case "stop":
            way = "in" if advice.turns > 0 else "out"
            bore = layout.bank(advice.bank or "").stop
            return f"Turn the stop screw at bore {bore} {way} by {_turned(advice.turns)}"
        case "blade":
            leaves = " and ".join(blade(leaf, metric) for leaf in advice.leaves)
            stacked = " stacked" if len(advice.leaves) > 1 else ""
            return f"Reset coupler {advice.near}–{advice.far} on {leaves}{stacked}"
        case "link":
            way = "earlier" if advice.flats > 0 else "later"
            return f"Turn link {advice.bank} by {flats(abs(advice.flats))}, to open {way}"
        case "screw":
            way, read = "in" if advice.turns > 0 else "out", ", and read" if advice.why == "way" else ""
            return f"Turn coupler screw {advice.near}–{advice.far} {way} by {_turned(advice.turns)}{read}"
        case "bypass":
            way = "out" if advice.turns > 0 else "in"
            return f"Turn bypass screw {advice.near} {way} by {_turned(advice.turns)}"
        case "done":
            return "Leave the plates alone"
    if advice.why == "skipped":
        return f"{sentence(named_bores(advice.about))} {'was' if len(advice.about) == 1 else 'were'} skipped"
    return "Look for the cause before turning more"


REASONS: Mapping[str, str] = {
    "first-round": "Every bore once, then the first again: the verdict and the next move follow.",
    "after-move": "The move shifted it: what it did says what comes next.",
    "last-round": "No move is needed by what is known. Every bore once more, the most doubtful first, proves it.",
    "unread": "Every bore once, then the first again.",
    "doubtful": "One more reading tells whether it needs a move, and costs less than one.",
    "close-round": "It closes the round and shows how far the engine drifted.",
    "misread": "It does not fit its neighbours. Read it again before anything is believed.",
    "disagree": "Its readings do not agree, and nothing was moved between. Read it again.",
    "even": "Another move would gain less than the meter can see.",
    "finest": "No blade owned and no hand sets it closer. The window asked for is finer than that.",
    "coarse": "The banks stand close enough to warm it up. The rest waits for heat.",
    "skipped": "The others cannot be evened around a bore nobody has read. Read it, or go on with a reason.",
    "slop": "Readings scatter with nothing moved: look for slack in what carries its plate.",
    "no-answer": "The last move did not act as the linkage says: slack, a plate that does not return, or a leak.",
    "way": "Nobody knows yet which way it opens what lies beyond: a little of it, and the next reading tells.",
    "bypass-end": "its bypass screw has come to its end. Look for dirt, a leak, or a plate askew on the shaft.",
    "no-adjuster": "no screw sets it apart from its mate on the shaft. Look for dirt, a leak, or a plate askew.",
}
"""What stands behind a reason's code, where nothing has to be worked out. A new code gets its line here."""


def reason(advice: Advice, unit: Unit) -> str:
    """Why, and what to expect, in one or two short sentences.

    Parameters: ``advice`` to say; ``unit`` of the meter.
    """
    if advice.kind in ("stop", "blade", "screw", "bypass") and advice.why != "way":
        said = [_why_moved(advice), _what_moves(advice), _what_to_expect(advice, unit), _what_then(advice)]
        return " ".join(part for part in said if part)
    about = f"{sentence(named_bores(advice.about))}: " if advice.about and advice.why != "skipped" else ""
    return about + REASONS.get(advice.why, "The readings so far ask for it.")


def verdict_title(found: RoundResult) -> str:
    """How even a round is, in a word or three.

    Parameters: ``found`` evenness of the round.
    """
    return {
        "even": "Even",
        "not even": "Not even yet",
        "too close to call": "Too close to call",
        "incomplete": "Even so far",
    }[found.verdict]


def verdict_sentence(found: RoundResult, unit: Unit) -> str:
    """What stands behind the verdict, at most 85 characters where the bores are few.

    Parameters: ``found`` evenness of the round; ``unit`` of the meter.
    """
    if found.outliers:
        odd = sorted(found.outliers)
        fit, it = ("does not fit", "it") if len(odd) == 1 else ("do not fit", "them")
        return f"{sentence(named_bores(odd))} {fit} the others: read {it} again."
    drift = ""
    if found.drift_seen:
        drift = f" The round {'rose' if found.drift > 0 else 'fell'} by {unit.show(abs(found.drift))}; taken out."
    if found.verdict == "even":
        return f"All stand within {unit.show(found.tolerance)} with room for the meter.{drift}"
    if found.verdict == "incomplete":
        return f"None stands outside ±{unit.show(found.tolerance)}. The round is not closed yet."
    wide, tight = _of(found, "wide"), _of(found, "tight")
    if not wide and not tight:
        edge = [s.bore for s in found.standings if s.verdict == "too close"]
        near = bores_in_words(edge) if len(edge) <= MOST_NAMED else f"{len(edge)} of {len(found.standings)}"
        verb = "is" if len(edge) == 1 else "are"
        return f"None is clearly outside; {near} {verb} too near the edge to tell.{drift}"
    parts = [
        f"{bores_in_words(bores)} {'stands' if len(bores) == 1 else 'stand'} {word}"
        for bores, word in ((wide, "wide"), (tight, "tight"))
        if bores
    ]
    return f"{', '.join(parts)}.{drift}"


def _of(found: RoundResult, verdict: str) -> list[int]:
    return [s.bore for s in found.standings if s.verdict == verdict]


def _turned(turns: float) -> str:
    return f"{fraction(abs(turns))}\u00a0{'turns' if abs(turns) > 1 else 'turn'}"


def _why_moved(advice: Advice) -> str:
    bore = advice.near if advice.kind == "bypass" else advice.far
    match advice.why:
        case "wide" | "tight":
            return f"Bore {bore} stands {advice.why}."
        case "follows":
            return f"Bore {bore} is set to those before it."
        case "stop-speed":
            return f"Idle is too {'slow' if advice.turns > 0 else 'fast'}."
        case "stop-bank":
            return "It leaves the fewest plates to set."
    return ""


def _what_moves(advice: Advice) -> str:
    if advice.kind == "stop":
        verb = "opens" if advice.turns > 0 else "closes"
        return f"All of bank {advice.bank} {verb}."
    if advice.kind == "bypass":
        return f"Lets {'more' if advice.turns > 0 else 'less'} air past bore {advice.near} alone."
    if not advice.bores:
        return ""
    if len(advice.bores) == 1:
        return f"Moves bore {advice.bores[0]} alone."
    return f"Moves {named_bores(advice.bores)} together."


def _what_to_expect(advice: Advice, unit: Unit) -> str:
    """The readings to come, and the wider half of their bands where it is a step of the meter or more."""
    known = [advice.expected[bore] for bore in advice.bores if bore in advice.expected]
    if not known or len(known) > 4:
        return ""
    said = [unit.nearest(one.value) for one in known]
    wide = unit.nearest(max(max(one.high - one.value, one.value - one.low) for one in known))
    band = f", give or take {wide}" if float(wide) > 0 else ""
    if len(said) < len(advice.bores):
        bore = next(b for b in advice.bores if b in advice.expected)
        return f"Expect {said[0]} at bore {bore}{band}."
    return f"Expect {said[0] if len(said) == 1 else ', '.join(said[:-1]) + ' and ' + said[-1]}{band}."


def _what_then(advice: Advice) -> str:
    """The moves likely to follow, without their amounts: those are worked out anew."""
    said = []
    for kind, what in (("stop", "the stop screw of bank"), ("blade", "a blade at"), ("screw", "the screw of coupler")):
        places = [one.bank or f"{one.near}–{one.far}" for one in advice.then if one.kind == kind]
        if places:
            many = what.replace("a blade", "blades").replace("screw", "screws") if len(places) > 1 else what
            said.append(f"{many} {' and '.join(places)}")
    bores = [one.near for one in advice.then if one.kind == "bypass" and one.near is not None]
    if bores:
        said.append(f"the bypass screw{'s' if len(bores) > 1 else ''} of {named_bores(bores)}")
    return f"Then likely {' and '.join(said)}." if said else ""
