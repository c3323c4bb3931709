"""What ``app.sync`` says of a visit: what was recorded handed to it, its answers handed back."""

import math
from functools import lru_cache
from statistics import fmean

from app.shop.assessment.lessons import start_of
from app.shop.assessment.round_results import evenness_of, newest_evenness
from app.shop.assessment.since_left import suspect_of
from app.shop.assessment.tightening import stands_as_before, to_reread
from app.shop.procedure.items import Phase
from app.shop.procedure.left_out import readings_of
from app.shop.procedure.parts import Part, parts_of
from app.shop.procedure.phases import BANK_BALANCE, HEAT_SOAKED
from app.shop.procedure.read_order import opening_rounds
from app.shop.procedure.requirements import Runs
from app.shop.procedure.running import round_ran_out
from app.shop.record.rounds import Round
from app.shop.record.visit_record import VisitRecord
from app.sync.banks.bank_means import Opening, bank_change
from app.sync.banks.banks import BankAssessment, Extra, balance
from app.sync.banks.link_hypotheses import Cause
from app.sync.engine.engine_air import IdleFlowModel
from app.sync.engine.events import Meter
from app.sync.engine.hardware import Hardware
from app.sync.engine.layout import Layout
from app.sync.estimation.depth_start import read_by_columns
from app.sync.estimation.evenness import RoundResult
from app.sync.planning.advice import Advice, AdviceKind, AdviceReason
from app.sync.planning.one_word import GOOD, OPEN_TO_DOUBT, as_said
from app.sync.planning.planner import next_move
from app.sync.readings.carried import alike_read, like_read, with_scales

_next_move = lru_cache(maxsize=128)(next_move)
"""The same facts are judged several times for one page: by the phase that is open, by the card, by what is missing."""

Values = tuple[tuple[int, float], ...]
"""By bore."""

SURELY_CHANGED = 2.6
"""Standard deviations from which a change of the banks at idle is more than chance: one engine in a hundred is told so
in vain (our judgement)."""


@lru_cache(maxsize=128)
def _balance(
    layout: Layout, hardware: Hardware, idle: Values, read: tuple[tuple[float, bool, Values], ...], meter: Meter,
    free_play_proven: bool, joints_tight: bool, idle_times: int, both_hands: bool, gauged_ratio: float | None,
    engine: IdleFlowModel,
) -> BankAssessment:  # fmt: skip
    openings = [Opening(lever, dict(values), from_above=above) for lever, above, values in read]
    return balance(
        layout,
        hardware,
        dict(idle),
        openings,
        meter,
        free_play_proven=free_play_proven,
        joints_tight=joints_tight,
        idle_times=idle_times,
        both_hands=both_hands,
        gauged_ratio=gauged_ratio,
        engine=engine,
    )


def next_of(record: VisitRecord, phase: Phase, until: Round | None = None) -> Advice | None:
    """The one next move of a phase that is read at idle, as of the round ``until`` or of now; None in the others."""
    if phase.rounds == "coarse":
        return _coarse(record, phase)
    if phase.rounds not in ("fine", "last"):
        return None
    stands = newest_evenness(record, phase, until)
    advice = _next_move(
        record.layout,
        record.hardware,
        record.meter_as_read(),
        tuple(record.events(until, frozenset(r.row.ident for r in record.rounds if round_ran_out(record, r)))),
        record.engine.idle_speed,
        tuple(record.settings.blades),
        record.settings.window(phase.slug),
        record.engine.displacement,
        start_of(record),
        stands.decision if stands is not None else None,
        suspect_of(record) if phase.rounds == "fine" else None,
    )
    skipped = [b for b in advice.bores if record.rounds and b in record.rounds[-1].skipped]
    if advice.kind is AdviceKind.MEASURE and skipped == list(advice.bores):
        return Advice(AdviceKind.CANNOT, AdviceReason.SKIPPED, about=tuple(skipped))
    return advice


def said_of(record: VisitRecord, one: Round, window: float) -> RoundResult:
    """How even the bores stand as of a round, by a window given as a fraction of the mean, as it is said.

    Where plates may be moved a good word waits until the adviser is done.
    """
    found = evenness_of(record, one, window)
    if found.verdict not in OPEN_TO_DOUBT or one.row.phase != HEAT_SOAKED.slug or one.row.opening:
        return found
    if record.moved_since(one, at_idle=True):
        return found
    advice = next_of(record, HEAT_SOAKED, one)
    return found if advice is None or advice.kind is AdviceKind.DONE else as_said(found, advice)


def balance_of(record: VisitRecord) -> BankAssessment | None:
    """How the banks stand off idle; None with one bank or before an idle round and an opening were read."""
    idle = record.as_left() or next((r for r in reversed(record.rounds) if r.closed and r.row.opening == 0), None)
    if len(record.layout.banks) < 2 or idle is None:
        return None
    mine = [r for r in record.rounds if r.row.phase == BANK_BALANCE.slug]
    ways = [(above, opening_rounds(record, mine, above)) for above in (False, True)]
    rounds = [
        (opening, above, found[opening])
        for opening in sorted({opening for _, found in ways for opening in found if opening > 0})
        for above, found in ways
        if opening in found
    ]
    if not rounds:
        return None
    at_idle, opened, apart = like_read(readings_of(record, idle), [one.in_base_units for _, _, one in rounds])
    read = tuple((opening, above, those) for (opening, above, _), those in zip(rounds, opened, strict=True))
    felt = {item for phase, item in record.checks if phase == BANK_BALANCE.slug}
    return _balance(
        record.layout,
        record.hardware,
        tuple((bore, fmean(values)) for bore, values in at_idle.items()),
        read,
        with_scales(record.meter_as_read(), apart),
        "free-play" in felt,
        "joints-tight" in felt,
        1 if apart else min((len(values) for values in at_idle.values()), default=1),
        rods_are_turnbuckles(record),
        _gauged_ratio(record),
        read_by_columns(start_of(record), record.meter_as_read(), record.events()).engine,
    )


def rods_are_turnbuckles(record: VisitRecord) -> bool:
    """Whether the rods have a thread at either end, one of them left-handed, as was recorded."""
    return (BANK_BALANCE.slug, "both-hands") in record.checks


def _gauged_ratio(record: VisitRecord) -> float | None:
    """How much further the second bank's shaft turns than the first's, as a fraction; None until both were gauged."""
    gauged = [record.checks.get((BANK_BALANCE.slug, f"gauged-{which}")) for which in ("first", "second")]
    first, second = (check.number if check is not None else None for check in gauged)
    return second / first - 1 if first and second else None


def balanced(record: VisitRecord, found: BankAssessment) -> bool:
    """Whether the banks stand close enough at every opening read, or nothing speaks against the link rods.

    Never where columns came to zero at an opening and another one is to be read in its place.
    """
    if found.extra in (Extra.SMALLER_OPENING, Extra.FLOW_METER):
        return False
    off_idle = [d for d in found.differences if d.lever_travel > 0]
    return found.cause is Cause.NOTHING or all(abs(d.percent) <= 100 * record.settings.bank_window for d in off_idle)


def held_off(record: VisitRecord) -> str:
    """The bank that a link rod turned too far holds off its stop; empty when idle is as it was before, or was not read.

    Told from the ratio of the banks' means at idle, before the link rod was turned and after, where it changed by more
    than the shop allows and by more than the readings leave open.
    """
    mine = [r for r in record.rounds if r.row.phase == BANK_BALANCE.slug]
    before, after = accepted_round(record, HEAT_SOAKED), opening_rounds(record, mine).get(0.0)
    if before is None or after is None or len(record.layout.banks) < 2:
        return ""
    first_read, second_read, differ = alike_read(readings_of(record, before), readings_of(record, after))
    then, now = (
        {bore: fmean(one.value for one in those) for bore, those in read.items()} for read in (first_read, second_read)
    )
    meter, plenum = with_scales(record.meter_as_read(), max(differ.values(), default=0.0)), record.layout.plenum
    first, second = (bank_change(bank.bores, now, then, meter, plenum) for bank in record.layout.banks)
    if first is None or second is None:
        return ""
    change = second.change - first.change
    if abs(change) <= max(record.settings.idle_bank_window, SURELY_CHANGED * math.hypot(first.sd, second.sd)):
        return ""
    return record.layout.banks[change > 0].name


def needs_preset(record: VisitRecord) -> bool:
    """Whether this visit starts cold: an engine's first one, and after other hardware was fitted, unless it runs."""
    return record.fitted_before != record.fitting.ident and record.visit.runs != Runs.RUNS


def visit_parts(record: VisitRecord) -> frozenset[Part]:
    """The parts of the engine of a visit, ``fresh`` among them where it never ran before."""
    parts = parts_of(record.layout)
    return parts | {"fresh"} if record.visit.runs == Runs.FRESH and needs_preset(record) else parts


def accepted_round(record: VisitRecord, phase: Phase) -> Round | None:
    """The closed round that speaks for a phase: its last one, with no plate moved since. A coarse one only looked."""
    mine = [r for r in record.rounds if r.row.phase == phase.slug and r.closed and not r.in_question]
    if phase.rounds == "fine":
        mine = [r for r in mine if not record.moved_since(r, at_idle=True)]
    elif phase.rounds == "last":
        mine = [r for r in mine if not record.moved_since(r)]
    return mine[-1] if mine else None


READ_AGAIN = (AdviceReason.MISREAD, AdviceReason.DISAGREE)
"""Why a bore is read again whatever its reading is taken for: at lock-down a plate that slipped reads like that too."""


def passes(record: VisitRecord, phase: Phase, one: Round) -> bool:
    """Whether a closed round passes: even, as even as the meter shows, or as even as feelers and screws can set it."""
    if said_of(record, one, record.settings.window(phase.slug)).verdict in GOOD:
        return True
    advice = next_of(record, phase, one)
    if advice is not None and advice.kind is AdviceKind.DONE:
        return True
    if phase.rounds != "last" or (advice is not None and advice.why in READ_AGAIN):
        return False
    return not to_reread(record) and unmoved_since_accepted(record)


def unmoved_since_accepted(record: VisitRecord) -> bool:
    """Whether the engine passed hot and stands at lock-down as it stood then, as far as the readings tell."""
    accepted = accepted_round(record, HEAT_SOAKED)
    return accepted is not None and passes(record, HEAT_SOAKED, accepted) and stands_as_before(record) is True


def _coarse(record: VisitRecord, phase: Phase) -> Advice | None:
    one = accepted_round(record, phase)
    if one is None:
        return None
    stopped = any(m.phase == phase.slug and m.kind == "stop" for m in record.moves)
    found = evenness_of(record, one, record.settings.window(phase.slug))
    low = min(found.bank_shares, key=lambda name: found.bank_shares[name])
    if stopped or len(found.bank_shares) < 2 or found.bank_shares[low] >= -record.settings.coarse_window / 2:
        return Advice(AdviceKind.DONE, AdviceReason.COARSE)
    bores = record.layout.bank(low).bores
    return Advice(AdviceKind.STOP, AdviceReason.COARSE_BANK, bank=low, turns=0.125, bores=bores)
