"""The file in which a shop says what its instruments show: channels and sources, in TOML.

    [channel.b3]                 # a name, as in the pattern or the map of the source
    quantity = "flow"            # one of ``UNITS``
    unit = "kg/h"                # one of that quantity
    bore = 3                     # left out for a probe that is carried from bore to bore
    low = 0.0                    # what is outside is counted, never clipped
    high = 60.0
    rate = 200                   # values a second
    stale = 0.5                  # seconds without a value
    frozen = 5.0                 # seconds of the very same number
    lag = 0.2                    # seconds in which the sensor shows 63 % of a step
    root = 2.35                  # for a flow told by a pressure drop: the flow at a drop of 1, as the source shows it
    draws = 1                    # the bore's place in the firing order, to find swapped hoses
    shows = "coolant"            # one of ``SHOWS``: fills in what the visit asks for

    [source.bench]
    kind = "serial"
    port = "/dev/serial/by-id/..."
    pattern = 'B3=(?P<b3>\\d{2}\\.\\d{3}),N=(?P<speed>\\d{4})'

Numbers of a channel that are left out are those of ``Channel``.
"""

import hashlib
import re
import tomllib
from collections.abc import Mapping
from dataclasses import dataclass, field, fields
from enum import StrEnum

from app.live.lines import LinePattern
from app.sync.engine.units import FLOW_UNITS, PRESSURE_UNITS
from app.sync.signals.averaging import flow_of, slow_error

UNITS: Mapping[str, tuple[str, ...]] = {
    "flow": tuple(FLOW_UNITS),
    "vacuum": tuple(PRESSURE_UNITS),
    "pressure": tuple(PRESSURE_UNITS),
    "speed": ("rpm",),
    "temperature": ("°C", "°F"),
    "voltage": ("V",),
    "opening": ("%",),
}
"""What a channel may show, and in which units."""

SHOWS: Mapping[str, str] = {
    "coolant": "temperature",
    "head": "temperature",
    "oil": "temperature",
    "air-temperature": "temperature",
    "air-pressure": "pressure",
    "oil-pressure": "pressure",
    "throttle-sensor": "voltage",
}
"""What a gauge may be at besides bores, with its quantity; a channel of ``speed`` is at the crank. One that shows whole
degrees stands still for minutes: its ``frozen`` has to be as long."""

PULSATES = ("flow", "vacuum", "pressure")
"""The quantities that swing with the cycle of the engine."""

FAST, SLOW_MAY_ERR = 100.0, 0.02
"""Values a second below which a pulsating channel needs damping of its own, and the error that may be left of the
pulse (our judgement)."""

RANGES: Mapping[str, tuple[float, float]] = {
    "bore": (1, 99),
    "rate": (0.1, 2000),
    "stale": (0.05, 60),
    "frozen": (0.1, 600),
    "lag": (0, 30),
    "root": (1e-6, 1e6),
    "draws": (1, 99),
}
"""What the numbers of a channel may be."""

KINDS = ("serial", "modbus", "can", "obd-serial", "udp", "csv", "simulated")
"""The sources that there are; what is pushed by another program needs none."""


MOST_SOURCES = 16
"""Sources of a program of which it is told how they stand."""


class ChannelFault(StrEnum):
    """What is wrong with the file."""

    NOT_TOML = "not-toml"
    NO_CHANNEL = "no-channel"
    NOT_A_TABLE = "not-a-table"
    UNKNOWN_KEY = "unknown-key"
    MISSING = "missing"
    NOT_A_NUMBER = "not-a-number"
    OUT_OF_RANGE = "out-of-range"
    NOT_ONE_OF = "not-one-of"
    NO_SUCH_CHANNEL = "no-such-channel"
    NOT_DAMPED = "not-damped"
    ROOT_TOO_LATE = "root-too-late"
    BAD_PATTERN = "bad-pattern"


class ChannelFileError(ValueError):
    """The file cannot be used: ``code`` says why, ``where`` names the entry, ``line`` is its line, 0 where unknown."""

    def __init__(self, code: ChannelFault, where: str = "", line: int = 0, **values: object) -> None:
        super().__init__(code)
        self.code, self.where, self.line, self.values = code, where, line, values


@dataclass(frozen=True, slots=True)
class Channel:
    """What one channel shows, as the file says it; ``bore`` is None for a probe that is carried.

    ``root`` is the flow at a pressure drop of 1 where the source shows a drop, 0 where it shows what it is; ``draws``
    the bore's place in the firing order from 1, 0 where the file does not say.
    """

    quantity: str
    unit: str
    bore: int | None = None
    low: float = 0.0
    high: float = 1e6
    rate: float = 200.0
    stale: float = 0.5
    frozen: float = 5.0
    lag: float = 0.2
    shows: str = ""
    root: float = 0.0
    draws: int = 0

    @property
    def pulsates(self) -> bool:
        """Whether it swings with the cycle of the engine."""
        return self.quantity in PULSATES and not self.shows

    def value_of(self, shown: float) -> float:
        """What the channel is at, of what its source shows."""
        return flow_of(shown, self.root) if self.root else shown


@dataclass(frozen=True, slots=True)
class InstrumentSource:
    """Where values come from: its ``kind``, and what that kind needs, by name."""

    name: str
    kind: str
    settings: Mapping[str, object] = field(default_factory=dict)


@dataclass(frozen=True, slots=True)
class ChannelFile:
    """What a shop's file says, with the SHA-256 of its text. ``loose`` are the sources whose pattern may take a line
    that lost a digit."""

    channels: Mapping[str, Channel]
    sources: tuple[InstrumentSource, ...]
    sha256: str
    loose: tuple[str, ...] = ()


def read_channels(text: str) -> ChannelFile:
    """What a file says.

    Parameters: ``text`` of it. Raises ChannelFileError.

    >>> found = read_channels('[channel.probe]\\nquantity = "flow"\\nunit = "kg/h"')
    >>> found.channels["probe"].stale
    0.5
    """
    try:
        told = tomllib.loads(text)
    except tomllib.TOMLDecodeError as error:
        raise ChannelFileError(ChannelFault.NOT_TOML, problem=str(error)) from None
    for key in told.keys() - {"channel", "source"}:
        raise ChannelFileError(ChannelFault.UNKNOWN_KEY, key, _line(text, key))
    channels = {name: _channel(text, f"channel.{name}", one) for name, one in _tables(text, "channel", told).items()}
    if not channels:
        raise ChannelFileError(ChannelFault.NO_CHANNEL)
    sources = tuple([_source(text, name, one) for name, one in _tables(text, "source", told).items()])
    patterns = {one.name: _pattern(text, one, channels) for one in sources if "pattern" in one.settings}
    loose = tuple([name for name, pattern in patterns.items() if pattern.free])
    return ChannelFile(channels, sources, hashlib.sha256(text.encode()).hexdigest(), loose)


def _tables(text: str, key: str, told: Mapping[str, object]) -> dict[str, dict[str, object]]:
    found = told.get(key, {})
    if not isinstance(found, dict):
        raise ChannelFileError(ChannelFault.NOT_A_TABLE, key, _line(text, key))
    for name, one in found.items():
        if not isinstance(one, dict):
            raise ChannelFileError(ChannelFault.NOT_A_TABLE, f"{key}.{name}", _line(text, name))
    return found


def _channel(text: str, where: str, told: Mapping[str, object]) -> Channel:
    known = {one.name for one in fields(Channel)}
    for key in told:
        if key not in known:
            raise ChannelFileError(ChannelFault.UNKNOWN_KEY, f"{where}.{key}", _line(text, key, where))
    quantity = _chosen(text, where, told, "quantity", tuple(UNITS))
    unit = _chosen(text, where, told, "unit", UNITS[quantity])
    words = ("quantity", "unit", "shows")
    numbers = {key: _number(text, where, key, told[key]) for key in told if key not in words}
    bore, draws = numbers.pop("bore", None), int(numbers.pop("draws", 0))
    may_show = tuple(what for what, of in SHOWS.items() if of == quantity)
    shows = _chosen(text, where, told, "shows", may_show) if "shows" in told else ""
    found = Channel(quantity, unit, None if bore is None else int(bore), **numbers, shows=shows, draws=draws)
    if found.low >= found.high:
        raise ChannelFileError(ChannelFault.OUT_OF_RANGE, f"{where}.low", _line(text, "low", where), most=found.high)
    if found.root and quantity != "flow":
        raise ChannelFileError(ChannelFault.NOT_ONE_OF, f"{where}.quantity", _line(text, "quantity", where),
                               choices=("flow",))  # fmt: skip
    if found.pulsates and found.rate < FAST:
        if found.root and bore is not None:
            raise ChannelFileError(ChannelFault.ROOT_TOO_LATE, where, _line(text, "root", where))
        left = slow_error(found.rate, found.lag)
        if left > SLOW_MAY_ERR:
            line = _line(text, "rate", where)
            raise ChannelFileError(ChannelFault.NOT_DAMPED, where, line, left=left, most=SLOW_MAY_ERR)
    return found


def _source(text: str, name: str, told: Mapping[str, object]) -> InstrumentSource:
    where = f"source.{name}"
    kind = _chosen(text, where, told, "kind", KINDS)
    return InstrumentSource(name, kind, {key: value for key, value in told.items() if key != "kind"})


def _pattern(text: str, source: InstrumentSource, channels: Mapping[str, Channel]) -> LinePattern:
    """How a source's lines read. Raises ChannelFileError."""
    where = f"source.{source.name}.pattern"
    line = _line(text, "pattern", f"source.{source.name}")
    try:
        pattern = re.compile(str(source.settings["pattern"]))
    except re.error as error:
        raise ChannelFileError(ChannelFault.BAD_PATTERN, where, line, problem=str(error)) from None
    if not pattern.groupindex or not pattern.groupindex.keys() <= channels.keys():
        raise ChannelFileError(ChannelFault.NO_SUCH_CHANNEL, where, line, choices=tuple(channels))
    return LinePattern(pattern, source.settings.get("checked") is True)


def _chosen(text: str, where: str, told: Mapping[str, object], key: str, choices: tuple[str, ...]) -> str:
    if key not in told:
        raise ChannelFileError(ChannelFault.MISSING, f"{where}.{key}", _line(text, where))
    value = told[key]
    if not isinstance(value, str) or value not in choices:
        line = _line(text, key, where)
        raise ChannelFileError(ChannelFault.NOT_ONE_OF, f"{where}.{key}", line, choices=choices)
    return value


def _number(text: str, where: str, key: str, value: object) -> float:
    if isinstance(value, bool) or not isinstance(value, int | float):
        raise ChannelFileError(ChannelFault.NOT_A_NUMBER, f"{where}.{key}", _line(text, key, where))
    low, high = RANGES.get(key, (-1e9, 1e9))
    if not low <= value <= high or (key in ("bore", "draws") and value != int(value)):
        line = _line(text, key, where)
        raise ChannelFileError(ChannelFault.OUT_OF_RANGE, f"{where}.{key}", line, least=low, most=high)
    return float(value)


def _line(text: str, key: str, where: str = "") -> int:
    """The number of the line that a key stands in, after the head of its table; 0 where it is written otherwise."""
    begun = not where
    for number, line in enumerate(text.splitlines(), 1):
        plain = line.strip()
        begun = begun or plain == f"[{where}]"
        if begun and (plain == f"[{key}]" or plain.partition("=")[0].strip() == key):
            return number
    return 0
