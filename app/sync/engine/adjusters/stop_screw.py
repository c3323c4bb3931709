"""The stop screw: it turns every plate of its bank by an angle that follows from its thread and lever."""

from app.sync.engine.adjusters.kind import AdjusterKind
from app.sync.engine.events import Move, Place, StopTurn
from app.sync.engine.hardware import Hardware
from app.sync.engine.layout import Adjuster, Layout, StopScrew
from app.sync.engine.linkage import stop_rotation


class StopScrewKind(AdjusterKind):
    """Positive is in, which opens the bank [turns]."""

    slug = "stop"
    sits = "bank"
    effect = "turns a bank"

    def adjusters(self, layout: Layout) -> tuple[Adjuster, ...]:
        """As in ``AdjusterKind``: one a bank."""
        return tuple(StopScrew(bank.name) for bank in layout.banks)

    def may_be(self, adjuster: Adjuster) -> bool:
        """As in ``AdjusterKind``."""
        return isinstance(adjuster, StopScrew)

    def reach(self, layout: Layout, adjuster: Adjuster) -> tuple[int, ...]:
        """As in ``AdjusterKind``: its whole bank."""
        return layout.bank(self.place(adjuster).bank).bores

    def adjuster(self, place: Place) -> Adjuster:
        """As in ``AdjusterKind``."""
        return StopScrew(place.bank)

    def place(self, adjuster: Adjuster) -> Place:
        """As in ``AdjusterKind``."""
        assert isinstance(adjuster, StopScrew)
        return Place(adjuster.bank)

    def move(self, place: Place, amount: float, leaves: tuple[float, ...] = (), at: float = 0.0) -> Move:
        """As in ``AdjusterKind``."""
        return StopTurn(place.bank, amount, at)

    def gap_per_unit(self, layout: Layout, hardware: Hardware, adjuster: Adjuster, rate: float) -> float:
        """As in ``AdjusterKind``."""
        return stop_rotation(1.0, hardware) * rate
