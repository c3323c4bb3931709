"""Trade units as multiples of the base units used inside: multiply on the way in, divide on the way out.

The inch, the international pound-force and the conventional millimeter of mercury are exact by definition (NIST SP 811,
appendix B); the inch of mercury is the conventional one at 0 degrees Celsius.
"""

import math

MM = 1e-3
INCH = 25.4e-3
THOU = INCH / 1000
LITER = 1e-3
CUBIC_INCH = INCH**3
KG_PER_HOUR = 1 / 3600
CFM = INCH**3 * 1728 / 60 * 1.2041
"""Cubic feet a minute as a mass flow, of dry air at 20 degrees Celsius and 101.325 kPa: 1.2041 kg/m3 by the gas law
with a molar mass of 28.965 g/mol."""
SCFM = INCH**3 * 1728 / 60 * 1.225
"""Standard cubic feet a minute as a mass flow, of dry air at 15 degrees Celsius and 101.325 kPa: 1.225 kg/m3, as in
ISO 2533."""
LITER_PER_MINUTE = LITER / 60 * 1.2041
"""Liters a minute as a mass flow, of the same air as ``CFM``."""
GRAM_PER_SECOND = 1e-3
KPA = 1e3
MM_HG = 133.322387415
CM_HG = 10 * MM_HG
IN_HG = 25.4 * MM_HG
PSI = 6894.757293168
BAR = 1e5
MILLIBAR = 100.0
REV_PER_MIN = 1 / 60
DEGREE = math.pi / 180
MINUTE = 60.0
ZERO_CELSIUS = 273.15

FLOW_UNITS = {  # by definition
    "kg/h": KG_PER_HOUR,
    "g/s": GRAM_PER_SECOND,
    "cfm": CFM,
    "scfm": SCFM,
    "L/min": LITER_PER_MINUTE,
}
"""What an air-flow meter may read in."""

PRESSURE_UNITS = {"kPa": KPA, "mbar": MILLIBAR, "mmHg": MM_HG, "cmHg": CM_HG, "inHg": IN_HG}  # by definition
"""What a vacuum gauge may read in."""
