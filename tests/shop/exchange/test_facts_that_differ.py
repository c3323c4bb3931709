"""Details of an engine that two shops tell differently."""

from app.shop.commands import engines
from app.shop.errors import ConflictError
from app.shop.exchange.codes import FileQuestion, FileSide
from app.shop.exchange.imports import _details, bring_in, plan, read
from app.shop.reasons import because
from app.shop.store.database import Database
from tests.shop.exchange.files import EVEN, out
from tests.shop.past import Past
from tests.shop.rejections import rejects


def test_facts_that_differ_are_for_a_person_to_choose(shop: Database, other: Database) -> None:
    Past(shop).visit(EVEN, EVEN)
    bring_in(other, read(out(shop)), {})
    with shop.reading() as session:
        here = engines.get(session, 1)
    facts = engines.EngineFacts(
        here.serial, here.description, here.displacement, "L", here.customer, "Red van", here.idle_speed
    )
    engines.change(shop, 1, 1, facts)
    file = read(out(shop))
    with other.reading() as session:
        (question,) = plan(session, file, {}).conflicts
    assert (question.mine, question.theirs) == (
        because(FileSide.DETAILS, details=("Blue coupe",)),
        because(FileSide.DETAILS, details=("Red van",)),
    )
    with rejects(FileQuestion.FACTS, kind=ConflictError):
        bring_in(other, file, {})
    for choice, vehicle, version in (("mine", "Blue coupe", 1), ("theirs", "Red van", 2)):
        bring_in(other, file, {"facts": choice})
        with other.reading() as session:
            assert (engines.get(session, 1).vehicle, engines.get(session, 1).version) == (vehicle, version)
            assert len(engines.find(session, vehicle)) == 1


def test_a_detail_that_one_side_lacks_is_shown_as_a_dash(shop: Database, other: Database) -> None:
    Past(shop).visit(EVEN, EVEN)
    bring_in(other, read(out(shop)), {})
    with shop.reading() as session:
        here = engines.get(session, 1)
    facts = engines.EngineFacts(here.serial, here.description, here.displacement, "L", "", "", here.idle_speed)
    engines.change(shop, 1, 1, facts)
    with other.reading() as session:
        (question,) = plan(session, read(out(shop)), {}).conflicts
    assert dict(question.theirs.values)["details"] == tuple("\u2013" for _ in dict(question.mine.values)["details"])


def test_what_was_entered_is_told_without_what_was_left_empty() -> None:
    assert _details("Blue coupe", "", "C-104") == because(FileSide.DETAILS, details=("Blue coupe", "C-104"))
    assert _details("", "") == because(FileSide.NO_DETAILS)
