"""The tables across engines: titles, columns, labels of rows, and what to keep in mind about them."""

from collections.abc import Mapping
from enum import StrEnum
from statistics import median_low

from app.shop.queries.statistics import FEWEST, Cell, Label, Slug, Table, interval, standing_out
from app.shop.reasons import Reason
from app.wording.message import Message, say
from app.wording.reasons import TABLES, in_words

PRINTED = Message("Answers", note="at the head of a printed page")

TITLES: Mapping[StrEnum, Message] = {
    Slug.ADJUSTERS: Message("Which couplers and screws slip most?"),
    Slug.LAYOUTS: Message("Which layouts slip most?"),
    Slug.HARDWARE: Message("Which bore sizes slip most?"),
    Slug.LASTS: Message("How long does an engine stay in tolerance?"),
    Slug.MOVES: Message("How many adjustments does a visit take?"),
    Slug.METERS: Message("How many adjustments does a visit take with each meter?"),
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
SOME_OF = Message("{some} of {of}")
TOO_FEW_HERE = Message("{some} of {of}, too few to say")
FIGURE = Message("{figure}", note="mean adjustments of a visit, beside a bar")

TOO_FEW = Message("Too few to say")
BELOW = Message("Every line has fewer than {fewest}.")
STANDS_OUT = Message("Most often: {label}")
NONE_STANDS_OUT = Message("No clear difference")
OVERLAP = Message("The intervals overlap, so the order of the lines says nothing.")
STILL_IN = Message("{some} of {of} were not out of tolerance")
AFTER = Message("This is after {time}, the longest time with enough return visits.")
MIDDLE = Message("{count} adjustment", many="{count} adjustments")
MIDDLE_OF = Message("Half of {visits} visits took no more, and half no fewer.")
FROM_TO = Message("{least} to {most} adjustments on average")
ON_AVERAGE = Message("{figure} adjustments on average")
DIFFERENT_ENGINES = Message("The meters may have had different engines.")


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
    """What stands beside the bar or the dot of a row."""
    if not table.share:
        return say(FIGURE, figure=f"{row[table.bar] or 0:g}")
    some, of = table.counts(row)
    return say(TOO_FEW_HERE if interval(some, of) is None else SOME_OF, some=some, of=of)


def answer(table: Table) -> tuple[str, str]:
    """The answer to the question of a table in a few words, and the reservation to it."""
    match table.slug:
        case Slug.LASTS:
            return _lasts(table)
        case Slug.MOVES:
            return _moves(table)
        case Slug.METERS:
            return _meters(table)
    if all(interval(*table.counts(row)) is None for row in table.rows):
        return _too_few()
    first = standing_out(table)
    if first is None:
        return say(NONE_STANDS_OUT), say(OVERLAP)
    some, of = table.counts(first)
    return say(STANDS_OUT, label=plain(first[0])), say(SOME_OF, some=some, of=of) + "."


def _lasts(table: Table) -> tuple[str, str]:
    told = [row for row in table.rows if interval(*table.counts(row)) is not None]
    if not told:
        return _too_few()
    some, of = table.counts(told[-1])
    return say(STILL_IN, some=some, of=of), say(AFTER, time=plain(told[-1][0]))


def _moves(table: Table) -> tuple[str, str]:
    taken = [int(plain(row[0])) for row in table.rows for _ in range(table.counts(row)[0])]
    if len(taken) < FEWEST:
        return _too_few()
    middle = median_low(taken)
    return say(MIDDLE, count=middle), say(MIDDLE_OF, visits=len(taken))


def _meters(table: Table) -> tuple[str, str]:
    told = [float(plain(row[table.bar])) for row in table.rows if int(plain(row[1])) >= FEWEST]
    if not told:
        return _too_few()
    least, most = f"{min(told):g}", f"{max(told):g}"
    if len(told) == 1:
        return say(ON_AVERAGE, figure=most), ""
    return say(FROM_TO, least=least, most=most), say(DIFFERENT_ENGINES)


def says_too_few(words: str) -> bool:
    """Whether an answer is that there are too few to say."""
    return words == say(TOO_FEW)


def _too_few() -> tuple[str, str]:
    return say(TOO_FEW), say(BELOW, fewest=FEWEST)


def _share(cell: Cell) -> str:
    return say(PERCENT, percent=_percent(cell))


def _percent(cell: Cell) -> str:
    return f"{100 * cell:.0f}" if isinstance(cell, int | float) else ""
