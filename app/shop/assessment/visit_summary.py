"""What counts of one visit beside the others of its engine: as found and as left, its air, its moves."""

import math
from collections import defaultdict
from collections.abc import Collection, Iterator, Mapping, Sequence
from dataclasses import dataclass

from app.shop.assessment.lessons import sharing_of
from app.shop.assessment.round_results import evenness_of
from app.shop.procedure.left_out import readings_of
from app.shop.procedure.phases import FIRST_FIRE
from app.shop.record.entries import CheckEntry
from app.shop.record.intake import Intake
from app.shop.record.rounds import Round
from app.shop.record.visit_record import AIR, SPEEDS, VisitRecord
from app.sync.engine.adjusters.registry import kind_of
from app.sync.engine.events import Meter, Reading
from app.sync.engine.hardware import Hardware
from app.sync.engine.layout import Layout
from app.sync.engine.units import KPA, REV_PER_MIN, ZERO_CELSIUS
from app.sync.estimation.evenness import RoundResult
from app.sync.readings.carried import own_scale
from app.sync.slips.slip_detection import Conditions, Pooled, pool


@dataclass(frozen=True, slots=True, eq=False)
class RoundSummary:
    """How the bores stood at one end of a visit.

    ``judged`` is the round that speaks for it; ``pooled`` every reading of every round that may be taken together,
    the idle's drift taken out; ``hot`` says whether they were all taken heat-soaked.
    """

    judged: RoundResult
    pooled: Mapping[int, Pooled]
    hot: bool

    @property
    def spread(self) -> float:
        """Widest less tightest [kg/s or Pa]."""
        values = [s.value for s in self.judged.standings]
        return max(values) - min(values)


@dataclass(frozen=True, slots=True)
class Moved:
    """One move that was made, as the records name it."""

    kind: str
    bank: str
    near: int | None
    far: int | None
    amount: float


@dataclass(frozen=True, slots=True)
class RoundSpread:
    """Widest less tightest bore of one round at idle, as a fraction of the average, and how many moves were made since
    the round before it."""

    number: int
    share: float
    moves: int


@dataclass(frozen=True, slots=True, eq=False)
class VisitSummary:
    """What counts of one visit. ``left`` is None until it is signed off, ``found`` before its first closed round.

    ``spreads`` are those of its closed rounds at idle. ``sharing`` is the part of a runner's pressure that all runners
    share, as its columns tell, None by a flow meter.

    ``air_found`` and ``air_left`` are the air and the idle speed of either, None where they are not known. ``site`` is
    where it was opened, None in a shop without sites. ``mistaken`` says why it should never have been opened, empty of
    any other visit; ``untouched``: it is open and nothing is recorded in it yet.
    """

    key: str
    visit_id: int
    number: int
    opened_at: str
    place: str
    job: str
    why: str
    by: str
    signed: str
    meter_id: int
    meter_name: str
    unit: str
    unit_name: str
    step: float
    meter: Meter
    fitting_id: int
    layout: Layout
    hardware: Hardware
    found: RoundSummary | None
    left: RoundSummary | None
    moves: tuple[Moved, ...]
    rounds: int
    air_found: Conditions | None
    air_left: Conditions | None
    intake: Intake | None
    spreads: tuple[RoundSpread, ...]
    sharing: float | None = None
    site: int | None = None
    mistaken: str = ""
    untouched: bool = False


def build_history(record: VisitRecord) -> VisitSummary:
    """What counts of a visit, from everything recorded of it."""
    visit, meter = record.visit, record.meter
    found = record.as_found()
    left = record.as_left() if record.sign_off else None
    return VisitSummary(
        key=visit.key,
        visit_id=visit.ident,
        number=visit.number,
        opened_at=visit.opened_at,
        place=visit.place,
        job=visit.job,
        why=visit.why,
        by=visit.by,
        signed=record.sign_off.name if record.sign_off else "",
        meter_id=meter.ident,
        meter_name=meter.name,
        unit=meter.unit,
        unit_name=meter.unit_name,
        step=meter.step,
        meter=record.meter_as_read(),
        fitting_id=record.fitting.ident,
        layout=record.layout,
        hardware=record.hardware,
        found=_stand(record, found, _before_any_move(record)) if found else None,
        left=_stand(record, left, [r for r in _idle(record) if not record.moved_since(r)]) if left else None,
        moves=tuple(Moved(m.kind, m.bank, m.near, m.far, m.amount) for m in record.moves),
        rounds=sum(r.closed for r in record.rounds),
        air_found=_conditions(record, left=False),
        air_left=_conditions(record, left=True),
        intake=record.intake,
        spreads=tuple(_spreads(record)),
        sharing=sharing_of(record),
        site=visit.site_id,
        mistaken=record.mistaken.why if record.mistaken else "",
        untouched=record.sign_off is None and record.untouched,
    )


def _idle(record: VisitRecord) -> list[Round]:
    return [r for r in record.rounds if r.closed and r.row.opening == 0]


def _spreads(record: VisitRecord) -> Iterator[RoundSpread]:
    before = 0
    for one in _idle(record):
        shares = [s.share for s in evenness_of(record, one, record.settings.fine_window).standings]
        moves = sum(before <= move.after_reading < one.ended for move in record.moves)
        yield RoundSpread(one.row.number, max(shares) - min(shares), moves)
        before = one.ended


def _before_any_move(record: VisitRecord) -> list[Round]:
    first = min((m.after_reading for m in record.moves), default=None)
    return [r for r in _idle(record) if first is None or r.ended <= first]


def _stand(record: VisitRecord, speaks: Round, together: Sequence[Round]) -> RoundSummary:
    """Hot rounds are taken together with hot ones, a coarse look only with others of its kind."""
    hot = speaks.row.phase != FIRST_FIRE.slug
    alike = [r for r in together if (r.row.phase != FIRST_FIRE.slug) == hot] or [speaks]
    meter = record.meter_as_read()
    rounds = {one.row.ident: one for one in (*alike, speaks)}
    judged = {ident: evenness_of(record, one, record.settings.fine_window) for ident, one in rounds.items()}
    values: dict[int, list[tuple[float, Reading]]] = defaultdict(list)
    for one in alike:
        readings = one.in_base_units
        drift = judged[one.row.ident].drift
        first, last = readings[0].at, max(r.at for r in readings)
        for at, reading in enumerate(readings):
            share = (reading.at - first) / (last - first) if last > first else at / max(1, len(readings) - 1)
            values[reading.bore].append((reading.value - drift * (share - 0.5), reading))
    for bore, taken in readings_of(record, speaks).items():
        values.setdefault(bore, [(one.value, one) for one in taken])
    pooled = {bore: _pool(taken, meter) for bore, taken in values.items()}
    return RoundSummary(judged[speaks.row.ident], pooled, hot)


def _pool(taken: Sequence[tuple[float, Reading]], meter: Meter) -> Pooled:
    """Readings of a bore by one kind of sensor, the probe's where there are any; another visit may have had other
    sensors than these."""
    kept = [pair for pair in taken if not pair[1].fixed] or taken
    return pool([value for value, _ in kept], meter, max(own_scale(one) for _, one in kept))


def _conditions(record: VisitRecord, *, left: bool) -> Conditions | None:
    """Air and idle speed of a visit as left, else as found; None where one of the three is not known.

    The speed counts that was typed last after the last move that changes the idle, as found before the first. The air
    does not change by moves: as found, what was typed before the first one counts where there is any.
    """
    typed = [c for c in record.all_checks if c.number is not None and c.ident not in record.taken_back]
    first = min((record.first_told[m.ident] for m in record.moves if kind_of(m.kind).at_idle), default=math.inf)
    still = [c for c in typed if (c.after_move >= record.last_idle_move if left else c.after_move < first)]
    speed = _newest(still, SPEEDS)
    pressure, temperature = (_newest(typed if left else still, (item,)) or _newest(typed, (item,)) for item in AIR)
    if speed is None or pressure is None or temperature is None:
        return None
    return Conditions(pressure * KPA, temperature + ZERO_CELSIUS, speed * REV_PER_MIN)


def _newest(checks: Sequence[CheckEntry], items: Collection[str]) -> float | None:
    """The figure typed last of some items."""
    return next((check.number for check in reversed(checks) if check.item in items), None)
