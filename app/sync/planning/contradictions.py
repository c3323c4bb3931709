"""Readings that cannot be right: by one another, or by everything else that was read and moved."""

from collections.abc import Sequence

from app.sync.engine.events import Meter, Reading
from app.sync.engine.layout import Layout
from app.sync.planning.advice import Advice, AdviceKind, AdviceReason
from app.sync.readings.observation import far_from_others
from app.sync.readings.repeat_checks import as_read, at_idle, inconsistent


def to_read_again(
    layout: Layout, meter: Meter, since: Sequence[Reading], before: Sequence[Reading] = ()
) -> Advice | None:
    """To read a bore again whose readings cannot all be right, before any is taken in; None where all can.

    A bore not read yet since the last move stands for the others with what it read last. One that stood far from them
    by then is not asked again.

    Parameters: ``layout`` of the engine; ``meter`` read with; ``since`` the last move, oldest first; ``before`` it, all
    that was read.
    """
    taken = {bore: [e for e in since if e.bore == bore] for bore in layout.bores}
    by_bore = {bore: [e.value for e in readings] for bore, readings in taken.items()}
    for bore, values in by_bore.items():
        if len(values) < 2:
            continue
        repeats = at_idle(as_read(meter, taken[bore]), values[0])
        if inconsistent(values, repeats):
            return Advice(AdviceKind.MEASURE, AdviceReason.DISAGREE, bores=(bore,))
    stood = {one.bore: one.value for one in before}
    now = stood | {bore: values[0] for bore, values in by_bore.items() if values}
    if odd := far_from_others(now, meter):
        odd -= far_from_others(stood, meter)
    once = tuple(bore for bore in layout.bores if bore in odd and len(by_bore[bore]) == 1)
    return Advice(AdviceKind.MEASURE, AdviceReason.MISREAD, bores=once) if once else None


def nothing_helps(outside: Sequence[int], told: Sequence[int]) -> Advice:
    """That no adjustment brings the bores ``outside`` nearer; but first to read again one that a single reading says so
    of: where no move pays, everything else speaks against that reading.

    Parameters: ``outside`` by the verdict, at least one; ``told``, the bore of every reading that tells how it stands.

    >>> nothing_helps([3, 5], [1, 2, 3, 3, 4, 5]).bores, nothing_helps([3], [1, 2, 3, 3]).about
    ((5,), (3,))
    """
    once = [bore for bore in outside if told.count(bore) < 2]
    if once:
        return Advice(AdviceKind.MEASURE, AdviceReason.DOUBTFUL, bores=(once[0],))
    return Advice(AdviceKind.CANNOT, AdviceReason.NOTHING_HELPS, about=tuple(outside))
