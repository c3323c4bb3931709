"""The bypass screw: it lets air past one plate and turns none."""

from app.sync.engine.adjusters.kind import ScrewWithGain, ToldBy
from app.sync.engine.events import BypassTurn, Move, Place
from app.sync.engine.hardware import Hardware
from app.sync.engine.layout import Adjuster, Bypass, Layout

BYPASS_AREA = 0.5e-6
"""Area that one turn of a bypass screw opens [m2]: about one twentieth of what a bore draws at idle (this program's
choice; learned from the readings after it was turned) (our judgement)."""

BYPASS_BASE = 1.5
"""Turns that every bypass screw stands out from its seat after the preset (our judgement)."""

BYPASS_MOST = 4.0
"""Turns out of its seat beyond which a bypass screw is taken to do nothing more (our judgement)."""


class BypassScrewKind(ScrewWithGain):
    """Positive is out, which lets more air past its plate [turns]."""

    slug = "bypass"
    further = False
    positive = "out"
    most = 10.0
    effect = "lets air past"
    step = 1 / 8  # about half a per cent of a bore's air
    common_sd, own_sd = 0.40, 0.15  # our judgement
    preset, travel = BYPASS_BASE, BYPASS_MOST
    slip_share = 0.5  # dirt and leaks of its bore included (our judgement)
    told_apart_by = ToldBy.BYPASS_COUNT

    def adjusters(self, layout: Layout) -> tuple[Adjuster, ...]:
        """As in ``AdjusterKind``."""
        return layout.bypass_screws

    def may_be(self, adjuster: Adjuster) -> bool:
        """As in ``AdjusterKind``."""
        return isinstance(adjuster, Bypass)

    def adjuster(self, place: Place) -> Adjuster:
        """As in ``AdjusterKind``."""
        return Bypass(place.near or 0)

    def place(self, adjuster: Adjuster) -> Place:
        """As in ``AdjusterKind``."""
        assert isinstance(adjuster, Bypass)
        return Place(near=adjuster.bore)

    def move(self, place: Place, amount: float, leaves: tuple[float, ...] = (), at: float = 0.0) -> Move:
        """As in ``AdjusterKind``."""
        return BypassTurn(place.near or 0, amount, at)

    def size(self, hardware: Hardware) -> float:
        """As in ``ScrewWithGain``."""
        return BYPASS_AREA
