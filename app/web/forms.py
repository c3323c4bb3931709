"""What a person typed, read into numbers: every problem is a reason beside its field, and nothing typed is lost."""

import math
import re
from collections.abc import Mapping
from dataclasses import dataclass, field, replace
from itertools import pairwise
from typing import TypeVar, get_args

from app.shop.commands.engines import EngineFacts
from app.shop.entries import LARGEST, hidden_sign
from app.shop.errors import Problems, RejectedError
from app.shop.reasons import Reason, because
from app.shop.record.fittings import HARDWARE_FIELDS, extra_by_kind, extra_of, hardware_known
from app.shop.record.measures import RECORDED, Units
from app.shop.rejections import Rejection
from app.sync.engine.adjusters.registry import kinds
from app.sync.engine.hardware import Figure, Hardware, likely_hardware
from app.sync.engine.layout import Actuation, Bank, Cooling, JointKind, Layout, LayoutError
from app.sync.engine.units import CUBIC_INCH, LITER, REV_PER_MIN

C = TypeVar("C", bound=str)

LONGEST_FIELD = 1000
DISPLACEMENT_UNITS = {"L": LITER, "cu in": CUBIC_INCH}

LONGEST_AGO = 720
"""Minutes between a figure being read and being entered, at most."""


@dataclass
class Typed:
    """One form as it came, with the problems found so far."""

    values: Mapping[str, str]
    problems: Problems = field(default_factory=dict)

    def text(self, name: str, *, lines: bool = False) -> str:
        """What stands in a field, without outer blanks; with ``lines`` it may have several.

        Raises RejectedError for a sign that shows nothing.
        """
        text = self.values.get(name, "").strip()
        plain = text.isascii() and text.isprintable()  # nearly always: no need to ask
        if not plain and (sign := hidden_sign(text, lines=lines)) is not None:
            raise RejectedError({name: because(Rejection.HIDDEN_SIGN, sign=sign)})
        if len(text) > LONGEST_FIELD:
            self.problems[name] = because(Rejection.TOO_LONG, most=LONGEST_FIELD)
        return text[:LONGEST_FIELD]

    def number(self, name: str, missing: Rejection = Rejection.NUMBER_MISSING) -> float:
        """A field as a number, also as a screw is turned, ``1 1/16``; a comma counts as a point. 0 with a problem noted
        when it is none."""
        text = self.text(name).replace(",", ".")
        if not text:
            self.problems[name] = because(missing)
            return 0.0
        value = _number(text)
        if not math.isfinite(value):
            self.problems[name] = because(Rejection.NOT_A_NUMBER, typed=_start(self.text(name)))
            return 0.0
        return value

    def whole(self, name: str) -> int:
        """A field as a whole number; 0 with a problem noted when it is none."""
        value = self.number(name)
        if value != int(value) or abs(value) > LARGEST:
            self.problems[name] = because(Rejection.NOT_A_WHOLE_NUMBER)
        return int(value)

    @property
    def units(self) -> Units:
        """The units that stood beside the boxes; those of the records where the form carries none."""
        try:
            return Units.coded(self.text("units")) if self.text("units") else RECORDED
        except ValueError:
            self.problems[""] = because(Rejection.STALE_FORM)
            return RECORDED

    def raise_problems(self, also: Mapping[str, Reason] | None = None) -> None:
        """Raises RejectedError when anything is wrong."""
        if problems := {**(also or {}), **self.problems}:
            raise RejectedError(problems)


def engine_facts(typed: Typed) -> EngineFacts:
    """The facts of the engine form. Raises RejectedError with every problem at once."""
    unit = typed.text("displacement_unit") or "L"
    if unit not in DISPLACEMENT_UNITS:
        typed.problems["displacement"] = because(Rejection.NOT_ONE_OF, choices=tuple(DISPLACEMENT_UNITS))
        unit = "L"
    facts = EngineFacts(
        serial=typed.text("serial"),
        description=typed.text("description"),
        displacement=typed.number("displacement", Rejection.DISPLACEMENT_MISSING) * DISPLACEMENT_UNITS[unit],
        displacement_unit=unit,
        customer=typed.text("customer"),
        vehicle=typed.text("vehicle"),
        idle_speed=typed.number("idle_speed", Rejection.IDLE_SPEED_MISSING) * REV_PER_MIN,
    )
    typed.problems = {**facts.problems(), **typed.problems}
    return facts


def layout(typed: Typed) -> Layout | None:
    """The layout of the engine form; None with the problems noted when it cannot be."""
    banks = [_bank(typed, name) for name in ("a", "b") if name == "a" or typed.text("b_bores")]
    sensor = _numbers(typed, "sensor")
    springless = _numbers(typed, "springless")
    bypass = _numbers(typed, "bypass")
    extra = {kind: _numbers(typed, field) for field, kind in further_fields().items()}
    joined = _joined(typed, banks)
    if len(sensor) > 1:
        typed.problems["sensor"] = because(Rejection.SENSOR_TWICE)
    if any(name in typed.problems for name in layout_names()):
        return None
    try:
        return Layout(
            tuple(joined),
            sensor[0] if sensor else None,
            frozenset(springless),
            frozenset(bypass),
            typed.text("plenum") == "yes",
            extra_of(extra),
            _choice(typed, "cooling", COOLINGS),
            _choice(typed, "actuation", ACTUATIONS),
        )
    except LayoutError as error:
        typed.problems[_field_at_fault(error, banks)] = because(error.code, **error.values)
        return None


COOLINGS: tuple[Cooling, ...] = get_args(Cooling)
ACTUATIONS: tuple[Actuation, ...] = get_args(Actuation)
JOINTS: dict[str, JointKind] = {
    "shafts": "shaft",
    "screws": "screw",
    "screws_in": "screw-in",
    "screws_out": "screw-out",
}
"""The fields that say how two neighbors are joined where that is not by a coupler on a feeler."""

LAYOUT_NAMES = (
    *("a_bores", "a_stop", "a_drive", "b_bores", "b_stop", "b_drive", "sensor", "springless"),
    *(*JOINTS, "bypass", "plenum", "cooling", "actuation"),
)
FURTHER = "extra_"
"""How the fields begin that say where screws of further kinds sit; the slug of the kind follows."""


def further_fields() -> dict[str, str]:
    """The fields for screws of further kinds, each with the slug of its kind."""
    return {f"{FURTHER}{kind.slug}": kind.slug for kind in kinds() if kind.further}


def layout_names() -> tuple[str, ...]:
    """Every field that says where the bores sit and what adjusts them."""
    return (*LAYOUT_NAMES, *further_fields())


def hardware(typed: Typed, displacement: float, bores: int) -> Hardware:
    """The hardware figures of the engine form: what was left empty is the estimate for an engine of that size."""
    filled = {name: typed.number(name) for name in HARDWARE_FIELDS if typed.text(name)}
    numbers = {name: value for name, value in filled.items() if name not in typed.problems}
    try:
        return hardware_known(numbers, displacement, bores)
    except RejectedError as refusal:
        typed.problems = {**refusal.problems, **typed.problems}
        return likely_hardware(displacement, bores)


def hardware_as_typed(known: Hardware) -> dict[str, str]:
    """The measured figures in the units of the form, to fill it with; estimates stay empty."""
    filled: dict[str, str] = {}
    for name, (_, size, _, _) in HARDWARE_FIELDS.items():
        figure: Figure = getattr(known, name)
        filled[name] = f"{figure.value / size:.4g}" if figure.measured else ""
    return filled


def estimates_as_typed(displacement: float, bores: int) -> dict[str, str]:
    """Our estimates for an engine of that size [m3], in the units of the form, to show beside empty fields."""
    likely = likely_hardware(displacement, bores)
    return {name: f"{getattr(likely, name).value / size:.3g}" for name, (_, size, _, _) in HARDWARE_FIELDS.items()}


def layout_as_typed(known: Layout) -> dict[str, str]:
    """A layout in the words of the form, to fill it with."""
    filled = {
        "sensor": str(known.sensor or ""),
        "springless": " ".join(map(str, sorted(known.springless))),
        "bypass": " ".join(map(str, sorted(known.bypass))),
        "plenum": "yes" if known.plenum else "no",
        "cooling": known.cooling,
        "actuation": known.actuation,
    }
    extra = extra_by_kind(known)
    filled |= {field: " ".join(map(str, extra.get(kind, ()))) for field, kind in further_fields().items()}
    for name, kind in JOINTS.items():
        pairs = (
            f"{one}-{other}"
            for bank in known.banks
            for one, other, joint in zip(bank.bores, bank.bores[1:], bank.kinds, strict=False)
            if joint == kind
        )
        filled[name] = " ".join(pairs)
    filled["shafts"] = " ".join("-".join(map(str, row)) for row in known.shared_shafts)
    for name, bank in zip(("a", "b"), known.banks, strict=False):
        filled[f"{name}_bores"] = " ".join(map(str, bank.bores))
        filled[f"{name}_stop"] = str(bank.stop)
        filled[f"{name}_drive"] = str(bank.drive)
    return filled


def _choice(typed: Typed, name: str, choices: tuple[C, ...]) -> C:
    """One of a few, the first where the form says nothing of it."""
    found = next((one for one in choices if one == typed.text(name)), choices[0])
    if typed.text(name) not in ("", *choices):
        typed.problems[name] = because(Rejection.NOT_ONE_OF, choices=choices)
    return found


def _bank(typed: Typed, name: str) -> Bank:
    bores = _numbers(typed, f"{name}_bores")
    if not bores and f"{name}_bores" not in typed.problems:
        typed.problems[f"{name}_bores"] = because(Rejection.BORES_MISSING)
    first = bores[0] if bores else 0
    stop = typed.whole(f"{name}_stop") if typed.text(f"{name}_stop") else first
    drive = typed.whole(f"{name}_drive") if typed.text(f"{name}_drive") else stop
    return Bank(name.upper(), tuple(bores), stop, drive)


def _joined(typed: Typed, banks: list[Bank]) -> list[Bank]:
    """The banks with how their neighbors are joined; problems noted where a typed pair is none."""
    kinds = {bank.name: list(bank.kinds) for bank in banks}
    seen: set[tuple[int, int]] = set()
    for name, kind in JOINTS.items():
        for pair in _pairs(typed, name):
            bank = next((b for b in banks if pair in zip(b.bores, b.bores[1:], strict=False)), None)
            if bank is None:
                typed.problems[name] = because(Rejection.NOT_NEIGHBORS, first=pair[0], second=pair[1])
            elif pair in seen:
                typed.problems[name] = because(Rejection.PAIR_TWICE, first=pair[0], second=pair[1])
            else:
                kinds[bank.name][bank.bores.index(pair[0])] = kind
            seen.add(pair)
    return [replace(bank, joints=tuple(kinds[bank.name])) for bank in banks]


def _pairs(typed: Typed, name: str) -> list[tuple[int, int]]:
    """Pairs of neighbors, front one first as in the bank however typed; the plates of one shaft may be typed in a row,
    `1-2-3`."""
    order = [bore for bank in ("a", "b") for bore in typed.text(f"{bank}_bores").replace(",", " ").split()]
    most = len(order) if name == "shafts" else 2
    found: list[tuple[int, int]] = []
    for word in typed.text(name).replace(",", " ").replace("–", "-").split():
        row = word.split("-")
        if not 2 <= len(row) <= max(most, 2) or not all(bore.isdecimal() and len(bore) <= 3 for bore in row):
            typed.problems[name] = because(Rejection.NOT_A_PAIR, typed=_start(word))
            return []
        if all(bore in order for bore in row):
            row.sort(key=order.index)
        found += [(int(one), int(other)) for one, other in pairwise(row)]
    return found


def _numbers(typed: Typed, name: str) -> list[int]:
    found: list[int] = []
    for word in typed.text(name).replace(",", " ").split():
        if not word.isdecimal() or len(word) > 3:
            typed.problems[name] = because(Rejection.NOT_A_BORE, typed=_start(word))
            return []
        found.append(int(word))
    return found


MIXED_FRACTION = re.compile(r"(?:(\d{1,3})\s+)?(\d{1,3})\s*/\s*(\d{1,3})")


def _number(text: str) -> float:
    """The number that a text is, with a fraction such as ``1 1/16`` too; NaN when it is none."""
    if mixed := MIXED_FRACTION.fullmatch(text):
        whole, part, of = (int(digits or 0) for digits in mixed.groups())
        return whole + part / of if of else math.nan
    try:
        return float(text)
    except ValueError:
        return math.nan


def _start(typed: str) -> str:
    """The beginning of what was typed, enough to find it by."""
    return typed[:20]


def _field_at_fault(error: LayoutError, banks: list[Bank]) -> str:
    """The field that a layout's fault stands beside: of the second bank when the first one alone would do."""
    if error.field in ("sensor", "springless", "bypass", "actuation"):
        return error.field
    if error.field == "extra":
        return f"{FURTHER}{error.values['kind']}"
    part = error.field if error.field in ("stop", "drive") else "bores"
    try:
        Layout((banks[0],))
    except LayoutError:
        return f"a_{part}"
    return f"{'b' if len(banks) > 1 else 'a'}_{part}"
