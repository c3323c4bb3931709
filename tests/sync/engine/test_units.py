"""Trade units against their definitions."""

import math

import pytest

from app.sync.engine import units


@pytest.mark.parametrize(
    ("unit", "definition"),
    [
        # NIST SP 811, appendix B: exact or as printed there.
        (units.INCH, 0.0254),
        (units.THOU, 2.54e-5),
        (units.CUBIC_INCH, 1.6387064e-5),
        (units.LITER, 1e-3),
        (units.MM_HG, 133.3224),
        (units.IN_HG, 3386.389),
        (units.CM_HG, 1333.224),
        (units.MILLIBAR, 100.0),
        (units.KPA, 1000.0),
        (units.DEGREE, 0.01745329),
        (units.ZERO_CELSIUS, 273.15),
        (units.KG_PER_HOUR, 2.777778e-4),
        (units.GRAM_PER_SECOND, 1e-3),
        (units.REV_PER_MIN, 1 / 60),
    ],
)
def test_a_unit_is_what_it_is_defined_as(unit: float, definition: float) -> None:
    assert unit == pytest.approx(definition, rel=3e-7)


@pytest.mark.parametrize(
    ("amount", "elsewhere"),
    [
        (units.GRAM_PER_SECOND / units.KG_PER_HOUR, 3.6),
        (units.KPA / units.MM_HG, 7.500616),  # conventional millimeter of mercury
        # By hand: a cubic foot is 28.3168466 L; air at sea level is 1.225 kg/m3 at 15 degrees (ISO 2533), and at 20
        # degrees 288.15 / 293.15 of it, 1.2041.
        (units.SCFM / units.KG_PER_HOUR, 28.3168466 * 60 / 1000 * 1.225),
        (units.CFM / units.LITER_PER_MINUTE, 28.3168466),
        (units.LITER_PER_MINUTE / units.KG_PER_HOUR, 60 / 1000 * 1.2041),
        (360 * units.DEGREE, 2 * math.pi),
        (582 * units.CUBIC_INCH / units.LITER, 9.537270),  # by hand: 582 x 16.387064 cm3
    ],
)
def test_units_agree_with_one_another(amount: float, elsewhere: float) -> None:
    assert amount == pytest.approx(elsewhere, rel=1e-6)


@pytest.mark.parametrize(
    ("unit", "cubic_meters", "density"),
    [
        (units.CFM, 0.0283168466, 1.204557),
        (units.SCFM, 0.0283168466, 1.225521),
        (units.LITER_PER_MINUTE, 1e-3, 1.204557),
    ],
)
def test_the_air_of_a_volume_weighs_what_the_metrologists_say(unit: float, cubic_meters: float, density: float) -> None:
    """Dry air at 20 and 15 degrees by CIPM-2007 (Picard and others, Metrologia 45, 2008, 149-155), recomputed from its
    coefficients; two libraries agree with them to 4e-5 (CoolProp 8.0.0) and 4e-4 (PsychroLib 2.5.0, an ideal gas)."""
    assert unit * 60 / cubic_meters == pytest.approx(density, rel=5e-4)
