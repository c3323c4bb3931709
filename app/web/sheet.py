"""What the handover sheet says, gathered from a story."""

from dataclasses import dataclass

import segno
from markupsafe import Markup

from app.shop.judgement import balance_of
from app.shop.phases import PHASES
from app.shop.progress import items_of
from app.shop.story import Round, Story
from app.shop.tables import CheckRow, Override
from app.sync import words
from app.sync.rounds import Evenness
from app.sync.units import INCH
from app.web.drawing import blades_of, by_bore, in_unit, shape_of, unit_of, word_of
from app.web.history import judged
from app.web.steps import move_words
from app.web.views import Shape


@dataclass(frozen=True, slots=True)
class SheetBore:
    """One bore of one round on paper."""

    bore: int
    value: str
    word: str
    shape: Shape
    blades: int


@dataclass(frozen=True, slots=True)
class SheetRow:
    """One bank on paper, front first."""

    name: str
    bores: tuple[SheetBore, ...]
    stop_at: int


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
    overrides: tuple[tuple[str, Override], ...]
    moved_most: str
    qr: Markup


def sheet_of(story: Story, address: str) -> Sheet:
    """The sheet of a visit. ``address`` is where its QR code leads."""
    unit = unit_of(story.meter)
    found, left = story.as_found(), story.as_left()
    as_left = judged(story, left)
    return Sheet(
        unit=unit.name,
        mark={"even": "even", "not even": "not-even", "too close to call": "close"}.get(
            as_left.verdict if as_left else "", "none"
        ),
        title=f"{words.verdict_title(as_left)} as left" if as_left else "Not read as left",
        sentence=words.verdict_sentence(as_left, unit) if as_left else "No closed round stands after the last move.",
        found=_round(story, "As found", found, judged(story, found)),
        left=_round(story, "As left", left, as_left),
        banks=_banks(story),
        settings=_settings(story),
        moves=tuple(move_words(m) for m in story.moves),
        checks=_checks(story),
        overrides=tuple((_title(o.phase), o) for o in story.overrides),
        moved_most=_moved_most(story),
        qr=Markup(segno.make(address, error="m").svg_inline(scale=3, border=4, omitsize=True)),
    )


def _round(story: Story, title: str, one: Round | None, found: Evenness | None) -> SheetRound | None:
    if one is None or found is None:
        return None
    unit, standings = unit_of(story.meter), by_bore(found)
    rows = []
    for bank in story.layout.banks:
        bores = []
        for bore in bank.bores:
            reading, standing = one.latest.get(bore), standings.get(bore)
            value = f"{reading.value:.{unit.decimals}f}" if reading and reading.value is not None else "–"
            word = word_of(standing, unit) or "skipped"
            bores.append(SheetBore(bore, value, word, shape_of(standing), blades_of(standing, found.half_width)))
        rows.append(SheetRow(bank.name, tuple(bores), bank.stop))
    mean = f"{in_unit(found.mean, unit)} {unit.name}"
    return SheetRound(title, mean, words.verdict_title(found), tuple(rows))


def _banks(story: Story) -> tuple[str, ...]:
    found = balance_of(story)
    if len(story.layout.banks) < 2:
        return ("One bank: nothing to balance.",)
    if found is None:
        return ("Not read off idle on this visit.",)
    unit, (first, second) = unit_of(story.meter), found.banks
    lines = []
    for one in found.differences:
        at = f"lever on {one.lever_travel / INCH:.3f} in" if one.lever_travel else "at idle"
        lines.append(
            f"Bank {second} less {first}, {at}: {in_unit(one.difference, unit)} {unit.name} ({one.percent:+.1f} %)"
        )
    return tuple(lines)


SETTINGS = (
    ("lock-down", "idle-left", "Idle as left"),
    ("cold-preset", "base-blade", "Base blade"),
    ("cold-preset", "preset-turns", "Turns from it"),
    ("heat-soaked-recheck", "coolant", "Coolant"),
    ("heat-soaked-recheck", "oil", "Oil"),
    ("lock-down", "sensor-closed-left", "Sensor, closed"),
    ("lock-down", "sensor-open-left", "Sensor, open"),
)


def _settings(story: Story) -> tuple[tuple[str, str], ...]:
    units = {(p.slug, i.slug): i.unit for p in PHASES for i in p.items}
    lines = [("Meter", f"{story.meter.name}, steps of {story.meter.step:g} {story.meter.unit}")]
    for phase, item, label in SETTINGS:
        check = story.checks.get((phase, item))
        if check is not None and check.number is not None:
            lines.append((label, f"{check.number:g} {units[phase, item]}"))
    return tuple(lines)


def _checks(story: Story) -> tuple[SheetCheck, ...]:
    lines = []
    for phase in PHASES:
        for item in items_of(story, phase):
            check: CheckRow | None = story.checks.get((phase.slug, item.slug))
            if check is not None:
                result = "done" if check.number is None else f"{check.number:g} {item.unit}"
                lines.append(SheetCheck(phase.title, item.ask, result, check.by, check.at))
    return tuple(lines)


def _title(slug: str) -> str:
    return next(p.title for p in PHASES if p.slug == slug)


def _moved_most(story: Story) -> str:
    blades = [m for m in story.moves if m.kind == "blade"]
    if not blades:
        return ""
    last = blades[-1]
    return f"Coupler {last.near}–{last.far} was reset on this visit: have it looked at first."
