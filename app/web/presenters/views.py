"""What the templates are handed to draw: plain facts, every judgement already made."""

from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Literal, NamedTuple

from app.wording.message import say
from app.wording.office.engines import COUPLER_MARKS

State = Literal[
    "to-read", "next", "closing", "read", "corrected", "suspicious", "stands", "stale", "skipped", "held", "refused"
]
PhaseState = Literal["done", "current", "to-come", "open"]
Keys = Literal["quarter", "half", "tenth", "whole"]
Shape = Literal["none", "even", "lean-wide", "lean-tight", "wide", "tight"]


@dataclass(frozen=True, slots=True)
class ScrewMark:
    """A screw that acts on one bore alone, by the slug of its kind, drawn round ``x``, ``y`` in the square of the tile;
    ``adjuster`` when the next move turns it."""

    kind: str
    x: float
    y: float
    adjuster: bool


@dataclass(frozen=True, slots=True)
class Tile:
    """One bore seen from above; ``name`` says aloud what the drawing shows.

    ``reading`` is the id and kind of the reading shown, empty for none. The plate's shaft goes on to the next bore
    towards the front or the rear where ``shaft_front`` or ``shaft_rear``; ``screws`` are those of this bore alone.
    """

    bore: int
    value: str
    word: str
    state: State
    shape: Shape
    blades: int
    corner: str
    href: str
    name: str
    reading: str = ""
    line_left: bool = False
    line_right: bool = False
    shaft_front: bool = False
    shaft_rear: bool = False
    screws: tuple[ScrewMark, ...] = ()


@dataclass(frozen=True, slots=True)
class CouplerMark:
    """What joins two tiles: a coupler set on a feeler or by a screw, or one shaft; ``adjuster`` when the next
    adjustment is made there."""

    adjuster: bool = False
    kind: Literal["blade", "screw", "shaft", "motors"] = "blade"

    @property
    def spoken(self) -> str:
        """What it is, where that is not what is usual."""
        return "" if self.kind == "blade" else say(COUPLER_MARKS[self.kind])


@dataclass(frozen=True, slots=True)
class BoreRow:
    """One bank, front first, or half of a long one: its first half ends in the coupler that leads on to the second.

    ``name`` is empty where the engine has one bank. ``stop_at`` is the stop bore; ``stop_adjuster`` when the next
    adjustment turns its screw.
    """

    name: str
    tiles: tuple[Tile, ...]
    couplers: tuple[CouplerMark, ...]
    stop_at: int
    stop_adjuster: bool


class RoundCount(NamedTuple):
    """How many bores of a round are read, of how many readings; the drift check counts as one."""

    read: int
    total: int


@dataclass(frozen=True, slots=True)
class EngineView:
    """The engine from above with the strip of figures; ``alone`` where it has one bank, which is not named.

    ``counts`` is for the script, which counts on while the round in the strip is read; None when none is.
    """

    rows: tuple[BoreRow, ...]
    strip: tuple[tuple[str, str], ...]
    alone: bool = False
    counts: RoundCount | None = None

    @property
    def largest(self) -> int:
        """Bores in the largest bank."""
        return max(len(row.tiles) for row in self.rows)


@dataclass(frozen=True, slots=True)
class SmallTile:
    """A bore in the small drawing of a list."""

    shape: Shape


@dataclass(frozen=True, slots=True)
class SmallRow:
    """A bank in the small drawing of a list."""

    tiles: tuple[SmallTile, ...]


@dataclass(frozen=True, slots=True)
class PhaseView:
    """One of the five phases at the head of a visit; ``needed`` says whether this visit has it to do."""

    title: str
    state: PhaseState
    href: str
    slug: str
    needed: bool


@dataclass(frozen=True, slots=True)
class OpeningMark:
    """The banks apart at one opening of the lever: where on the line from -1 to 1, half the tolerance on that line, and
    the difference in figures. ``label`` is the opening."""

    label: str
    state: Literal["read", "next", "to-read"]
    position: float = 0.0
    half: float = 0.0
    shown: str = ""


@dataclass(frozen=True, slots=True)
class Rod:
    """A bank's end of the linkage: the bore its rod drives, how far along the bank (0 front, 1 rear), how that plate
    stands against the other bank off idle.

    ``twin`` threads, one at either end; ``worn`` joints; ``lifted`` off its stop; a ``short`` lever at its shaft.
    """

    bank: str
    bore: int
    at: float
    shape: Shape = "none"
    blades: int = 0
    twin: bool = False
    worn: bool = False
    lifted: bool = False
    short: bool = False


@dataclass(frozen=True, slots=True)
class LinkageView:
    """Central lever and both rods. ``line``: unbroken where the banks open together, dashed where it is not known.

    ``turn`` is the bank whose rod is turned, by ``count`` flats, ``way`` earlier or later. ``ask`` names the parts
    to read or feel next, ``lever`` what lies under the central lever. ``title`` and ``steps`` are the words beside it.
    """

    rods: tuple[Rod, ...]
    line: Literal["even", "firm", "doubt"]
    turn: str = ""
    flats: float = 0.0
    count: str = ""
    way: str = ""
    ask: Literal["", "plates", "bank-joints", "joints", "shafts", "lever"] = ""
    lever: str = ""
    title: str = ""
    steps: tuple[str, ...] = ()


RulerMark = tuple[int, float, int, bool]
"""A bore on the ruler: where from -1 to 1, how high from 0 to 2, and whether it is surely outside."""


@dataclass(frozen=True, slots=True)
class VerdictView:
    """How even, in a word, a sentence and a ruler: of the bores outside the tolerance, or of the banks by ``openings``,
    whose figures are ``spoken`` as well. ``ends`` are the names of the ruler's ends, ``scale`` the figures along it."""

    mark: Literal["even", "not-even", "close", "inside", "none"]
    title: str
    sentence: str
    marks: tuple[RulerMark, ...] = ()
    inside: int = 0
    openings: tuple[OpeningMark, ...] = ()
    ends: tuple[str, str] = ("", "")
    scale: tuple[str, ...] = ()
    spoken: str = ""


@dataclass(frozen=True, slots=True)
class Action:
    """One large answer of a card: a way to go, or what to send.

    ``action`` is where it is sent, when that is elsewhere than the card's others go. One that ``takes_long`` is left to
    the browser.
    """

    label: str
    advised: bool = False
    href: str = ""
    name: str = ""
    value: str = ""
    action: str = ""
    takes_long: bool = False


@dataclass(frozen=True, slots=True)
class Entered:
    """One value of a bore as it was entered, by whom and when; ``struck`` where another one took its place."""

    value: str
    who: str
    struck: bool


@dataclass(frozen=True, slots=True)
class Card:
    """The next step. ``action`` and ``hidden`` serve the answers that send something; ``values`` are a bore's own.

    ``mark`` names what is drawn beside the title: an adjuster (``presenters.adjusters``), ``lever``, or ``none``.
    ``ways`` asks how the opening is reached, with the way that is chosen: ``up`` to it, or from open (``above``).
    """

    mark: str
    title: str
    reason: str
    answers: tuple[Action, ...] = ()
    action: str = ""
    hidden: Mapping[str, str] = field(default_factory=dict)
    values: tuple[Entered, ...] = ()
    ways: Literal["", "up", "above"] = ""


@dataclass(frozen=True, slots=True)
class Keypad:
    """The entry of one reading. ``other`` is a second meaning of the entry: a label and where it leads.

    ``reasons`` are those a bore may be skipped for, each with its label. ``facts`` are what
    the page's script goes by when the shop computer does not answer: the round, the bores still to read, the meter's
    range. ``all_bores`` is where sensors at all bores are read at once, empty where no bore is asked for.
    """

    heading: str
    unit: str
    follows: str
    keys: Keys
    open: bool
    action: str
    hidden: Mapping[str, str]
    typed: str = ""
    message: str = ""
    other: Action | None = None
    reasons: tuple[tuple[str, str], ...] = ()
    all_bores: str = ""
    facts: Mapping[str, str] = field(default_factory=dict)
