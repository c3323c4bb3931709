"""The handover sheet: what the customer is told of a visit, gathered from its record."""

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Literal

import segno
from markupsafe import Markup

from app.shop.assessment.assessment import Assessment
from app.shop.commands.corrections import Corrected, corrected
from app.shop.procedure.held import seen_to_work
from app.shop.procedure.limits import Stop, ended_stops
from app.shop.procedure.parts import parts_of
from app.shop.procedure.phases import BANK_BALANCE
from app.shop.record.entries import CheckEntry, WaiverEntry
from app.shop.record.measures import Measure
from app.shop.record.rounds import Round
from app.shop.record.visit_record import VisitRecord
from app.sync.engine.units import REV_PER_MIN
from app.sync.estimation.evenness import RoundResult
from app.web.presenters.drawing import MARKS, blades_of, by_bore, drawn_stop, joint_kind, shape_of
from app.web.presenters.filters import moment
from app.web.presenters.paper.settings_left import SETTINGS, hardware, next_check, settings
from app.web.presenters.steps import cold_lines, made_words
from app.web.presenters.views import Shape
from app.wording.language import to_the_customer
from app.wording.message import Message, say
from app.wording.office import paper
from app.wording.quantities import feeler as feeler_words
from app.wording.quantities import percent, signed, unit_of
from app.wording.work.bank_balance import tenths
from app.wording.work.phases import item_figure, item_short, phase_title
from app.wording.work.requirements import cause_in_full
from app.wording.work.safety import SafetyWords
from app.wording.work.verdicts import verdict_sentence
from app.wording.work.visit import stop_figure


@dataclass(frozen=True, slots=True)
class SheetBore:
    """One bore of one round on paper; ``bypass`` where it has a bypass screw."""

    bore: int
    value: str
    word: str
    shape: Shape
    blades: int
    bypass: bool


@dataclass(frozen=True, slots=True)
class SheetRow:
    """One bank on paper, front first, its name empty where it is the only one; ``joints`` say how each bore is joined
    to the next one."""

    name: str
    bores: tuple[SheetBore, ...]
    stop_at: int
    joints: tuple[Literal["blade", "screw", "shaft", "motors"], ...]


@dataclass(frozen=True, slots=True)
class SheetRound:
    """A round on paper: drawn bank by bank, with its mean and its verdict in words."""

    title: str
    mean: str
    verdict: str
    rows: tuple[SheetRow, ...]


@dataclass(frozen=True, slots=True)
class SheetCheck:
    """One check on paper: what, with what figure (empty for a tick), by whom and when."""

    phase: str
    what: str
    result: str
    by: str
    at: str


@dataclass(frozen=True, slots=True)
class Sheet:
    """Everything on the handover sheet."""

    unit: str
    mark: str
    title: str
    sentence: str
    found: SheetRound | None
    left: SheetRound | None
    banks: tuple[str, ...]
    settings: tuple[tuple[str, str], ...]
    moves: tuple[str, ...]
    checks: tuple[SheetCheck, ...]
    put_back: str
    initials: str
    overrides: tuple[tuple[str, WaiverEntry], ...]
    stops: tuple[str, ...]
    hardware: str
    next_check: str
    warnings: tuple[SafetyWords, ...]
    issued: tuple[str, ...]
    qr: Markup


@to_the_customer()
def sheet_of(assessment: Assessment, address: str, people: Mapping[str, str]) -> Sheet:
    """The sheet of a visit. ``address`` is where its QR code leads; ``people`` are the names behind initials."""
    record, as_left = assessment.record, assessment.as_left
    unit = unit_of(record.meter)
    return Sheet(
        unit=unit.name,
        mark=_mark(record, as_left),
        title=_title(record, as_left),
        sentence=_sentence(record, as_left),
        found=_round(record, paper.AS_FOUND, record.as_found(), assessment.as_found),
        left=_round(record, paper.AS_LEFT, record.as_left(), as_left),
        banks=_banks(assessment),
        settings=settings(record),
        moves=_moves(record),
        checks=_checks(assessment),
        put_back=_put_back(record),
        initials=_initials(record, people),
        overrides=tuple((phase_title(o.phase), o) for o in record.overrides),
        stops=_ended_stops(record),
        hardware=hardware(record),
        next_check=next_check(record),
        warnings=paper.warnings(),
        issued=_issued(record),
        qr=qr_code(address),
    )


@dataclass(frozen=True, slots=True)
class Result:
    """The result of a visit as the sheet states it, and the round that it rests on; None where there is none."""

    mark: str
    title: str
    sentence: str
    left: SheetRound | None


def result_of(assessment: Assessment) -> Result:
    """What a person signs: the result in the words of the sheet, in the language of the shop."""
    record, as_left = assessment.record, assessment.as_left
    left = _round(record, paper.AS_LEFT, record.as_left(), as_left)
    return Result(_mark(record, as_left), _title(record, as_left), _sentence(record, as_left), left)


def _mark(record: VisitRecord, as_left: RoundResult | None) -> str:
    """The mark beside the result, never better than what was read after tightening."""
    if as_left is None:
        return "none"
    mark = MARKS.get(as_left.verdict, "none")
    return mark if record.read_after_tightening or mark == "not-even" else "close"


def _title(record: VisitRecord, as_left: RoundResult | None) -> str:
    if as_left is None:
        return say(paper.NO_RESULT)
    title = paper.RESULT if record.read_after_tightening else paper.RESULT_BEFORE_TIGHTENING
    return say(title, verdict=say(paper.VERDICTS[as_left.verdict]))


def _sentence(record: VisitRecord, as_left: RoundResult | None) -> str:
    """What the result says, the rule it is said by and the evidence it rests on."""
    if as_left is None:
        return say(paper.NO_ROUND)
    repeats = percent(record.meter_as_read().repeatability, 1)
    sure = percent(record.settings.pass_probability)
    basis = say(paper.BASIS, sure=sure, count=as_left.counted, repeats=repeats)
    said = [] if record.read_after_tightening else [say(paper.LEFT_BEFORE_TIGHTENING)]
    return " ".join([*said, verdict_sentence(as_left, unit_of(record.meter)), basis])


def qr_code(address: str) -> Markup:
    """A QR code as a drawing, with the quiet zone of four modules that ISO/IEC 18004 asks for."""
    return Markup(segno.make(address, error="m").svg_inline(scale=3, border=4, omitsize=True))


def _issued(record: VisitRecord) -> tuple[str, ...]:
    """What this issue replaces, and what was corrected in it and those before; empty for the first."""
    said = []
    for one in reversed(record.corrections):
        before = next((c.at for c in record.corrections if c.number == one.number - 1), None)
        before = before or (record.sign_off.at if record.sign_off else one.at)
        said.append(
            say(
                paper.ISSUED,
                number=one.number,
                at=moment(one.at),
                before=one.number - 1,
                since=moment(before),
                changes=", ".join(_corrected(c, record) for c in corrected(record, one)),
                why=one.why.rstrip("."),
                by=one.by,
            )
        )
    return tuple(said)


def _corrected(one: Corrected, record: VisitRecord) -> str:
    measure = record.units.of(one.quantity) if one.quantity else Measure(one.unit, places=4)
    now, was = (
        say(paper.NO_FIGURE) if value is None else say(paper.FIGURE, value=measure.shown(value), unit=measure.name)
        for value in (one.now, one.was)
    )
    return say(paper.CORRECTED, what=paper.what_was_corrected(one, parts_of(record.layout)), now=now, was=was)


def _round(record: VisitRecord, title: Message, one: Round | None, found: RoundResult | None) -> SheetRound | None:
    """A round as paper draws it; None where there is none. With one bank its name is left out."""
    if one is None or found is None:
        return None
    unit, standings = unit_of(record.meter), by_bore(found)
    rows = []
    for bank in record.layout.banks:
        bores = []
        for bore in bank.bores:
            reading, standing = one.latest.get(bore), standings.get(bore)
            read = reading.value if reading is not None else None
            apart = unit.apart(unit.size * (0.0 if read is None else read), found.mean)
            bores.append(
                SheetBore(
                    bore,
                    "–" if read is None else f"{read:.{unit.decimals}f}",
                    paper.bore_words(standing.verdict, apart) if standing else say(paper.SKIPPED),
                    shape_of(standing),
                    blades_of(standing, found.tolerance),
                    bore in record.layout.bypass,
                )
            )
        name = bank.name if len(record.layout.banks) > 1 else ""
        rows.append(SheetRow(name, tuple(bores), drawn_stop(record.layout, bank), tuple(map(joint_kind, bank.kinds))))
    mean = say(paper.FIGURE, value=unit.show(found.mean), unit=unit.name)
    return SheetRound(say(title), mean, say(paper.VERDICTS[found.verdict]), tuple(rows))


def _banks(assessment: Assessment) -> tuple[str, ...]:
    """How the banks differ at part throttle, a sentence an opening; nothing for one bank."""
    record = assessment.record
    if len(record.layout.banks) < 2:
        return ()
    found = assessment.of(BANK_BALANCE).banks
    if found is None:
        return (say(paper.NO_PART_THROTTLE),)
    unit, (first, second) = unit_of(record.meter), found.banks
    speeds = {one.lever: kept.speed for one in record.rounds if (kept := record.speed_in(one))}
    told = []
    for one in found.differences[1:]:
        sentence = say(
            paper.PART_THROTTLE_FROM_OPEN if one.from_above else paper.PART_THROTTLE,
            first=first,
            second=second,
            difference=unit.change(one.difference),
            unit=unit.name,
            percent=signed(one.percent, tenths(one)),
            feeler=feeler_words(one.lever_travel, record.units),
        )
        speed = speeds.get((one.lever_travel, one.from_above))
        if speed is not None:
            sentence += " " + say(paper.PART_THROTTLE_SPEED, speed=round(speed / REV_PER_MIN))
        told.append(sentence)
    return tuple(told)


MOST_MOVES = 7


OF_THE_WORK = frozenset(
    {"battery-off", "battery-back", "fire-ready", "not-alone", "guarded", "protected"}
    | {"oil-primed", "base-timing", "mixture-safe"}
)
"""Checks that make the work safe and say nothing of the engine as it is handed over: they stay in the records."""


def _put_back(record: VisitRecord) -> str:
    """What was held or removed for the work and is back, in a line; empty for nothing."""
    return ", ".join(item_short(item) for item in seen_to_work(record) if item.slug not in OF_THE_WORK)


def _checks(assessment: Assessment) -> tuple[SheetCheck, ...]:
    record, lines = assessment.record, []
    on_sheet = {(phase, item) for _, figures_of in SETTINGS for phase, item, _ in figures_of}
    left_out = OF_THE_WORK.union(*({item.slug, item.puts_back} for item in seen_to_work(record)))
    for status in assessment.statuses:
        phase = status.phase
        for item in status.items:
            check: CheckEntry | None = record.checks.get((phase.slug, item.slug))
            if check is not None and (phase.slug, item.slug) not in on_sheet and item.slug not in left_out:
                result = "" if check.number is None else item_figure(item, check.number, record.units)
                lines.append(SheetCheck(phase_title(phase), item_short(item), result, check.by, moment(check.at)))
    return tuple(lines)


def _initials(record: VisitRecord, people: Mapping[str, str]) -> str:
    """The names behind the initials on the sheet, as far as the shop's list has them."""
    made = (*record.cold_settings, *record.moves)
    used = [record.visit.by, *(c.by for c in record.checks.values()), *(m.by for m in made)]
    used += [*(o.by for o in record.overrides), *(e.by for e in record.stop_ends), *(c.by for c in record.corrections)]
    said = (say(paper.NAMED, initials=one, name=people[one]) for one in dict.fromkeys(used) if one in people)
    return ", ".join(said)


def _ended_stops(record: VisitRecord) -> tuple[str, ...]:
    """Every stop in full: the figures beyond a limit, what caused them, what was done, by whom."""
    return tuple(
        say(
            paper.STOPPED,
            figures=", ".join(_stop_figure(stop, record) for stop in stops),
            at=moment(stops[0].check.at if stops else end.at),
            cause=cause_in_full(end.cause, end.cause_text),
            remedy=end.remedy.rstrip("."),
            by=end.by,
            ended=moment(end.at),
        )
        for end, stops in ended_stops(record)
    )


def _stop_figure(stop: Stop, record: VisitRecord) -> str:
    what, figure = stop_figure(stop, record.units)
    return say(paper.STOP_FIGURE, what=what, figure=figure)


def _moves(record: VisitRecord) -> tuple[str, ...]:
    """The adjustments in their order; a long list is cut, so that the sheet stays one page."""
    lines = [*cold_lines(record), *(made_words(m, record) for m in record.moves)]
    if len(lines) <= MOST_MOVES:
        return tuple(lines)
    return (*lines[: MOST_MOVES - 1], say(paper.MORE_MOVES, count=len(lines) - MOST_MOVES + 1))
