"""Air: its flow through an opening, and the pressure of the standard atmosphere.

Dry air as an ideal gas with constant heat capacities is within 0.07 % of real air at shop conditions (compared with a
reference equation of state), so nothing here goes further than that.
"""

import math

GAMMA = 1.4  # two-atom gas, any gas dynamics text
GAS_CONSTANT = 287.05  # dry air [J/(kg K)], published in ISO 2533:1975, rounded
ATMOSPHERE = 101325.0  # standard pressure [Pa], by definition in ISO 2533
SHOP_TEMPERATURE = 293.15  # 20 degrees Celsius [K] (our judgement)


def critical_ratio(gamma: float = GAMMA) -> float:
    """Downstream over upstream pressure below which the flow is choked.

    ``(2 / (gamma + 1)) ** (gamma / (gamma - 1))``

    Parameters: ``gamma`` ratio of heat capacities, above 1.

    Source: isentropic flow, any gas dynamics text.

    >>> round(critical_ratio(), 4)
    0.5283
    """
    return float((2 / (gamma + 1)) ** (gamma / (gamma - 1)))


def flow_function(ratio: float, gamma: float = GAMMA) -> float:
    """Mass flow through an opening in dimensionless form: ``flow sqrt(R T) / (area upstream pressure)``.

    Grows as the ratio falls from 1, and stays at its largest value once the flow is choked. Its slope at 1 is
    infinite; it is not straightened there.

    Parameters: ``ratio`` downstream over upstream pressure, 0 to 1; ``gamma`` ratio of heat capacities, above 1. Raises
    ValueError outside.

    Source: isentropic flow, any gas dynamics text.

    >>> round(flow_function(0.5), 4), round(flow_function(0.9395), 4), flow_function(1.0)
    (0.6847, 0.3364, 0.0)
    """
    if not 0 <= ratio <= 1:
        raise ValueError("Air flows from the higher pressure to the lower: a ratio lies between 0 and 1.")
    throat = max(ratio, critical_ratio(gamma))
    return math.sqrt(2 * gamma / (gamma - 1) * max(throat ** (2 / gamma) - throat ** ((gamma + 1) / gamma), 0.0))


def standard_pressure(altitude: float) -> float:
    """Pressure of the standard atmosphere [Pa], for a shop without a barometer.

    Parameters: ``altitude`` geopotential [m], -2000 to 11000. Weather moves the true pressure by about 3 %. Raises
    ValueError outside.

    Source: ISO 2533, US Standard Atmosphere 1976.

    >>> round(standard_pressure(1000))
    89875
    """
    if not -2000 <= altitude <= 11000:
        raise ValueError("The lowest layer of the standard atmosphere reaches from -2000 m to 11000 m.")
    lapse, sea_level = 6.5e-3, 288.15
    return float(ATMOSPHERE * (1 - lapse * altitude / sea_level) ** (9.80665 / (287.05287 * lapse)))


def pressure_sensitivity(ratio: float, gamma: float = GAMMA) -> float:
    """Per cent of flow for one per cent of pressure ratio: ``d ln(flow function) / d ln(ratio)``, 0 when choked.

    Parameters: ``ratio`` downstream over upstream pressure, above 0 and below 1; ``gamma`` ratio of heat capacities.

    Source: derivative of ``flow_function``.

    >>> round(pressure_sensitivity(0.674), 2), pressure_sensitivity(0.4)
    (-0.48, 0.0)
    """
    if not 0 < ratio < 1:
        raise ValueError("The sensitivity is defined between no downstream pressure and equal pressures.")
    if ratio <= critical_ratio(gamma):
        return 0.0
    rise = ratio ** ((gamma - 1) / gamma)
    return float((2 - (gamma + 1) * rise) / (2 * gamma * (1 - rise)))
