"""The instrument of the demonstration: what a bench with a sensor at every bore would send of the engine that is being
read."""

from statistics import fmean

from sqlmodel import Session

from app.shop.commands import engines
from app.shop.demo.demo_engines import PIECES
from app.shop.demo.engine_model import IDLE
from app.shop.record import loader

USUAL = 6.25
"""Flow of a bore of which nothing was read [kg/h]."""


def channel_file(session: Session) -> str:
    """A channel file with the flow at every bore of the first engine, one probe that is carried, and the speed.

    Its bores show what was read of them last, and those that were not read yet the mean of the others.
    """
    bores = [bore for bank in PIECES[0].banks for bore in bank]
    read = _read_last(session)
    usual = fmean(read.values()) if read else USUAL
    flows = {f"b{bore}": read.get(bore, usual) for bore in bores}
    channels = [_flow(f"b{bore}", f"bore = {bore}\n") for bore in bores]
    speed = '[channel.speed]\nquantity = "speed"\nunit = "rpm"\nhigh = 9000\nrate = 100\n'
    told = "\n".join(f"{name} = {flow:g}" for name, flow in {**flows, "probe": flows["b1"]}.items())
    source = f'[source.bench]\nkind = "simulated"\nspeed = {IDLE}\n[source.bench.flows]\n{told}\n'
    return "\n".join([*channels, _flow("probe", ""), speed, source])


def _read_last(session: Session) -> dict[int, float]:
    """What was read of each bore in the newest round of the engine's newest visit [kg/h]."""
    found = engines.find(session, PIECES[0].serial)
    rounds = loader.of_engine(session, found[0].ident)[0].rounds if found else ()
    return {bore: one.value for bore, one in rounds[-1].latest.items() if one.value is not None} if rounds else {}


def _flow(name: str, bore: str) -> str:
    return f'[channel.{name}]\nquantity = "flow"\nunit = "kg/h"\nhigh = 60\nrate = 100\n{bore}'
