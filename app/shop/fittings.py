"""What is fitted to an engine, as one versioned record: the layout and the hardware figures, kept as JSON text."""

import json
from dataclasses import fields

from app.sync.hardware import Figure, Hardware
from app.sync.layout import Bank, Layout


def layout_to_json(layout: Layout) -> str:
    """Text of a layout, stable under sorting of keys."""
    return json.dumps(
        {
            "banks": [
                {"name": bank.name, "bores": bank.bores, "stop": bank.stop, "drive": bank.drive}
                for bank in layout.banks
            ],
            "sensor": layout.sensor,
            "springless": sorted(layout.springless),
        },
        sort_keys=True,
    )


def layout_from_json(text: str) -> Layout:
    """The layout that ``layout_to_json`` wrote. Raises LayoutError when it is none."""
    read = json.loads(text)
    banks = tuple(Bank(b["name"], tuple(b["bores"]), b["stop"], b["drive"]) for b in read["banks"])
    return Layout(banks, read["sensor"], frozenset(read["springless"]))


def hardware_to_json(hardware: Hardware) -> str:
    """Text of the hardware figures in base units, each with whether it was measured."""
    figures = {f.name: getattr(hardware, f.name) for f in fields(hardware)}
    return json.dumps({n: {"value": g.value, "measured": g.measured} for n, g in figures.items()}, sort_keys=True)


def hardware_from_json(text: str) -> Hardware:
    """The hardware that ``hardware_to_json`` wrote."""
    return Hardware(**{name: Figure(g["value"], g["measured"]) for name, g in json.loads(text).items()})
