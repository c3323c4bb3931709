"""Quantities as a person reads them: figures with their units, lists of bores, amounts of turns and flats.

Nothing else formats a quantity. A figure and its unit are joined by a no-break space, a minus is U+2212. What a meter
shows is in the meter's unit and steps; everything else is in the units that the shop chose.
"""

import math
from collections.abc import Sequence
from dataclasses import dataclass
from fractions import Fraction
from functools import lru_cache

from app.shop.record.entries import MeterEntry
from app.shop.record.measures import Quantity, Units
from app.shop.record.rounds import UNITS
from app.sync.engine.units import INCH, MM, THOU
from app.wording.message import Message, say

NBSP = "\u00a0"
QUARTERS = {0.25: "¼", 0.5: "½", 0.75: "¾"}


BORES = Message("bore {bores}", many="bores {bores}", note="in the middle of a sentence")
PAIR = Message("{first} and {last}", note="two things, or a list of several and the last one")
SEPARATOR = Message(", ", context="between the things of a list")
TURNS = Message("{figure}\u00a0turn", many="{figure}\u00a0turns")
FLATS = Message("{figure}\u00a0flat", many="{figure}\u00a0flats")
IN_INCHES = Message("{figure}\u00a0in", context="inch")
IN_MILLIMETERS = Message("{figure}\u00a0mm")
FROM_OPEN = Message("{opening}, from open", note="the central lever was opened further first, then closed onto it")
PERCENT = Message("{figure}\u00a0%")


def with_unit(figure: str, unit: str) -> str:
    """A figure and its unit, which no line break parts.

    >>> with_unit("6.50", "kg/h")
    '6.50\\xa0kg/h'
    """
    return f"{figure}{NBSP}{unit}"


def signed(value: float, decimals: int) -> str:
    """A change with its sign, a minus as wide as the plus; what shows as nothing has none.

    Parameters: ``value`` in any unit; ``decimals`` to show.

    >>> signed(0.64, 1), signed(-0.64, 1), signed(-0.04, 1)
    ('+0.6', '−0.6', '0.0')
    """
    size = f"{abs(value):.{decimals}f}"
    if not float(size):
        return size
    return f"{'+' if value > 0 else '−'}{size}"


def known(value: float, sd: float, most: int) -> str:
    """The size of a figure in as many places as its standard deviation leaves, the last one being that of its first
    digit; tens or hundreds where that is all.

    Parameters: ``value`` of either sign; ``sd`` in the same unit; ``most`` decimals to show.

    Source: JCGM 100:2008, 7.2.6, gives an uncertainty two digits at most and a figure no more places than it; one digit
    is our judgement, for figures that are read beside an engine.

    >>> known(-21.3, 3.2, 1), known(1.53, 0.6, 2), known(21.3, 12.0, 1), known(0.9, 12.0, 1)
    ('21', '1.5', '20', '0')
    """
    place = most if sd <= 0 else min(most, -math.floor(math.log10(sd)))
    return f"{abs(round(value, place)):.{max(place, 0)}f}"


def percent_known(fraction: float, sd: float) -> str:
    """The size of a fraction in per cent, in whole ones or in tens as its standard deviation leaves.

    Parameters: ``fraction``, of either sign; ``sd`` of it.

    >>> percent_known(-0.163, 0.03), percent_known(0.163, 0.13)
    ('16\\xa0%', '20\\xa0%')
    """
    return say(PERCENT, figure=known(100 * fraction, 100 * sd, 0))


def percent_allowed(window: float) -> str:
    """A tolerance in per cent of the average, in as many digits as the shop set it.

    Parameters: ``window``, a fraction.

    >>> percent_allowed(0.08), percent_allowed(0.075)
    ('8\\xa0%', '7.5\\xa0%')
    """
    return say(PERCENT, figure=f"{100 * window:g}")


def percent(fraction: float, decimals: int = 0) -> str:
    """The size of a fraction in per cent.

    Parameters: ``fraction``, of either sign; ``decimals`` to show.

    >>> percent(-0.163)
    '16\\xa0%'
    """
    return say(PERCENT, figure=f"{abs(100 * fraction):.{decimals}f}")


@dataclass(frozen=True, slots=True)
class Unit:
    """The unit a meter shows: its name, its size in base units, the places its step has, and the step itself."""

    name: str
    size: float
    decimals: int
    step: float = 0.0

    def show(self, value: float) -> str:
        """A value in base units as the meter would show it."""
        return f"{value / self.size:.{self.decimals}f}"

    def change(self, value: float) -> str:
        """A difference in base units with its sign."""
        return signed(value / self.size, self.decimals)

    def apart(self, value: float, mean: float) -> str:
        """How far one shown figure is from another, so that the three add up by eye; both in base units.

        >>> Unit("kg/h", 1.0, 2).apart(6.004, 5.306)
        '+0.69'
        """
        return signed(float(self.show(value)) - float(self.show(mean)), self.decimals)

    def nearest(self, value: float) -> str:
        """A value in base units to the nearest step that the meter can show."""
        step = self.step * self.size
        return self.show(round(value / step) * step if step else value)


@lru_cache(maxsize=64)
def unit_of(meter: MeterEntry) -> Unit:
    """The unit a meter reads in, with as many places as its step has."""
    return unit_named(meter.unit, meter.step, meter.unit_name)


def unit_named(name: str, step: float, shown: str = "") -> Unit:
    """A unit by its name, ``shown`` otherwise or the same, with as many places as ``step`` has."""
    return Unit(shown or name, UNITS[name], places_of(step), step)


def places_of(step: float) -> int:
    """The places behind the point that a value is shown with: as many as the ``step`` of its meter has.

    >>> places_of(0.25), places_of(0.5), places_of(1.0)
    (2, 1, 0)
    """
    return len(f"{step:g}".partition(".")[2])


def measured(number: float, quantity: Quantity, units: Units) -> str:
    """A recorded figure in the shop's unit.

    Parameters: ``number`` in the unit of the records; its ``quantity``; the shop's ``units``.

    >>> measured(84.0, "temperature", Units(temperature="°F"))
    '183.2\\xa0°F'
    """
    unit = units.of(quantity)
    return with_unit(unit.shown(number), unit.name)


def fraction(amount: float) -> str:
    """Turns of a screw as a bare figure, to the nearest sixteenth.

    Parameters: ``amount`` of turns, 0 or more.

    >>> fraction(0.1875), fraction(0.5), fraction(1.25)
    ('3/16', '1/2', '1\\xa01/4')
    """
    whole, part = divmod(Fraction(round(amount * 16), 16), 1)
    said = [str(whole)] if whole or not part else []
    return NBSP.join([*said, f"{part.numerator}/{part.denominator}"] if part else said)


def turns(amount: float) -> str:
    """Turns of a screw, to the nearest sixteenth.

    Parameters: ``amount`` of turns, 0 or more.

    >>> turns(0.0625), turns(1.02), turns(1.25)
    ('1/16\\xa0turn', '1\\xa0turn', '1\\xa01/4\\xa0turns')
    """
    return say(TURNS, figure=fraction(amount), count=1 if round(amount * 16) <= 16 else 2)


def flats_in_figures(count: float) -> str:
    """Sixths of a turn of a link rod as a bare figure, to the nearest quarter.

    Parameters: ``count`` above 0.

    >>> flats_in_figures(1.5), flats_in_figures(0.5), flats_in_figures(2.0)
    ('1½', '½', '2')
    """
    whole, part = divmod(round(count * 4) / 4, 1)
    return f"{int(whole) if whole else ''}{QUARTERS.get(part, '')}"


def flats(count: float) -> str:
    """Sixths of a turn of a link rod, to the nearest quarter.

    Parameters: ``count`` above 0.

    >>> flats(1.5), flats(0.5), flats(1.0), flats(2.25)
    ('1½\\xa0flats', '½\\xa0flat', '1\\xa0flat', '2¼\\xa0flats')
    """
    return say(FLATS, figure=flats_in_figures(count), count=1 if count <= 1 else 2)


def feeler(thickness: float, units: Units) -> str:
    """A feeler's thickness, with a last place only where it needs one.

    Parameters: ``thickness`` [m]; the shop's ``units``.

    >>> feeler(3 * THOU, Units()), feeler(4.5 * THOU, Units())
    ('0.003\\xa0in', '0.0045\\xa0in')
    >>> feeler(0.1 * MM, Units(blade="mm")), feeler(3 * THOU, Units(blade="mm"))
    ('0.10\\xa0mm', '0.076\\xa0mm')
    """
    if units.metric:
        places = 2 if abs(thickness / MM * 100 - round(thickness / MM * 100)) < 0.05 else 3
        return say(IN_MILLIMETERS, figure=f"{thickness / MM:.{places}f}")
    places = 3 if abs(thickness / THOU - round(thickness / THOU)) < 0.05 else 4
    return say(IN_INCHES, figure=f"{thickness / INCH:.{places}f}")


def opening(thickness: float, from_above: bool, units: Units) -> str:
    """What holds the central lever, and whether it was approached from open.

    Parameters: ``thickness`` [m] of the feeler; ``from_above``; the shop's ``units``.

    >>> opening(30 * THOU, True, Units()), opening(30 * THOU, False, Units())
    ('0.030\\xa0in, from open', '0.030\\xa0in')
    """
    held = feeler(thickness, units)
    return say(FROM_OPEN, opening=held) if from_above else held


def listed(things: Sequence[str]) -> str:
    """Things one after another, the last one after an "and".

    Parameters: ``things``, at least one.

    >>> listed(["a"]), listed(["a", "b", "c"])
    ('a', 'a, b and c')
    """
    if len(things) == 1:
        return things[0]
    return say(PAIR, first=say(SEPARATOR).join(things[:-1]), last=things[-1])


def bore_list(bores: Sequence[int]) -> str:
    """Bores by number alone, for a sentence that has the word.

    Parameters: ``bores``, at least one.

    >>> bore_list([3]), bore_list([3, 4]), bore_list([3, 4, 8])
    ('3', '3 and 4', '3, 4 and 8')
    """
    return listed([str(bore) for bore in bores])


def named_bores(bores: Sequence[int]) -> str:
    """Bores by number, with the word before them, inside a sentence.

    Parameters: ``bores``, at least one.

    >>> named_bores([3]), named_bores([3, 4])
    ('bore 3', 'bores 3 and 4')
    """
    return say(BORES, bores=bore_list(bores), count=len(bores))
