"""What the handover sheet says, gathered from a story."""

from calendar import monthrange
from collections.abc import Mapping
from dataclasses import dataclass
from datetime import datetime
from typing import Literal

import segno
from markupsafe import Markup

from app.shop.assessment.progress import items_of
from app.shop.assessment.verdicts import balance_of
from app.shop.commands.corrections import Corrected, corrected
from app.shop.procedure.phases import PHASES, phase_named
from app.shop.record.entries import CheckEntry, WaiverEntry
from app.shop.record.measures import Measure, Units
from app.shop.record.visit_record import Round, VisitRecord
from app.sync.readings.rounds import RoundResult
from app.web.presenters.drawing import blades_of, by_bore, joint_kind, shape_of, unit_of, word_of
from app.web.presenters.filters import bank_in_words, day, figures, moment, other_hardware
from app.web.presenters.history.history import judged
from app.web.presenters.steps import move_words
from app.web.presenters.views import Shape
from app.wording import words


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
    """One bank on paper, front first; ``joints`` say how each bore is joined to the next one."""

    name: str
    bores: tuple[SheetBore, ...]
    stop_at: int
    joints: tuple[Literal["blade", "screw", "shaft"], ...]


@dataclass(frozen=True, slots=True)
class SheetRound:
    """A round on paper: drawn bank by bank, with its mean and its verdict in words."""

    title: str
    mean: str
    verdict: str
    rows: tuple[SheetRow, ...]

    @property
    def bores(self) -> tuple[SheetBore, ...]:
        """All bores in walking order."""
        return tuple(bore for row in self.rows for bore in row.bores)


@dataclass(frozen=True, slots=True)
class SheetCheck:
    """One check on paper: what, with what result, by whom and when."""

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
    initials: str
    overrides: tuple[tuple[str, WaiverEntry], ...]
    fitted: str
    recheck: str
    caution: str
    issued: tuple[str, ...]
    qr: Markup


def sheet_of(record: VisitRecord, address: str, people: Mapping[str, str]) -> Sheet:
    """The sheet of a visit. ``address`` is where its QR code leads; ``people`` are the names behind initials."""
    unit = unit_of(record.meter)
    found, left = record.as_found(), record.as_left()
    as_left = judged(record, left)
    return Sheet(
        unit=unit.name,
        mark={"even": "even", "not even": "not-even", "too close to call": "close"}.get(
            as_left.verdict if as_left else "", "none"
        ),
        title=f"{words.verdict_title(as_left)} as left" if as_left else "Not read as left",
        sentence=words.verdict_sentence(as_left, unit) if as_left else "No closed round stands after the last move.",
        found=_round(record, "As found", found, judged(record, found)),
        left=_round(record, "As left", left, as_left),
        banks=_banks(record),
        settings=_settings(record),
        moves=_moves(record),
        checks=_checks(record),
        initials=_initials(record, people),
        overrides=tuple((phase_named(o.phase).title, o) for o in record.overrides),
        fitted=_fitted(record),
        recheck=_recheck(record),
        caution=CAUTION,
        issued=_issued(record),
        qr=qr_code(address),
    )


def qr_code(address: str) -> Markup:
    """A QR code as a drawing, with the quiet zone of four modules that ISO/IEC 18004 asks for."""
    return Markup(segno.make(address, error="m").svg_inline(scale=3, border=4, omitsize=True))


def sheet_round(record: VisitRecord, title: str, one: Round | None) -> SheetRound | None:
    """A round as paper draws it, judged by the fine window; None without a round."""
    return _round(record, title, one, judged(record, one))


def _issued(record: VisitRecord) -> tuple[str, ...]:
    """What this issue replaces, and what was put right in it and those before; empty for the first."""
    said = []
    for one in reversed(record.corrections):
        before = next((c.at for c in record.corrections if c.number == one.number - 1), None)
        before = before or (record.sign_off.at if record.sign_off else one.at)
        put_right = "; ".join(f"{c.what}: {_put_right(c, record.units)}" for c in corrected(record, one))
        said.append(
            f"Issue {one.number} of {moment(one.at)} replaces issue {one.number - 1} of {moment(before)}. "
            f"Put right: {put_right}. {one.why.rstrip('.')}. {one.by}."
        )
    return tuple(said)


def _put_right(one: Corrected, units: Units) -> str:
    measure = units.of(one.quantity) if one.quantity else Measure(one.unit, places=4)
    now, was = ("none" if value is None else measure.shown(value) for value in (one.now, one.was))
    return f"{now} instead of {was} {measure.name}"


def _round(record: VisitRecord, title: str, one: Round | None, found: RoundResult | None) -> SheetRound | None:
    if one is None or found is None:
        return None
    unit, standings = unit_of(record.meter), by_bore(found)
    rows = []
    for bank in record.layout.banks:
        bores = []
        for bore in bank.bores:
            reading, standing = one.latest.get(bore), standings.get(bore)
            value = f"{reading.value:.{unit.decimals}f}" if reading and reading.value is not None else "–"
            word = word_of(standing, unit) or "skipped"
            bores.append(
                SheetBore(
                    bore,
                    value,
                    word,
                    shape_of(standing),
                    blades_of(standing, found.tolerance),
                    bore in record.layout.bypass,
                )
            )
        rows.append(SheetRow(bank.name, tuple(bores), bank.stop, tuple(map(joint_kind, bank.kinds))))
    mean = f"{unit.show(found.mean)} {unit.name}"
    return SheetRound(title, mean, words.verdict_title(found), tuple(rows))


def _banks(record: VisitRecord) -> tuple[str, ...]:
    found = balance_of(record)
    if len(record.layout.banks) < 2:
        return ("One bank: nothing to balance.",)
    if found is None:
        return ("Not read off idle on this visit.",)
    unit, (first, second) = unit_of(record.meter), found.banks
    off_idle = [d for d in found.differences if d.lever_travel > 0]
    said = (
        f"{unit.change(d.difference)} ({words.signed(d.percent, 1)} %) on "
        f"{words.opening(d.lever_travel, d.from_above, record.units.metric)}"
        for d in off_idle
    )
    return (f"Off idle, bank {second} less {first}, {unit.name} a bore: {'; '.join(said)} under the lever.",)


MOST_MOVES = 7

CAUTION = (
    "A throttle that does not come back by itself: stop the engine, do not drive. A running engine burns, catches and "
    "back-fires: keep clear of open bores, belts and fan."
)

SETTINGS: tuple[tuple[str, tuple[tuple[str, str, str], ...]], ...] = (
    ("Idle", (("lock-down", "idle", "{}"),)),
    ("Preset", (("cold-preset", "base-blade", "{} blade"), ("cold-preset", "preset-turns", "{} in"))),
    ("Heat", (("heat-soaked-recheck", "coolant", "coolant {}"), ("heat-soaked-recheck", "oil", "oil {}"))),
    ("Sensor", (("lock-down", "sensor-closed", "{} closed"), ("lock-down", "sensor-open", "{} open"))),
)
"""The settings line by line: a label, and which figures of which phase stand behind it."""


def _settings(record: VisitRecord) -> tuple[tuple[str, str], ...]:
    items = {(p.slug, i.slug): i for p in PHASES for i in p.items}
    lines = [("Meter", f"{record.meter.name}, steps of {record.meter.step:g} {record.meter.unit}")]
    for label, figures_of in SETTINGS:
        said = []
        for phase, item, words_for in figures_of:
            check = record.checks.get((phase, item))
            if check is not None and check.number is not None:
                figure = items[phase, item].says(check.number, record.units)
                said.append(words_for.format("1 turn" if figure == "1 turns" else figure))
        if said:
            lines.append((label, ", ".join(said)))
    return tuple(lines)


def _checks(record: VisitRecord) -> tuple[SheetCheck, ...]:
    lines = []
    on_sheet = {(phase, item) for _, figures_of in SETTINGS for phase, item, _ in figures_of}
    for phase in PHASES:
        for item in items_of(record, phase):
            check: CheckEntry | None = record.checks.get((phase.slug, item.slug))
            if check is not None and (phase.slug, item.slug) not in on_sheet:
                result = "done" if check.number is None else item.says(check.number, record.units)
                lines.append(SheetCheck(phase.title, item.short, result, check.by, moment(check.at)))
    return tuple(lines)


def _initials(record: VisitRecord, people: Mapping[str, str]) -> str:
    """Whose initials stand on the sheet, as far as the shop's list says."""
    used = [record.visit.by, *(c.by for c in record.checks.values()), *(m.by for m in record.moves)]
    used += [*(o.by for o in record.overrides), *(c.by for c in record.corrections)]
    said = (f"{one}: {people[one]}" for one in dict.fromkeys(used) if one in people)
    return ", ".join(said)


def _moves(record: VisitRecord) -> tuple[str, ...]:
    """The moves in their order; a long list is cut, so that the sheet stays one page."""
    lines = [move_words(m, record.units.metric) for m in record.moves]
    if len(lines) <= MOST_MOVES:
        return tuple(lines)
    return (*lines[: MOST_MOVES - 1], f"And {len(lines) - MOST_MOVES + 1} more, kept with the engine.")


def _fitted(record: VisitRecord) -> str:
    """What is fitted, in a line: the banks, then the figures that were measured."""
    banks = "; ".join(f"bank {bank.name}: {bank_in_words(bank)}" for bank in record.layout.banks)
    measured = ", ".join(f"{label.lower()} {value}" for label, value, known in figures(record.hardware) if known)
    springless = " ".join(map(str, sorted(record.layout.springless)))
    parts = [f"Fitted: {banks}"]
    if record.layout.sensor is not None:
        parts.append(f"throttle sensor at {record.layout.sensor}")
    if springless:
        parts.append(f"no return spring of their own: {springless}")
    if joined := other_hardware(record.layout):
        parts.append(joined)
    parts.append(f"measured: {measured}" if measured else "hardware figures estimated, none measured")
    return "; ".join(parts) + "."


def _recheck(record: VisitRecord) -> str:
    """When to look again, and what would bring it back sooner."""
    reset = [m for m in record.moves if m.kind in ("blade", "screw")]
    first = f" Coupler {reset[-1].near}–{reset[-1].far} was reset on this visit: look at it first." if reset else ""
    held, far = record.settings, record.units.of("distance")
    months = round(held.recheck_months)
    by = f"by {day(_later(record.sign_off.at, months))}" if record.sign_off else f"after {months} months"
    return (
        f"Hot, at {float(far.shown(held.recheck_km)):,.0f} {far.name} or {by}. Sooner if idle hunts when hot, one "
        "cylinder goes quiet, it pops at light throttle, or a coupler, stop screw, link, sensor or the exhaust was "
        f"touched.{first}"
    )


def _later(at: str, months: int) -> str:
    """A stored time so many months on; a day that month does not have becomes its last."""
    then = datetime.fromisoformat(at)
    year, month = divmod(then.year * 12 + then.month - 1 + months, 12)
    last = monthrange(year, month + 1)[1]
    return then.replace(year=year, month=month + 1, day=min(then.day, last)).isoformat()
