"""Readings with nothing moved between them that cannot all be right."""

from collections.abc import Sequence

from app.sync.engine.events import Meter, Reading
from app.sync.engine.layout import Layout
from app.sync.planning.advice import Advice, AdviceKind, AdviceReason
from app.sync.readings.observation import far_from_others
from app.sync.readings.repeat_checks import as_read, at_idle, inconsistent


def to_read_again(layout: Layout, meter: Meter, since: Sequence[Reading]) -> Advice | None:
    """To read a bore again whose readings cannot all be right, before any is taken in; None where all can.

    Parameters: ``layout`` of the engine; ``meter`` read with; ``since`` the last move, oldest first.
    """
    taken = {bore: [e for e in since if e.bore == bore] for bore in layout.bores}
    by_bore = {bore: [e.value for e in readings] for bore, readings in taken.items()}
    for bore, values in by_bore.items():
        if len(values) < 2:
            continue
        repeats = at_idle(as_read(meter, taken[bore]), values[0])
        if inconsistent(values, repeats):
            return Advice(AdviceKind.MEASURE, AdviceReason.DISAGREE, bores=(bore,))
    odd = far_from_others({bore: values[0] for bore, values in by_bore.items() if values}, meter)
    once = tuple(bore for bore in layout.bores if bore in odd and len(by_bore[bore]) == 1)
    return Advice(AdviceKind.MEASURE, AdviceReason.MISREAD, bores=once) if once else None
