"""Setting every plate of the cold engine on one feeler: what is set, what comes next, and whether it pays."""

from dataclasses import dataclass
from functools import cached_property

from app.shop.assessment.lessons import start_of
from app.shop.assessment.verdicts import needs_preset
from app.shop.procedure.phases import AT_THE_ENGINE, COLD_PRESET, FIRST_FIRE, HEAT_SOAKED
from app.shop.record.entries import MoveEntry
from app.shop.record.visit_record import VisitRecord
from app.sync.engine.layout import Adjuster, Coupler
from app.sync.planning.cold_setting import Foreseen, foresee, nearest_leaf, outward
from app.sync.planning.preset import Preset

HAS_RUN = ("oil-pressure", "oil-lamp")
"""The items of first fire that are recorded with the engine running."""


@dataclass(frozen=True, slots=True)
class ColdStep:
    """One plate to set: that of ``bore``, by ``adjuster``.

    ``made`` is the newest setting of it, None where there is none; ``stands`` says whether it still holds: whatever is
    nearer to the stop screw was set before it.
    """

    bore: int
    adjuster: Adjuster
    made: MoveEntry | None
    stands: bool


@dataclass(frozen=True, eq=False)
class ColdWork:
    """The plates to set outward from each stop screw, all on the feeler ``leaves`` [m].

    That is the feeler of the first plate set, else the single leaf nearest to the gap that the preset turns open.
    ``is_preset``: it was recorded that every plate closes fully, which its gap counts from, and by which turns the stop
    screws were preset, as those come before. ``safe``: that nothing can start the engine or move a plate. ``declined``:
    it is not wanted now.
    """

    record: VisitRecord
    preset: Preset
    steps: tuple[ColdStep, ...]
    leaves: tuple[float, ...]
    safe: bool
    is_preset: bool
    gauged: bool
    assembled: bool
    declined: bool

    @property
    def next(self) -> ColdStep | None:
        """The plate to set next; None once all are set."""
        return next((step for step in self.steps if not step.stands), None)

    @property
    def begun(self) -> bool:
        """Whether any plate was set."""
        return any(step.made is not None for step in self.steps)

    @cached_property
    def foreseen(self) -> Foreseen:
        """What it costs and should save, by what is known of this engine; worked out when it is first asked for."""
        held = self.record.settings
        return foresee(
            start_of(self.record),
            self.preset.gap,
            sum(self.leaves),
            tuple(held.blades),
            held.window(HEAT_SOAKED.slug),
            self.gauged,
            self.assembled,
        )


def cold_work(record: VisitRecord, preset: Preset) -> ColdWork | None:
    """The cold setting of a visit; None where there is none: once the engine ran, by telephone, for an engine that was
    preset before or has no coupler.

    ``preset`` are the turns to start it from.
    """
    away = record.visit.place not in AT_THE_ENGINE or not record.layout.couplers()
    if away or record.sign_off is not None or not needs_preset(record) or has_run(record):
        return None
    said = {item for phase, item in record.checks if phase == COLD_PRESET.slug}
    first = next(iter(record.set_cold), None)
    return ColdWork(
        record,
        preset,
        _steps(record),
        first.leaves if first is not None else (nearest_leaf(preset.gap, record.settings.blades),),
        safe="cold-and-off" in said,
        is_preset={"closed-contact", "preset-turns"} <= said,
        gauged="hand-gauged" in said,
        assembled="couplers-new" in said,
        declined="cold-setting-declined" in said,
    )


def has_run(record: VisitRecord) -> bool:
    """Whether the engine ran in this visit: it was read, or its oil was seen to."""
    return record.last_reading > 0 or any((FIRST_FIRE.slug, item) in record.checks for item in HAS_RUN)


def _steps(record: VisitRecord) -> tuple[ColdStep, ...]:
    order = {row.ident: at for at, row in enumerate(record.cold_settings)}
    newest = {made.bore: row for made, row in zip(record.set_cold, record.cold_settings, strict=True)}
    found: dict[int, ColdStep] = {}
    for bore, adjuster in outward(record.layout):
        row, before = newest.get(bore), _carried_by(record, adjuster, found)
        after = (
            before is None or before.made is None or (row is not None and order[row.ident] > order[before.made.ident])
        )
        stands = row is not None and after and (before is None or before.stands)
        found[bore] = ColdStep(bore, adjuster, row, stands)
    return tuple(found.values())


def _carried_by(record: VisitRecord, adjuster: Adjuster, found: dict[int, ColdStep]) -> ColdStep | None:
    """The step that the near bore of a coupler is set by; None for a stop screw."""
    if not isinstance(adjuster, Coupler):
        return None
    shaft = record.layout.shafts[adjuster.near]
    return next(step for bore, step in found.items() if bore in shaft)
