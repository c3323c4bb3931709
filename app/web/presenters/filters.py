"""The template filters: stored figures and codes as a person reads them, in the words of ``app.wording.names``."""

from app.shop.at_site import customer
from app.shop.record.entries import EngineEntry
from app.shop.record.fittings import HARDWARE_FIELDS
from app.shop.store.tables import Engine
from app.sync.engine.hardware import Figure, Hardware
from app.sync.engine.layout import Layout
from app.web.presenters.adjusters import drawn
from app.wording import names
from app.wording.message import say
from app.wording.names import clock as clock
from app.wording.names import day as day
from app.wording.names import moment as moment
from app.wording.office import engines
from app.wording.quantities import feeler, fraction, turns
from app.wording.stored import as_stored

layout_in_words = names.layout
bank_in_words = names.bank


def displacement(engine: Engine | EngineEntry) -> str:
    """An engine's displacement in both units, as typed first."""
    small, large = names.liters(engine.displacement), names.cubic_inches(engine.displacement)
    return f"{small} ({large})" if engine.displacement_unit == "L" else f"{large} ({small})"


def liters(engine: Engine | EngineEntry) -> str:
    """An engine's displacement in the unit it was typed in."""
    in_liters = engine.displacement_unit == "L"
    return names.liters(engine.displacement) if in_liters else names.cubic_inches(engine.displacement)


def idle(engine: Engine | EngineEntry) -> str:
    """The idle speed wanted."""
    return names.idle_speed(engine.idle_speed)


def other_hardware(layout: Layout) -> str:
    """What an engine has besides couplers reset on a feeler, as a list; empty for nothing."""
    return ", ".join(names.other_adjusters(layout))


LINK_FIGURES, STOP_FIGURES = ("link_pitch", "link_lever"), ("stop_pitch", "stop_lever")
"""The figures of link rods, and of stop screws."""


def figures(hardware: Hardware, layout: Layout) -> list[tuple[str, str, bool]]:
    """Each hardware figure of what an engine has: its name, its value with the unit, whether it was measured."""
    rows: list[tuple[str, str, bool]] = []
    without = {*(() if layout.linked else LINK_FIGURES), *(STOP_FIGURES if layout.electronic else ())}
    for name, (unit, size, _, _) in HARDWARE_FIELDS.items():
        if name in without:
            continue
        figure: Figure = getattr(hardware, name)
        shown = engines.hardware_figure(f"{figure.value / size:.3g}", unit)
        rows.append((say(engines.HARDWARE[name]), shown, figure.measured))
    return rows


def pair(value: str) -> tuple[str, str]:
    """A choice with its label."""
    return value, names.choice(value)


def twice(value: str) -> tuple[str, str]:
    """A choice that is its own label as it is."""
    return value, value


def move_pair(kind: str) -> tuple[str, str]:
    """A kind of move as a choice."""
    return kind, names.move_kind(kind)


def place_pair(place: str) -> tuple[str, str]:
    """Where a visit takes place as a choice."""
    name = names.place(place)
    return place, name[:1].upper() + name[1:]


FILTERS = {
    "customer": customer,
    "place": names.place,
    "place_pair": place_pair,
    "pair": pair,
    "twice": twice,
    "move_pair": move_pair,
    "adjuster_drawn": drawn,
    "turns": turns,
    "turns_in_figures": fraction,
    "day": day,
    "moment": moment,
    "clock": clock,
    "displacement": displacement,
    "liters": liters,
    "idle": idle,
    "layout_in_words": layout_in_words,
    "bank_in_words": bank_in_words,
    "other_hardware": other_hardware,
    "hardware_reason": engines.hardware_reason,
    "as_stored": as_stored,
    "figures": figures,
    "feeler": feeler,
}
