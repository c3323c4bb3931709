"""Setting every plate of the cold engine on one feeler, in words: the offer with its reason, and each plate's step."""

from collections.abc import Sequence

from app.shop.assessment.cold_setting import ColdStep, ColdWork
from app.shop.record.measures import Units
from app.sync.engine.layout import Coupler, Layout
from app.sync.planning.cold_setting import Foreseen
from app.wording.message import Message, say
from app.wording.quantities import feeler
from app.wording.work.adjusters import COUPLER

OFFER = Message(
    "Cold setting, optional: about {cold}\u00a0min cold, saves about {saved}\u00a0min hot.",
    note="minutes of work, calculated for this engine",
)
OFFER_PAYS_NOT = Message("Cold setting, optional: about {cold}\u00a0min cold, saves only {saved}\u00a0min hot.")
BEGUN = Message("{done} of {count} plates set on the {feeler} feeler.", note="how far the cold setting is")
ALL_SET = Message("All {count} plates set on the {feeler} feeler.")

PAYS = Message("For this engine it pays.")
PAYS_NOT = Message(
    "For this engine it does not pay in minutes. It pays where 1\u00a0min of the hot engine is worth more than "
    "{ratio}\u00a0min cold, or where the first start must not fail."
)
SAVES_NOTHING = Message("For this engine it does not pay.")
SLOW_START = Message(
    "First idle below three quarters of the wanted speed: {without} in 100 after the preset turns, {with_it} in 100 "
    "with all plates set."
)

BY_STOP = Message(
    "Hold the {feeler} feeler at the edge of plate {bore}. Turn {screw} until the feeler just drags.",
    note="screw: the stop screw, or stop screw A",
)
BY_FEELER_COUPLER = Message(
    "Loosen coupler {near}–{far}. Close plate {bore} on the {feeler} feeler until it just drags. Tighten the coupler.",
)
BY_COUPLER_SCREW = Message(
    "Hold the {feeler} feeler at the edge of plate {bore}. Turn the screw of coupler {near}–{far} until the feeler "
    "just drags."
)
CHECK = Message(
    "Remove the feeler and check: light shows evenly along the edge, or a second feeler of that size drags as much."
)
STOP, ONE_STOP = Message("Stop screw {bank}"), Message("Stop screw")
STOP_CALLED = Message("stop screw {bank}")
ONE_STOP_CALLED = Message("the stop screw")

SET_COLD = Message(
    "Plate {bores} set cold on the {feeler} feeler.", many="Plates {bores} set cold on the {feeler} feeler."
)
SET_COLD_GAUGED = Message(
    "Plate {bores} set cold on the {feeler} feeler by a gauged hand.",
    many="Plates {bores} set cold on the {feeler} feeler by a gauged hand.",
)


def standing(work: ColdWork, units: Units) -> str:
    """How far the plates are set; what is offered where none is."""
    count, done = len(work.steps), sum(step.stands for step in work.steps)
    on = feeler(sum(work.leaves), units)
    if not work.begun:
        found = work.foreseen
        message = OFFER if found.pays else OFFER_PAYS_NOT
        return say(message, cold=round(found.cold_minutes), saved=round(found.saved))
    return say(ALL_SET, count=count, feeler=on) if work.next is None else say(BEGUN, done=done, count=count, feeler=on)


def reasons(found: Foreseen) -> tuple[str, ...]:
    """Whether it pays, and what it does to the first start."""
    if found.pays:
        said = [say(PAYS)]
    elif round(found.saved) < 1:
        said = [say(SAVES_NOTHING)]
    else:
        said = [say(PAYS_NOT, ratio=f"{found.cold_minutes / found.saved:.1f}")]
    slow = round(100 * found.stalls_without), round(100 * found.stalls_with_it)
    if slow[0] > slow[1]:
        said.append(say(SLOW_START, without=slow[0], with_it=slow[1]))
    return tuple(said)


def set_by(step: ColdStep, layout: Layout) -> str:
    """What a plate is set by, as a name: `Stop screw A`, `Coupler 2–3`."""
    adjuster = step.adjuster
    if isinstance(adjuster, Coupler):
        return say(COUPLER, near=adjuster.near, far=adjuster.far)
    return say(STOP if len(layout.banks) > 1 else ONE_STOP, bank=layout.bank_of(step.bore).name)


def how(step: ColdStep, layout: Layout, size: float, units: Units) -> str:
    """How a plate is set on a feeler of that size [m]."""
    on, adjuster = feeler(size, units), step.adjuster
    if isinstance(adjuster, Coupler):
        message = BY_COUPLER_SCREW if layout.by_screw(adjuster) else BY_FEELER_COUPLER
        return say(message, bore=step.bore, near=adjuster.near, far=adjuster.far, feeler=on)
    screw = STOP_CALLED if len(layout.banks) > 1 else ONE_STOP_CALLED
    return say(BY_STOP, bore=step.bore, feeler=on, screw=say(screw, bank=layout.bank_of(step.bore).name))


def set_cold(bores: Sequence[int], size: float, gauged: bool, units: Units) -> str:
    """Plates that were set on a feeler of that size [m], as a sentence."""
    message = SET_COLD_GAUGED if gauged else SET_COLD
    return say(message, count=len(bores), bores=" ".join(map(str, sorted(bores))), feeler=feeler(size, units))
