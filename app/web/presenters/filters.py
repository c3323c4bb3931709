"""Stored figures as a person reads them: the template filters, and nothing that decides anything."""

from datetime import datetime

from app.shop.record.entries import EngineEntry
from app.shop.record.fittings import HARDWARE_FIELDS
from app.shop.store.tables import Engine
from app.sync.engine.hardware import Figure, Hardware
from app.sync.engine.layout import Bank, Layout
from app.sync.engine.units import CUBIC_INCH, LITRE, REV_PER_MIN
from app.wording.words import COUNTS, blade, bores_in_words, fraction

ORDINALS = ("", "first", "second", "third", "fourth", "fifth", "sixth", "seventh", "eighth", "ninth", "tenth")


def day(at: str) -> str:
    """A stored time as a day: 3 Sep 2026."""
    local = datetime.fromisoformat(at).astimezone()
    return f"{local.day} {local:%b %Y}"


def moment(at: str) -> str:
    """A stored time as day and hour: 3 Sep 2026, 14:05."""
    return f"{day(at)}, {clock(at)}"


def clock(at: str) -> str:
    """A stored time as the hour: 14:05."""
    return f"{datetime.fromisoformat(at).astimezone():%H:%M}"


def ordinal(number: int) -> str:
    """first, second, ... and 11th from there."""
    return ORDINALS[number] if 0 < number < len(ORDINALS) else f"{number}th"


def displacement(engine: Engine | EngineEntry) -> str:
    """An engine's displacement in both units, as typed first."""
    litres = f"{engine.displacement / LITRE:.2f}".rstrip("0").rstrip(".")
    litres = litres if "." in litres else f"{litres}.0"
    inches = f"{engine.displacement / CUBIC_INCH:.0f}"
    small, large = f"{litres}\u00a0L", f"{inches}\u00a0cu\u00a0in"
    return f"{large} ({small})" if engine.displacement_unit == "cu in" else f"{small} ({large})"


def litres(engine: Engine | EngineEntry) -> str:
    """An engine's displacement in the unit it was typed in."""
    return displacement(engine).split(" (")[0]


def idle(engine: Engine | EngineEntry) -> str:
    """The idle speed wanted."""
    return f"{engine.idle_speed / REV_PER_MIN:.0f} rev/min"


def layout_in_words(layout: Layout) -> str:
    """Two banks of four; six in line."""
    sizes = [len(bank.bores) for bank in layout.banks]
    if len(sizes) == 1:
        return f"{COUNTS[sizes[0]].capitalize()} in line"
    if sizes[0] == sizes[1]:
        return f"Two banks of {COUNTS[sizes[0]]}"
    return f"Banks of {COUNTS[sizes[0]]} and {COUNTS[sizes[1]]}"


def bank_in_words(bank: Bank) -> str:
    """The bores of a bank, front first, with where its screw and link act."""
    return f"{' '.join(map(str, bank.bores))}, stop screw at {bank.stop}, link at {bank.drive}"


def joints_in_words(bank: Bank) -> list[str]:
    """How plates are joined where no blade sets the coupler: 1 and 2 on one shaft; coupler 2–3 set by its screw."""
    said = []
    for bore in bank.bores:
        shaft = bank.shaft(bore)
        if len(shaft) > 1 and bore == shaft[0]:
            said.append(f"{bores_in_words(shaft)} on one shaft")
    ways = {"screw": "", "screw-in": ", which opens turned in", "screw-out": ", which opens turned out"}
    for joint in bank.outward:
        if joint.kind in ways:
            said.append(f"coupler {joint.near}–{joint.far} set by its screw{ways[joint.kind]}")
    return said


def other_hardware(layout: Layout) -> str:
    """What is other than couplers on blades, in a sentence without its stop; empty for nothing."""
    said = [words for bank in layout.banks for words in joints_in_words(bank)]
    if layout.bypass:
        said.append(f"bypass screws at {' '.join(map(str, sorted(layout.bypass)))}")
    if layout.plenum:
        said.append("a common balance plenum")
    return "; ".join(said)


def figures(hardware: Hardware) -> list[tuple[str, str, bool]]:
    """Each hardware figure: its name, its value with the unit, whether it was measured."""
    rows: list[tuple[str, str, bool]] = []
    for name, (label, unit, size, _, _) in HARDWARE_FIELDS.items():
        figure: Figure = getattr(hardware, name)
        rows.append((label, f"{figure.value / size:.3g} {unit}", figure.measured))
    return rows


def pair(value: object) -> tuple[object, object]:
    """A choice that is its own label, with a capital."""
    text = str(value)
    return value, text[:1].upper() + text[1:]


def twice(value: str) -> tuple[str, str]:
    """A choice that is its own label as it is."""
    return value, value


MOVE_NAMES = {
    "stop": "Stop screw",
    "blade": "Coupler on a blade",
    "screw": "Screw of a coupler",
    "link": "Link",
    "bypass": "Bypass screw",
}


def move_pair(kind: str) -> tuple[str, str]:
    """A kind of move as a choice."""
    return kind, MOVE_NAMES[kind]


FILTERS = {
    "pair": pair,
    "twice": twice,
    "move_pair": move_pair,
    "turns_in_figures": fraction,
    "day": day,
    "moment": moment,
    "clock": clock,
    "ordinal": ordinal,
    "displacement": displacement,
    "litres": litres,
    "idle": idle,
    "layout_in_words": layout_in_words,
    "bank_in_words": bank_in_words,
    "other_hardware": other_hardware,
    "figures": figures,
    "blade": blade,
}
