"""The link rod: it shifts when its bank leaves the stop, and does nothing at idle."""

from app.sync.engine.adjusters.kind import AdjusterKind
from app.sync.engine.events import LinkTurn, Move, Place
from app.sync.engine.hardware import Hardware
from app.sync.engine.layout import Adjuster, Layout, Link
from app.sync.engine.linkage import link_rotation


class LinkRodKind(AdjusterKind):
    """Positive makes the bank open earlier [flats, sixths of a turn]."""

    slug = "link"
    sits = "bank"
    unit = "flats"
    most = 24.0
    effect = "off idle"

    def adjusters(self, layout: Layout) -> tuple[Adjuster, ...]:
        """As in ``AdjusterKind``: one a bank, where a linkage opens two together."""
        return tuple(Link(bank.name) for bank in layout.banks) if layout.linked else ()

    def may_be(self, adjuster: Adjuster) -> bool:
        """As in ``AdjusterKind``."""
        return isinstance(adjuster, Link)

    def reach(self, layout: Layout, adjuster: Adjuster) -> tuple[int, ...]:
        """As in ``AdjusterKind``: its whole bank."""
        return layout.bank(self.place(adjuster).bank).bores

    def adjuster(self, place: Place) -> Adjuster:
        """As in ``AdjusterKind``."""
        return Link(place.bank)

    def place(self, adjuster: Adjuster) -> Place:
        """As in ``AdjusterKind``."""
        assert isinstance(adjuster, Link)
        return Place(adjuster.bank)

    def move(self, place: Place, amount: float, leaves: tuple[float, ...] = (), at: float = 0.0) -> Move:
        """As in ``AdjusterKind``."""
        return LinkTurn(place.bank, amount, at)

    def gap_per_unit(self, layout: Layout, hardware: Hardware, adjuster: Adjuster, rate: float) -> float:
        """As in ``AdjusterKind``: off idle, where it acts."""
        return link_rotation(1.0, hardware) * rate
