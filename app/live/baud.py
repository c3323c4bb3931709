"""Whether a serial port carries what is asked of it at the rate of its channels."""

import math
import re
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from statistics import median

from app.live.channels import Channel, InstrumentSource
from app.live.lines import BAUD, BITS
from app.live.sources import modbus, obd
from app.live.sources.source import SourceError, number_of


@dataclass(frozen=True, slots=True)
class Crowded:
    """The port of a ``source`` at ``baud`` that needs so many bits a second for what its channels are to bring."""

    source: str
    baud: int
    needs: int


@dataclass(frozen=True, slots=True)
class PortRound:
    """What brings every channel of a source once: their ``names``, and its ``bits`` on the line; how many there can be
    ``most`` in a second by what the source is set to."""

    names: frozenset[str]
    bits: float
    most: float = math.inf


def crowded(source: InstrumentSource, channels: Mapping[str, Channel], lines: Sequence[str]) -> Crowded | None:
    """What a source's port needs; None where it carries that, has no port, or nothing came yet that tells.

    Parameters: ``lines`` that came last.
    """
    try:
        port, round_of = _PORTS.get(source.kind, (0, None))
        baud = number_of(source.settings, "baud", port)
        found = round_of(source, lines) if round_of is not None else None
    except SourceError:
        return None  # told when it is read
    rates = [channels[name].rate for name in found.names if name in channels] if found is not None else []
    if found is None or not rates:
        return None
    needs = math.ceil(min(max(rates), found.most) * found.bits)
    return Crowded(source.name, int(baud), needs) if baud < needs else None


def _of_lines(source: InstrumentSource, lines: Sequence[str]) -> PortRound | None:
    """By the lines as they come, each with the sign that ends it."""
    if not lines:
        return None
    names = re.compile(str(source.settings.get("pattern"))).groupindex
    return PortRound(frozenset(names), (median(map(len, lines)) + 1) * BITS)


def _of_registers(source: InstrumentSource, _: Sequence[str]) -> PortRound | None:
    if "host" in source.settings:
        return None
    names, bits = modbus.round_on_a_line(source.settings)
    every = number_of(source.settings, "every", modbus.EVERY)
    return PortRound(names, bits, 1 / every if every > 0 else math.inf)


def _of_parameters(source: InstrumentSource, _: Sequence[str]) -> PortRound | None:
    names, bits = obd.round_on_a_line(source.settings)
    return PortRound(names, bits)


_PORTS: Mapping[str, tuple[int, Callable[[InstrumentSource, Sequence[str]], PortRound | None]]] = {
    "serial": (BAUD, _of_lines),
    "modbus": (modbus.BAUD, _of_registers),
    "obd-serial": (obd.BAUD, _of_parameters),
}
"""By kind of source: the bits a second of a port whose source says nothing, and what one round takes."""
