"""The instrument of the demonstration: what a bench with a sensor at every bore would send of an engine as it came."""

import random

from app.shop.demo.demo_engines import PIECES
from app.shop.demo.engine_model import IDLE, DemoEngineModel
from app.sync.engine.layout import Bank, Layout

SEED = 19
"""Of the engine's plates."""


def channel_file() -> str:
    """A channel file with the flow at every bore of the first engine, one probe that is carried, and the speed.

    >>> channel_file().count("[channel.")
    10
    """
    banks = PIECES[0].banks
    layout = Layout(tuple(Bank(name, bores, bores[0], bores[0]) for name, bores in zip("AB", banks, strict=True)))
    stand = DemoEngineModel(layout, random.Random(SEED))
    flows = {f"b{bore}": stand.read(bore, 0.0) for bore in layout.bores}
    channels = [_flow(f"b{bore}", f"bore = {bore}\n") for bore in layout.bores]
    speed = '[channel.speed]\nquantity = "speed"\nunit = "rpm"\nhigh = 9000\nrate = 100\n'
    told = "\n".join(f"{name} = {flow:g}" for name, flow in {**flows, "probe": flows["b1"]}.items())
    source = f'[source.bench]\nkind = "simulated"\nspeed = {IDLE}\n[source.bench.flows]\n{told}\n'
    return "\n".join([*channels, _flow("probe", ""), speed, source])


def _flow(name: str, bore: str) -> str:
    return f'[channel.{name}]\nquantity = "flow"\nunit = "kg/h"\nhigh = 60\nrate = 100\n{bore}'
