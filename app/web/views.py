"""What the templates are handed to draw: plain facts, every judgement already made."""

from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Literal

State = Literal["to-read", "next", "closing", "read", "corrected", "suspicious", "stale", "skipped", "held", "refused"]
PhaseState = Literal["done", "current", "to-come", "open"]
Keys = Literal["quarter", "half", "tenth", "whole"]
Shape = Literal["none", "even", "lean-wide", "lean-tight", "wide", "tight"]


@dataclass(frozen=True, slots=True)
class Tile:
    """One bore seen from above; ``name`` says aloud what the drawing shows.

    ``reading`` is the id and kind of the reading shown, empty for none.
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


@dataclass(frozen=True, slots=True)
class CouplerMark:
    """The coupler between two tiles; ``adjuster`` when the next move is made there."""

    adjuster: bool = False


@dataclass(frozen=True, slots=True)
class Row:
    """One bank, front first. ``stop_at`` is the stop bore; ``stop_adjuster`` when the next move turns its screw."""

    name: str
    tiles: tuple[Tile, ...]
    couplers: tuple[CouplerMark, ...]
    stop_at: int
    stop_adjuster: bool


@dataclass(frozen=True, slots=True)
class EngineView:
    """The engine from above with the strip of figures; ``largest`` is the size of its largest bank."""

    rows: tuple[Row, ...]
    strip: tuple[tuple[str, str], ...]

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
    """One of the five blades at the head of a visit."""

    title: str
    state: PhaseState
    href: str


@dataclass(frozen=True, slots=True)
class VerdictView:
    """How even, in a word, a sentence and a ruler of the bores outside the window."""

    mark: Literal["even", "not-even", "close", "none"]
    title: str
    sentence: str
    marks: tuple[tuple[int, float, int], ...] = ()
    inside: int = 0


@dataclass(frozen=True, slots=True)
class Answer:
    """One large answer of a card: a way to go, or what to send."""

    label: str
    advised: bool = False
    href: str = ""
    name: str = ""
    value: str = ""


@dataclass(frozen=True, slots=True)
class Card:
    """The next move. ``action`` and ``hidden`` serve the answers that send something."""

    mark: Literal["coupler", "stop", "link", "none"]
    title: str
    reason: str
    answers: tuple[Answer, ...] = ()
    action: str = ""
    hidden: Mapping[str, str] = field(default_factory=dict)


@dataclass(frozen=True, slots=True)
class Keypad:
    """The entry of one reading. ``other`` is a second meaning of the entry: a label and where it leads.

    ``reasons`` are those a bore may be skipped for. ``facts`` are what the page's script goes by when the shop computer
    does not answer: the round, the bores still to read, the meter's range.
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
    other: Answer | None = None
    reasons: tuple[str, ...] = ()
    facts: Mapping[str, str] = field(default_factory=dict)
