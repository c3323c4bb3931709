"""Units of findings, by their definitions: NIST Special Publication 811, appendix B."""

import pytest

from app.shop.cross_check.units import takes_words, units_of, weighed
from app.sync.diagnosis.measurements import FindingKind


@pytest.mark.parametrize(
    ("kind", "value", "unit", "expected"),
    [
        (FindingKind.HEAT, 212.0, "°F", 100.0),
        (FindingKind.HEAT, 32.0, "°F", 0.0),
        (FindingKind.HEAT, 32.0, "°C", 32.0),
        (FindingKind.LASH, 1.0, "in", 25.4),
        (FindingKind.LASH, 4.0, "thou", 0.1016),
        (FindingKind.LASH, 0.25, "mm", 0.25),
        (FindingKind.COMPRESSION, 1.0, "psi", 6.894757),
        (FindingKind.COMPRESSION, 2.0, "bar", 200.0),
        (FindingKind.VACUUM, 1.0, "inHg", 3.386389),
        (FindingKind.VACUUM, 100.0, "mbar", 10.0),
        (FindingKind.AIR, 2.0, "g/s", 7.2),
        (FindingKind.AIR, 2.0, "kg/h", 2.0),
        (FindingKind.DROP, 50.0, "rev/min", 50.0),
    ],
)
def test_a_figure_is_weighed_in_the_unit_of_the_catalogue(
    kind: FindingKind, value: float, unit: str, expected: float
) -> None:
    assert weighed(kind, value, unit) == pytest.approx(expected, rel=1e-6)


def test_a_unit_that_a_measurement_has_not_is_none_of_its() -> None:
    assert list(units_of(FindingKind.HEAT)) == ["°C", "°F"]
    assert list(units_of(FindingKind.MIXTURE)) == ["lambda"]
    with pytest.raises(KeyError):
        weighed(FindingKind.HEAT, 1.0, "psi")


def test_what_is_seen_takes_a_word() -> None:
    assert takes_words(FindingKind.SPRAY)
    assert not takes_words(FindingKind.HEAT)
