"""Engines picked out by what they have and how far their visit is."""

from app.shop.procedure.phases import HEAT_SOAKED
from app.shop.queries.traits import Trait, engines_of
from app.shop.store.database import Database
from app.sync.engine.layout import Bank, Layout
from tests.shop.yard import FOUR, engine, heat_soaked, visit, visit_record

SIX = Layout((Bank("A", (1, 2, 3), 1, 1), Bank("B", (4, 5, 6), 4, 4)))


def test_an_engine_is_found_by_all_that_is_asked_of_it_at_once(shop: Database) -> None:
    """A four that is hot, a six whose visit is opened, and a four that is not here."""
    hot = visit_record(shop, heat_soaked(shop, FOUR)).engine.ident
    six = engine(shop, SIX, "31-0218")
    visit(shop, six)
    away = engine(shop, FOUR, "31-0219")
    with shop.reading() as session:
        found = {
            asked: engines_of(session, asked)
            for asked in [(one,) for one in Trait] + [(Trait.OPEN, Trait.ONE_BANK), (Trait.COLD_PRESET, Trait.ONE_BANK)]
        }
        by_bores = [engines_of(session, (), bores) for bores in ((4,), (6,), (4, 6), (8,))]
        assert engines_of(session, (Trait.ONE_BANK,), (6,)) == ()
    assert found[Trait.OPEN,] == (six, hot)
    assert found[Trait(HEAT_SOAKED.slug),] == found[Trait.OPEN, Trait.ONE_BANK] == (hot,)
    assert found[Trait.COLD_PRESET,] == found[Trait.TWO_BANKS,] == (six,)
    assert found[Trait.COLD_PRESET, Trait.ONE_BANK] == found[Trait.LOCK_DOWN,] == ()
    assert found[Trait.ONE_BANK,] == (away, hot)
    assert by_bores == [(away, hot), (six,), (away, six, hot), ()]
