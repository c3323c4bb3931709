"""What no shop can have written in an engine's file, whatever its schema allows."""

import json
from collections import Counter
from collections.abc import Iterable, Mapping
from dataclasses import fields

from pydantic import JsonValue

from app.shop.commands.engines import EngineFacts
from app.shop.commands.settings_versions import problems
from app.shop.cross_check.findings import REPAIRED
from app.shop.cross_check.units import takes_words, units_of
from app.shop.exchange.codes import FileFault
from app.shop.exchange.versions import v6 as v6
from app.shop.reasons import Reason, because
from app.shop.record.fittings import layout_from_json
from app.shop.record.settings import from_json
from app.sync.diagnosis.causes import EngineFault
from app.sync.diagnosis.measurements import CATALOGUE, FindingKind
from app.sync.engine.adjusters.kind import ScrewWithGain
from app.sync.engine.adjusters.registry import kind_of
from app.sync.engine.events import Place
from app.sync.engine.hardware import Hardware
from app.sync.engine.layout import Layout, LayoutError

FACTS = ("serial", "description", "displacement", "displacement_unit", "customer", "vehicle", "idle_speed")
"""The fields of an engine that a person types."""


def contradictions(file: v6.EngineFile, keys: Iterable[str]) -> list[Reason]:
    """What is wrong with a file that has every field; none in one that makes sense. ``keys`` are those of its rows."""
    facts = _as_facts(file.engine).problems()
    wrong = [because(FileFault.ENGINE_FIELD, field=name, fault=fault.code) for name, fault in facts.items()]
    wrong += [because(FileFault.KEY_TWICE, key=key) for key, times in Counter(keys).items() if times > 1]
    layouts: dict[str, Layout] = {}
    for fitting in file.fittings:
        try:
            layouts[fitting.key] = layout_from_json(fitting.layout.model_dump_json())
        except LayoutError as error:
            wrong.append(because(FileFault.LAYOUT, fitting=fitting.number, fault=error.code))
        if set(fitting.hardware) != {f.name for f in fields(Hardware)}:
            wrong.append(because(FileFault.HARDWARE_FIGURES, fitting=fitting.number))
    meters = {meter.key: meter for meter in file.meters}
    for one in (file.visits, file.fittings):
        numbers = [row.number for row in one]
        if sorted(set(numbers)) != numbers:
            wrong.append(because(FileFault.NUMBER_ORDER))
    for visit in file.visits:
        wrong += [
            because(FileFault.VISIT, visit=visit.number, fault=fault)
            for fault in _visit_contradictions(visit, layouts, meters)
        ]
    known = {one.key for one in file.settings}
    if not all(_can_judge(one.said) for one in file.settings) or {v.settings for v in file.visits} - {None} - known:
        wrong.append(because(FileFault.SETTINGS))
    if any(v.sign_off is None for v in file.visits[:-1]):
        wrong.append(because(FileFault.OPEN_BEFORE_LAST))
    return wrong


def _visit_contradictions(
    visit: v6.Visit, layouts: Mapping[str, Layout], meters: Mapping[str, v6.Meter]
) -> list[Reason]:
    if visit.fitting not in layouts or visit.meter not in meters:
        return [because(FileFault.FITTING_OR_METER)]
    layout = layouts[visit.fitting]
    wrong = [wrong for move in visit.moves if (wrong := _unfitted(move, layout)) is not None]
    if len({r.number for r in visit.rounds}) < len({r.key for r in visit.rounds}):
        wrong.append(because(FileFault.ROUND_NUMBER_TWICE))
    if any(r.from_above and r.opening <= 0 for r in visit.rounds):
        wrong.append(because(FileFault.IDLE_FROM_ABOVE))
    if any(move.taken_back and move.supersedes is None for move in visit.moves):
        wrong.append(because(FileFault.TAKES_BACK_NOTHING))
    wrong += [*_broken_references(visit), *_wrong_readings(visit, layout, meters[visit.meter])]
    wrong += [because(FileFault.FINDING, kind=one.kind) for one in visit.findings if not _can_be(one, layout)]
    for correction in visit.corrections:
        if correction.after_reading and correction.after_reading not in {r.key for r in visit.readings}:
            wrong.append(because(FileFault.CORRECTION_REFERENCE))
        if correction.after_check and correction.after_check not in {c.key for c in visit.checks}:
            wrong.append(because(FileFault.CORRECTION_REFERENCE))
    named = {r.key for r in visit.readings} | {c.key for c in visit.checks}
    after = [("after_check", event.after_check) for event in visit.engine_events]
    after += [("after_reading", event.after_reading) for event in visit.engine_events]
    after += [("after_check", end.after_check) for end in visit.stop_ends]
    wrong += [because(FileFault.REFERENCE, field=name) for name, key in after if key and key not in named]
    if visit.corrections and visit.sign_off is None:
        wrong.append(because(FileFault.CORRECTED_TOO_EARLY))
    return wrong


def _unfitted(move: v6.Move, layout: Layout) -> Reason | None:
    """What is wrong with a move of a screw that the layout does not have.

    A bypass screw passes: version 1 told of them where no layout named them yet.
    """
    kind, place = kind_of(move.kind), Place(move.bank, move.near, move.far)
    if not isinstance(kind, ScrewWithGain) or move.kind == "bypass" or kind.adjuster(place) in kind.adjusters(layout):
        return None
    if kind.sits == "coupler":
        return because(FileFault.NO_COUPLER_SCREW, near=move.near, far=move.far)
    return because(FileFault.NO_OTHER_SCREW, bore=move.near)


def _broken_references(visit: v6.Visit) -> list[Reason]:
    """Rows that name another one which is not in the file, or not before them."""
    wrong: list[Reason] = []
    for rows, refers in (
        (visit.readings, ()),
        (visit.moves, (("after_reading", {r.key for r in visit.readings}),)),
        (visit.checks, (("after_move", {m.key for m in visit.moves}),)),
        (visit.speeds, (("after_move", {m.key for m in visit.moves}),)),
        (
            visit.findings,
            (("after_move", {m.key for m in visit.moves}), ("after_reading", {r.key for r in visit.readings})),
        ),
    ):
        seen: set[str] = set()
        gone: set[str] = set()
        for row in rows:
            if row.supersedes is not None and (row.supersedes not in seen or row.supersedes in gone):
                wrong.append(because(FileFault.SUPERSEDES_NOTHING))
            gone.add(row.supersedes or "")
            seen.add(row.key)
            wrong += [
                because(FileFault.REFERENCE, field=name)
                for name, those in refers
                if (k := getattr(row, name)) and k not in those
            ]
    return wrong


def _wrong_readings(visit: v6.Visit, layout: Layout, meter: v6.Meter) -> list[Reason]:
    wrong: list[Reason] = []
    rounds, off_idle = {r.key for r in visit.rounds}, {r.key for r in visit.rounds if r.opening > 0}
    wrong += [because(FileFault.SPEED_WITHOUT_OPENING) for speed in visit.speeds if speed.round not in off_idle]
    for reading in visit.readings:
        if reading.round not in rounds:
            wrong.append(because(FileFault.READING_WITHOUT_ROUND))
        if reading.bore not in layout.bores:
            wrong.append(because(FileFault.NO_SUCH_BORE, bore=reading.bore))
        if (reading.kind == "skip") != (reading.value is None):
            wrong.append(because(FileFault.SKIP_WITH_VALUE))
        if reading.unit != meter.unit:
            wrong.append(because(FileFault.READING_UNIT))
    return wrong


def _can_be(one: v6.Finding, layout: Layout) -> bool:
    """Whether a finding names a known test or repair, a place that the engine has, and shows exactly one thing."""
    placed = one.bore is None or (one.bore in layout.bores and not one.bank)
    placed = placed and one.bank in ("", *(bank.name for bank in layout.banks))
    if not placed or [one.value, one.word, one.why].count(None) != 2:
        return False
    if one.kind == REPAIRED:
        return one.value is None and (one.word is None or one.word in tuple(EngineFault))
    if one.kind not in tuple(FindingKind):
        return False
    measure = FindingKind(one.kind)
    if one.word is not None:
        return one.word in CATALOGUE[measure].words
    return one.value is None or (not takes_words(measure) and one.unit in units_of(measure))


def _can_judge(said: Mapping[str, JsonValue]) -> bool:
    """Whether a shop can have such settings."""
    try:
        return not problems(from_json(json.dumps(said)))
    except (TypeError, ValueError, AttributeError):  # not even of the right kind
        return False


def _as_facts(engine: v6.Engine) -> EngineFacts:
    return EngineFacts(**{name: getattr(engine, name) for name in FACTS})
