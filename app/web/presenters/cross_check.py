"""The cross-check page: the next test, what still stands, the form of one test, and the drawn table."""

from dataclasses import dataclass

from app.shop.cross_check.findings import CAUTIONS_MISSED, REPAIRABLE
from app.shop.cross_check.units import takes_words, units_of
from app.shop.cross_check.weighing import TELEPHONE, CrossCheck
from app.shop.store.tables import FindingRow
from app.sync.diagnosis.causes import EngineFault
from app.sync.diagnosis.diagnose import Verdict
from app.sync.diagnosis.evidence import Deviation, seen
from app.sync.diagnosis.measurements import CATALOGUE, Extent, FindingKind, Use
from app.web.presenters.filters import clock
from app.wording.causes import causes, on_paper, tests
from app.wording.message import say

FULL = 4.0
"""Spreads at which the mark of a deviation is as long as it gets (our judgement)."""
HEAVY = 2.0
"""Spreads from which the mark is drawn heavier (our judgement)."""
PLACES = {
    FindingKind.AIR: 2, FindingKind.VACUUM: 1, FindingKind.HEAT: 0, FindingKind.DROP: 0, FindingKind.MIXTURE: 2,
    FindingKind.SNAP: 1, FindingKind.TIMING: 1, FindingKind.SQUEEZE: 1, FindingKind.BACK_PRESSURE: 1,
    FindingKind.RECORD: 2, FindingKind.ADAPTER: 2, FindingKind.RESET: 2, FindingKind.FLOW: 0,
    FindingKind.COMPRESSION: 0, FindingKind.LASH: 2,
}  # fmt: skip
"""Decimals of a figure in the unit it is weighed in, as such an instrument shows it (our judgement)."""


@dataclass(frozen=True, slots=True)
class Cell:
    """What one bore showed in one test: the figure or word, and its mark from -1 to 1 (0 for none)."""

    text: str
    mark: float = 0.0
    heavy: bool = False


@dataclass(frozen=True, slots=True)
class BoreFindings:
    """A bore with its cells, one a column."""

    bore: int
    cells: tuple[Cell, ...]


@dataclass(frozen=True, slots=True)
class EntryField:
    """A field of the form: its name, its label's bore or bank, empty for the engine."""

    name: str
    bore: int | None
    bank: str


@dataclass(frozen=True, slots=True)
class TestEntry:
    """The form of one test: its code, words to choose from (else a unit), its places."""

    code: str
    title: str
    state: str
    how: str
    tells: str
    words: tuple[tuple[str, str], ...]
    units: tuple[tuple[str, str], ...]
    places: tuple[EntryField, ...]


@dataclass(frozen=True, slots=True)
class EntryLine:
    """An entry that counts or did: its id and its words."""

    ident: int
    words: str


@dataclass(frozen=True, slots=True)
class FoundCause:
    """The cause that was found, and its place as a form sends it."""

    cause: str
    place: str


@dataclass(frozen=True, slots=True)
class CrossCheckView:
    """Everything that the page shows."""

    verdict: str
    settled: bool
    next_title: str
    back: str
    plates: str
    reason: str
    standing: tuple[str, ...]
    entry: TestEntry | None
    others: tuple[tuple[str, str], ...]
    columns: tuple[str, ...]
    rows: tuple[BoreFindings, ...]
    whole: tuple[str, ...]
    missing: str
    entries: tuple[EntryLine, ...]
    repaired: tuple[str, ...]
    found: FoundCause | None
    causes: tuple[tuple[str, str], ...]
    places: tuple[tuple[str, str], ...]


def view(told: CrossCheck, wanted: str = "") -> CrossCheckView:
    """The page of a cross-check, with the form of the ``wanted`` test or of the next one."""
    diagnosis, bores = told.diagnosis, told.bores
    banks = [bank.name for bank in told.record.layout.banks]
    following, ended = diagnosis.next_test, told.record.sign_off is not None
    measure = FindingKind(wanted) if wanted in set(FindingKind) else following.measure if following else None
    offered = [one for one in FindingKind if _offered(told, one)]
    shown = [one for one in FindingKind if any(finding.measure is one for finding in told.findings)]
    return CrossCheckView(
        causes.verdict_words(diagnosis, bores, banks, ended=ended),
        diagnosis.verdict is Verdict.FOUND,
        "" if ended else causes.next_words(following, bores),
        causes.to_readings(diagnosis, bores),
        causes.plates_words(),
        causes.reason_words(diagnosis) if diagnosis.verdict is Verdict.FOUND else "",
        tuple(causes.standing_words(one, bores, banks) for one in diagnosis.standing if one.odds >= 0.1),
        _entry(told, measure, following.bores if following and following.measure is measure else ()),
        tuple((one.value, tests.test_name(one)) for one in offered),
        tuple(tests.test_name(one) for one in shown if _by_bore(one)),
        _rows(told, [one for one in shown if _by_bore(one)]),
        tuple(_whole(told)),
        causes.not_looked_at([one for one in offered if one not in shown]) if diagnosis.looked_at else "",
        tuple(EntryLine(row.ident, _entry_words(row)) for row in reversed(told.made) if row.why != CAUTIONS_MISSED),
        tuple(on_paper.repaired_here(EngineFault(row.word), row.bore, row.bank) for row in told.repaired if row.word),
        _found(told),
        tuple((one.value, say(causes.NAMES[one])) for one in REPAIRABLE),
        _places(told),
    )


def _entry_words(row: FindingRow) -> str:
    said = on_paper.shown(row.kind, row.value, row.word, row.unit)
    return on_paper.line(row.kind, [(row.bore, row.bank, said)], row.by, clock(row.at))


def _found(told: CrossCheck) -> FoundCause | None:
    first = told.diagnosis.standing[0]
    if told.diagnosis.verdict is not Verdict.FOUND:
        return None
    bore, bank = told.place_of(first)
    return FoundCause(first.cause, f"bore-{bore}" if bore is not None else f"bank-{bank}" if bank else "engine")


def _places(told: CrossCheck) -> tuple[tuple[str, str], ...]:
    banks = [bank.name for bank in told.record.layout.banks]
    bores = [(f"bore-{bore}", say(on_paper.BORE, bore=bore)) for bore in sorted(told.bores)]
    sides = [(f"bank-{name}", say(on_paper.BANK, bank=name)) for name in banks] if len(banks) > 1 else []
    return (*bores, *sides, ("engine", say(on_paper.ENGINE)))


def _offered(told: CrossCheck, measure: FindingKind) -> bool:
    opened = CATALOGUE[measure].run.value == "opened" and told.record.visit.place == TELEPHONE
    return measure not in told.cannot and not opened


def _by_bore(measure: FindingKind) -> bool:
    return CATALOGUE[measure].scope in (Extent.ROUND, Extent.BORE)


def _entry(told: CrossCheck, measure: FindingKind | None, at: tuple[int, ...]) -> TestEntry | None:
    if measure is None or told.record.sign_off is not None:
        return None
    scope = CATALOGUE[measure].scope
    places: tuple[EntryField, ...]
    if scope is Extent.ENGINE:
        places = (EntryField("engine", None, ""),)
    elif scope is Extent.BANK:
        places = tuple(EntryField(f"bank-{bank.name}", None, bank.name) for bank in told.record.layout.banks)
    else:
        asked = [told.bores[number] for number in at] if scope is Extent.BORE and at else sorted(told.bores)
        places = tuple(EntryField(f"bore-{bore}", bore, "") for bore in asked)
    words = tuple((code, tests.word(code)) for code in CATALOGUE[measure].words)
    units = () if takes_words(measure) else tuple((unit, tests.unit(unit)) for unit in units_of(measure))
    return TestEntry(
        measure.value,
        tests.test_name(measure),
        tests.state_line(measure),
        tests.how(measure),
        tests.tells(measure),
        words,
        units,
        places,
    )


def _rows(told: CrossCheck, shown: list[FindingKind]) -> tuple[BoreFindings, ...]:
    off = seen(told.findings)
    newest = {(one.measure, one.bore): one for one in told.findings}
    rows = []
    for number, bore in sorted(enumerate(told.bores), key=lambda pair: pair[1]):
        cells = []
        for measure in shown:
            one = newest.get((measure, number))
            if one is None:
                cells.append(Cell(""))
            elif one.value is None:
                usual = CATALOGUE[measure].words[0] == one.word
                cells.append(Cell(tests.word(one.word), 0.0, not usual))
            else:
                cells.append(_cell(measure, one.value, off.get((measure, number))))
        rows.append(BoreFindings(bore, tuple(cells)))
    return tuple(rows)


def _cell(measure: FindingKind, value: float, one: Deviation | None) -> Cell:
    text = _figure(measure, value)
    if one is None or CATALOGUE[measure].use is Use.WORD:
        return Cell(text)
    spreads = one.off / CATALOGUE[measure].spread
    return Cell(text, max(-1.0, min(1.0, spreads / FULL)), abs(spreads) >= HEAVY)


def _figure(measure: FindingKind, value: float) -> str:
    """A figure with all its decimals, also where the last ones are 0."""
    return f"{value:.{PLACES[measure]}f}".replace("-", "\u2212")


def _whole(told: CrossCheck) -> list[str]:
    """What tests of the engine or of a bank showed, one line each."""
    names = [bank.name for bank in told.record.layout.banks]
    lines = []
    for one in told.findings:
        if one.bore is None and one.value is not None:
            bank = f" {names[one.bank]}" if one.bank is not None else ""
            code = CATALOGUE[one.measure].unit
            unit = "" if code[0].isdigit() else f"\u00a0{tests.unit(code)}"
            lines.append(f"{tests.test_name(one.measure)}{bank}: {_figure(one.measure, one.value)}{unit}")
    return lines
