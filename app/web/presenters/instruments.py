"""The shop's instruments as their page shows them: channels, sources, and what their sensors differ by."""

import json
from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np
from sqlmodel import Session

from app.shop.commands.live import channel_checks
from app.shop.commands.live.channel_checks import Array
from app.shop.store.live.tables import ChannelCheckRow
from app.sync.engine.units import KPA
from app.web.live.channels import Floats
from app.web.live.hub import Hub, written
from app.web.live.senders import SourceTold
from app.wording.message import say
from app.wording.names import moment
from app.wording.program import live_values as words
from app.wording.quantities import percent

SLOWER, LITTLE = 1.25, 0.05
"""By how much a sensor may be slower than its file says, times and seconds, before that is told (our judgement)."""

POINTS, MEANS = 60, 10
"""Points of a channel's strip, and into how many parts it is cut whose length each point is the mean of: pulses would
beat with the points."""


@dataclass(frozen=True, slots=True)
class ChannelRow:
    """One channel: its ``strip`` of ten seconds as points in a box of 100 by 20."""

    name: str
    bore: str
    state: str
    value: str
    unit: str
    rate: str
    refused: int
    turned_away: int
    strip: str


@dataclass(frozen=True, slots=True)
class SourceRow:
    """One source of a sending program, with what is ``wrong`` with it."""

    name: str
    told: SourceTold
    wrong: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class SensorCheck:
    """One check of the sensors: what was ``held``, when and by whom, and each sensor's figures where they were
    compared, in kPa."""

    held: str
    at: str
    by: str
    figures: tuple[tuple[str, str, str], ...]


@dataclass(frozen=True, slots=True)
class Instruments:
    """Everything on the page: what comes now, the ``standing`` of the sensors, the bores whose channel is not known to
    be theirs (``unknown``), and the newest checks."""

    channels: tuple[ChannelRow, ...]
    sources: tuple[SourceRow, ...]
    notes: tuple[str, ...]
    array: Array | None
    standing: tuple[str, ...]
    unknown: tuple[int, ...]
    checks: tuple[SensorCheck, ...]


def shown(session: Session, hub: Hub, now: str) -> Instruments:
    """The instruments as they are ``now``."""
    array = hub.array()
    known = channel_checks.wiggled(session, array.channels) if array is not None else frozenset[int]()
    bores = tuple(sorted(array.bores.values())) if array is not None else ()
    channels = hub.channels()
    lags = {name: float(str(one["lag"])) for name, one in channels.items()}
    return Instruments(
        channels=_channels(channels, hub.strips()),
        sources=tuple(_source(name, one) for name, one in sorted(hub.sources().items())),
        notes=_notes(hub),
        array=array,
        standing=_standing(session, array, known, lags, now) if array is not None else (),
        unknown=tuple(bore for bore in bores if bore not in known),
        checks=tuple(_check(row) for row in channel_checks.newest(session)),
    )


def _channels(told: Mapping[str, Mapping[str, object]], strips: Mapping[str, Floats]) -> tuple[ChannelRow, ...]:
    return tuple(
        ChannelRow(
            name,
            str(one["bore"] or ""),
            say(words.STATES[str(one["state"])]),
            "\u2013" if one["value"] is None else written(float(str(one["value"]))),
            str(one["unit"]),
            f"{one['found_rate']:g}",
            int(str(one["refused"])),
            int(str(one["turned_away"])),
            _strip(strips.get(name, np.empty(0))),
        )
        for name, one in sorted(told.items())
    )


def _strip(values: Floats) -> str:
    """Values as points of a line, from the lowest to the highest of them or a hundredth of it."""
    if len(values) < 2:
        return ""
    weights = np.hanning(max(3, len(values) // MEANS) + 2)
    smooth = np.convolve(values, weights / weights.sum(), mode="valid") if len(values) > len(weights) else values
    some = smooth[np.linspace(0, len(smooth) - 1, min(POINTS, len(smooth))).astype(int)]
    low, high = float(some.min()), float(some.max())
    span = max(high - low, 0.01 * abs(high), 1e-9)
    places = 10 - 18 * (some - (low + high) / 2) / span
    return " ".join(f"{100 * n / (len(some) - 1):.1f},{at:.1f}" for n, at in enumerate(places))


def _source(name: str, told: SourceTold) -> SourceRow:
    wrong = [say(words.SOURCE_LOOSE)] if told.loose else []
    if told.baud_needed:
        wrong.append(say(words.SOURCE_CROWDED, baud=told.baud, needs=told.baud_needed))
    if told.problem:
        wrong.append(say(words.SOURCE_PROBLEM, problem=told.problem))
    return SourceRow(name, told, tuple(wrong))


def _notes(hub: Hub) -> tuple[str, ...]:
    speed = json.loads(hub.event())["speed"]
    said = [] if speed["agrees"] else [say(words.SPEEDS_DIFFER, told=speed["told"], pulses=speed["pulses"])]
    for one in hub.pulses():
        said += [say(words.MISSED_AT, channel=name, count=count) for name, count in sorted(one.missed.items())]
        if one.out_of_turn:
            said.append(say(words.OUT_OF_TURN, channels=", ".join(sorted(one.out_of_turn))))
    return (*said, *hub.doubted)


def _standing(
    session: Session, array: Array, known: frozenset[int], declared: Mapping[str, float], now: str
) -> tuple[str, ...]:
    said = []
    found = channel_checks.in_force(session, array.channels, now)
    if found is None:
        said.append(say(words.NEVER_COMPARED))
    else:
        spread, part = f"{found.spread / KPA:.2f}", percent(found.of_idle, 1)
        said.append(say(words.COMPARED, when=moment(found.at), spread=spread, part=part))
        said.append(say(words.PROVES if found.proves else words.GUIDES))
    if known:
        said.append(say(words.BORES_KNOWN, bores=", ".join(map(str, sorted(known))), count=len(known)))
    for name, lag in sorted(channel_checks.lags(session, array.channels).items()):
        told = declared.get(name, lag)
        if lag > SLOWER * told + LITTLE:
            said.append(say(words.SLOWER, channel=name, lag=f"{lag:.1f}", told=f"{told:g}"))
    return tuple(said)


def _check(row: ChannelCheckRow) -> SensorCheck:
    told = json.loads(row.figures)
    figures = tuple(
        (name, f"{one['offset'] / KPA:+.3f}".replace("-", "\u2212"), f"{one['scatter'] / KPA:.3f}")
        for name, one in sorted(told.items())
        if "offset" in one
    )
    return SensorCheck(say(words.HELD[row.kind], bore=row.bore), row.at, row.by, figures)
