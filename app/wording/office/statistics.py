"""The tables across engines: titles, columns, labels of rows, and what to keep in mind about them."""

from collections.abc import Mapping
from enum import StrEnum

from app.shop.queries.statistics import Cell, Label, Slug, Table
from app.shop.reasons import Reason
from app.wording.message import Message, say
from app.wording.reasons import TABLES, in_words

TITLES: Mapping[StrEnum, Message] = {
    Slug.ADJUSTERS: Message("Which couplers and screws slip most"),
    Slug.LAYOUTS: Message("Which layouts slip most"),
    Slug.HARDWARE: Message("Which bore sizes slip most"),
    Slug.LASTS: Message("How long an engine stays in tolerance"),
    Slug.MOVES: Message("Adjustments per visit"),
    Slug.METERS: Message("Adjustments per visit, by meter"),
    Slug.PEOPLE: Message("Adjustments per visit, by person"),
}

RETURNS, SHARE, SLIP_FOUND = Message("Return visits"), Message("Share"), Message("Something slipped")
VISITS, MOVES, ROUNDS = Message("Visits"), Message("Adjustments per visit"), Message("Rounds per visit")
SPREAD = Message("Median spread as left [% of mean]")

COLUMNS: Mapping[StrEnum, tuple[Message, ...]] = {
    Slug.ADJUSTERS: (
        Message("Adjuster"),
        Message("Return visits with this adjuster"),
        Message("Slipped"),
        SHARE,
        Message("Mean size [% of flow]"),
    ),
    Slug.LAYOUTS: (Message("Layout"), RETURNS, SLIP_FOUND, SHARE),
    Slug.HARDWARE: (Message("Bore [mm]"), RETURNS, SLIP_FOUND, SHARE),
    Slug.LASTS: (
        Message("Time since as left"),
        RETURNS,
        Message("Not out of tolerance"),
        Message("Nothing slipped"),
        Message("Share not out of tolerance"),
    ),
    Slug.MOVES: (Message("Adjustments"), VISITS, SHARE),
    Slug.METERS: (Message("Meter"), VISITS, MOVES, ROUNDS, SPREAD),
    Slug.PEOPLE: (Message("Initials"), VISITS, MOVES, ROUNDS, SPREAD),
}

NOTES: Mapping[StrEnum, Message] = {
    Slug.ADJUSTERS: Message(
        "Couplers are counted by their position, outward from the stop screw. "
        "Slipped: named as the cause at a return visit, with the probability that the engine's page shows."
    ),
    Slug.LASTS: Message("Engines that did not come back are not counted. Most of those may still be in order."),
}

LABELS: Mapping[StrEnum, Message] = {
    Label.COUPLER: Message("coupler {away} from the stop screw", limit=34),
    Label.STOP_SCREW: Message("stop screw", limit=34),
    Label.BYPASS_SCREW: Message("bypass screw", limit=34),
    Label.OTHER_SCREW: Message("other screw", limit=34, note="of a kind that few engines have"),
    Label.BORE: Message("bore itself", limit=34),
    Label.LINK_ROD: Message("link rod", limit=34),
    Label.SIZE: Message("{mm}", limit=34),
    Label.SIZE_ESTIMATED: Message("{mm} (estimate)", limit=34),
    Label.MONTHS: Message("{low} to {high} months", limit=34),
    Label.MORE_MONTHS: Message("over {low} months", limit=34),
}
TABLES[Slug] = TITLES
TABLES[Label] = LABELS

PERCENT = Message("{percent}\u00a0%")
PERCENT_OF = Message("{percent}\u00a0% of {count}")
NO_DATA = Message("no data", context="bar of a plot")


def title(table: Table) -> str:
    """What a table shows."""
    return say(TITLES[table.slug])


def columns(table: Table) -> tuple[str, ...]:
    """The heads of a table's columns, with their units."""
    return tuple(say(one) for one in COLUMNS[table.slug])


def note(table: Table) -> str:
    """What to keep in mind about a table; empty for nothing."""
    return say(NOTES[table.slug]) if table.slug in NOTES else ""


def plain(cell: Cell) -> str | int | float:
    """A cell for a spreadsheet: its words, or its figure as a number; empty where there is none."""
    if cell is None:
        return ""
    return in_words(cell) if isinstance(cell, Reason) else cell


def shown(table: Table, row: tuple[Cell, ...]) -> tuple[str, ...]:
    """The cells of a row as the page shows them, a share in per cent."""
    return tuple(_share(cell) if table.share and at == table.bar else str(plain(cell)) for at, cell in enumerate(row))


def bar_words(table: Table, row: tuple[Cell, ...]) -> str:
    """What the bar of a row says."""
    if not table.share:
        return f"{row[table.bar] or 0:g}"
    if not table.of:
        return _share(row[table.bar])
    count = row[table.of]
    return say(PERCENT_OF, percent=_percent(row[table.bar]), count=count) if count else say(NO_DATA)


def _share(cell: Cell) -> str:
    return say(PERCENT, percent=_percent(cell))


def _percent(cell: Cell) -> str:
    return f"{100 * cell:.0f}" if isinstance(cell, int | float) else ""
