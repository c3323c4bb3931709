"""Whether what instruments show can be: open sensors against the air, and all bores' flow against the engine's size."""

from collections.abc import Mapping
from dataclasses import dataclass

from app.sync.engine.engine_air import needed
from app.sync.engine.units import KPA

NEAR_AIR = 2 * KPA
"""How far an open sensor may be from the air pressure (our judgement)."""

FLOW_FACTOR = 2.5
"""How many times more or less than is reckoned with an engine may idle on (our judgement: the published need of engines
with one manifold goes down to 0.42 of it). Pounds for kilograms, 2.2 times, stay unseen."""


@dataclass(frozen=True, slots=True)
class OddFlow:
    """All bores' flow together, ``total``, beyond ``least`` or ``most`` [kg/s]."""

    total: float
    least: float
    most: float


def off_air(open_to: Mapping[str, tuple[bool, float]], air: float | None) -> tuple[str, ...]:
    """The sensors that do not show the open air, by name.

    Parameters: ``open_to`` by name, whether it shows pressure from nothing, else a vacuum, and its mean [Pa]; ``air``
    pressure of the day [Pa], None where it is not known: then only those that show a vacuum can be told.

    >>> off_air({"b1": (False, 2500.0), "b2": (False, -300.0), "b3": (True, 99e3)}, None)
    ('b1',)
    """
    apart = {
        name: shown - (air or 0.0) * absolute for name, (absolute, shown) in open_to.items() if air or not absolute
    }
    return tuple(sorted(name for name, off in apart.items() if abs(off) > NEAR_AIR))


def odd_flow(total: float, displacement: float, speed: float) -> OddFlow | None:
    """What speaks against all bores' flow together, None where nothing does.

    Parameters: ``total`` [kg/s]; ``displacement`` of the whole engine [m3]; ``speed`` it idles at [rev/s], above 0.

    >>> odd_flow(8.8e-3, 4e-3, 850 / 60), odd_flow(8.8e-3 * 3.6, 4e-3, 850 / 60) is None
    (None, False)
    """
    usual = needed(displacement, speed)
    least, most = usual / FLOW_FACTOR, usual * FLOW_FACTOR
    return None if least <= total <= most else OddFlow(total, least, most)
