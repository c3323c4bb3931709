"""Sites and rooms: who writes where, what a site has of its own, and whose customers it is told."""

from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import replace

import pytest

from app.shop.assessment.progress import items_of
from app.shop.at_site import ASKING, Asker, customer, name_of
from app.shop.commands import checks, engines, meters, settings_versions, visits
from app.shop.commands.access import programs, sites, tablets
from app.shop.commands.access.sites import Sites, called, sites_of
from app.shop.commands.access.tablets import Admission
from app.shop.commands.meters import NewMeter
from app.shop.errors import ElsewhereError, NotFoundError
from app.shop.procedure.phases import COLD_PRESET
from app.shop.queries import activity, search, statistics
from app.shop.queries.activity import Activity
from app.shop.queries.changes import PLACES
from app.shop.queries.engine_list import EngineOrder, engines_in_order
from app.shop.record import loader, meter_studies, stored_settings
from app.shop.rejections import Rejection
from app.shop.store import row_hashes
from app.shop.store.database import Database, raw_connection
from app.shop.store.rows import metadata
from app.shop.store.tables import EVIDENCE, SignOff, Visit
from tests.shop.past import Past
from tests.shop.rejections import rejects
from tests.shop.yard import AT, FACTS, FOUR, engine, key, visit, visit_record


@pytest.fixture
def group(shop: Database) -> Database:
    """A shop with two sites, each with a room, and a head office: sites 1, 2 and 3."""
    shop.around_writes = programs.naming
    for name in ("North", "South", "Office"):
        site = sites.add(shop, key(), name, "KM", AT, head_office=name == "Office")
        sites.add_room(shop, key(), site, f"{name} bench", "KM", AT)
    return shop


@contextmanager
def asking(site: int | None, *, hides: bool = False, head_office: bool = False) -> Iterator[Asker]:
    """From a tablet of that site."""
    who = Asker(site, head_office, hides)
    token = ASKING.set(who)
    try:
        yield who
    finally:
        ASKING.reset(token)


@contextmanager
def elsewhere(code: Rejection, **values: object) -> Iterator[None]:
    with pytest.raises(ElsewhereError) as caught:
        yield
    assert caught.value.reason.code is code
    assert values.items() <= caught.value.reason.values.items()


def now(shop: Database) -> Sites:
    with shop.reading() as session:
        return sites_of(session)


def rows(shop: Database) -> dict[str, int]:
    with shop.reading() as session:
        asked = raw_connection(session).execute
        return {table: asked(f'SELECT count(*) FROM "{table}"').fetchone()[0] for table in EVIDENCE}


def site_of(shop: Database, visit_id: int) -> int | None:
    with shop.reading() as session:
        row = session.get(Visit, visit_id)
        assert row is not None
        return row.site_id


def ticks(shop: Database, visit_id: int, again: str = "") -> None:
    """Check an item of the preset that is not checked yet; with ``again``, under that key, always the same one."""
    record = visit_record(shop, visit_id)
    items = [one.slug for one in items_of(record, COLD_PRESET) if one.kind == "tick"]
    done = {one.item for one in record.all_checks}
    item = items[-1] if again else next(one for one in items if one not in done)
    checks.record(shop, visit_id, again or key(), COLD_PRESET.slug, {item: None}, "KM", AT)


def test_a_shop_without_sites_asks_from_nowhere_and_stores_no_site(shop: Database) -> None:
    found = now(shop)
    assert found == Sites()
    assert (found.asking_in(None), found.asking_in(7), found.of_shop_computer) == (None, None, None)
    assert site_of(shop, visit(shop, engine(shop))) is None


def test_a_site_is_renamed_and_closed_by_rows_that_supersede_and_keeps_its_id(group: Database) -> None:
    first = now(group).all[0]
    again = key()
    assert sites.change(group, again, first.row_id, "North yard", "KM", AT, head_office=False) == first.ident
    assert sites.change(group, again, first.row_id, "North yard", "KM", AT, head_office=False) == first.ident
    renamed = now(group).all[0]
    assert (renamed.ident, renamed.key, renamed.name) == (first.ident, first.key, "North yard")
    assert renamed.row_id != first.row_id
    assert renamed.rooms == first.rooms
    with rejects(Rejection.CHANGED_BY_ANOTHER_TABLET):
        sites.change(group, key(), first.row_id, "N", "KM", AT, head_office=False)
    room = renamed.rooms[0]
    assert sites.change_room(group, key(), room.row_id, "Cell 2", "KM", AT) == room.ident
    assert now(group).all[0].rooms[0].name == "Cell 2"
    sites.change_room(group, key(), now(group).all[0].rooms[0].row_id, "Cell 2", "KM", AT, active=False)
    assert now(group).all[0].rooms == ()
    sites.change(group, key(), renamed.row_id, "North yard", "KM", AT, head_office=False, active=False)
    assert [site.name for site in now(group).all] == ["South", "Office"]
    with group.reading() as session:
        assert not row_hashes.check(raw_connection(session)).broken
        assert name_of(session, first.ident) == "North yard"


def test_names_are_told_apart_and_there_is_one_head_office(group: Database) -> None:
    with rejects(Rejection.NAME_TAKEN):
        sites.add(group, key(), " north ", "KM", AT)
    with rejects(Rejection.SECOND_HEAD_OFFICE):
        sites.add(group, key(), "East", "KM", AT, head_office=True)
    with rejects(Rejection.NAME_MISSING):
        sites.add(group, key(), " ", "KM", AT)
    with rejects(Rejection.INITIALS_MISSING):
        sites.add(group, key(), "East", "", AT)
    with rejects(Rejection.NAME_TAKEN):
        sites.add_room(group, key(), 1, "north BENCH", "KM", AT)
    with rejects(Rejection.NO_SUCH_SITE):
        sites.add_room(group, key(), 99, "Cell", "KM", AT)
    with pytest.raises(NotFoundError):
        sites.change(group, key(), 99, "East", "KM", AT, head_office=False)
    with group.reading() as session:
        south = sites_of(session).all[1]
        assert called(session, "SOUTH ") == south.ident
        assert called(session, "West") is None


def test_the_shop_computer_works_for_the_only_site_else_for_the_head_office(group: Database) -> None:
    assert now(group).of_shop_computer == 3
    assert site_of(group, visit(group, engine(group))) == 3
    for one in now(group).all[1:]:
        sites.change(group, key(), one.row_id, one.name, "KM", AT, head_office=False, active=False)
    assert now(group).of_shop_computer == 1


def test_a_tablet_goes_to_another_site_by_a_row_and_stays_paired(group: Database) -> None:
    first = tablets.pair(group, key(), "Bench 1", "token", AT)
    rooms = [site.rooms[0].ident for site in now(group).all]
    again = key()
    moved = tablets.move(group, again, first, rooms[0], AT)
    assert tablets.move(group, again, first, rooms[0], AT) == moved != first
    with group.reading() as session:
        admission = Admission.of(tablets.let_in(session))
    who = now(group).asking_in(admission.room("token"))
    assert who is not None
    assert (who.site, who.head_office, who.hides) == (1, False, False)
    renamed = tablets.rename(group, key(), moved, "Bench one", AT)
    office = tablets.move(group, key(), renamed, rooms[2], AT)
    with group.reading() as session:
        (row,) = tablets.let_in(session)
        admission = Admission.of([row])
        told = [one.what for one in activity.lines(session, 50)]
    assert (row.name, row.token, row.paired_at) == ("Bench one", tablets.hashed("token"), AT)
    assert admission.paired.keys() == {tablets.hashed("token")}
    who = now(group).asking_in(admission.room("token"))
    assert who is not None
    assert who.head_office
    assert [one.code for one in told].count(Activity.TABLET_MOVED) == 2
    with rejects(Rejection.NO_SUCH_ROOM):
        tablets.move(group, key(), office, 99, AT)
    out = tablets.move(group, key(), office, None, AT)
    lost = now(group).asking_in(None)
    assert lost is not None
    assert lost.site is None
    tablets.remove(group, key(), out, AT)


def test_a_write_to_a_visit_of_another_site_is_refused_whole(group: Database) -> None:
    with asking(1):
        visit_id = visit(group, engine(group))
        ticks(group, visit_id)
    assert site_of(group, visit_id) == 1
    before, held = rows(group), key()
    with asking(2):
        with elsewhere(Rejection.OTHER_SITE, site="North"):
            ticks(group, visit_id, held)
        with elsewhere(Rejection.OTHER_SITE):
            visits.sign_off(group, visit_id, key(), "Foreman of the yard", AT)
        with group.reading() as session:
            assert loader.load(session, visit_id).visit.site_id == 1  # it is read everywhere
    with asking(None), elsewhere(Rejection.NO_ROOM_YET, site="North"):
        ticks(group, visit_id)
    with asking(3, head_office=True), elsewhere(Rejection.OTHER_SITE):
        ticks(group, visit_id)
    assert rows(group) == before
    with asking(1):
        ticks(group, visit_id, held)  # sent again under its key from where it belongs
    ticks(group, visit_id)  # at the shop computer


def test_a_visit_from_before_there_were_sites_is_everybodys(shop: Database) -> None:
    visit_id = visit(shop, engine(shop))
    shop.around_writes = programs.naming
    for name in ("North", "South"):
        sites.add(shop, key(), name, "KM", AT)
    for site in (1, 2, None):
        with asking(site):
            ticks(shop, visit_id)


def test_an_engine_is_changed_where_its_newest_visit_is(group: Database) -> None:
    with asking(2):
        free = engine(group, FOUR, "77")
        engines.change(group, free, 1, replace(FACTS, serial="77", vehicle="Barge"))
    engine_id = engine(group, FOUR)
    past = Past(group, FOUR, "78")
    with asking(1):
        visit(group, engine_id)
        engines.change(group, engine_id, 1, replace(FACTS, vehicle="Tug"))
    with asking(2), elsewhere(Rejection.OTHER_SITES_ENGINE, site="North"):
        engines.change(group, engine_id, 2, replace(FACTS, vehicle="Skiff"))
    with group.reading() as session:
        assert engines.get(session, engine_id).vehicle == "Tug"
    past.visit([6.5] * 4)


def test_every_table_of_a_visit_is_known_to_belong_to_one() -> None:
    """So that a row of a table that is added later is not written from another site unseen."""
    found = {
        table.name
        for table in metadata.sorted_tables
        if table.name in EVIDENCE and {"visit_id", "round_id", "engine_id"} & {one.name for one in table.columns}
    }
    assert found <= set(PLACES)
    assert {"engine", "visit"} <= set(PLACES)


def test_a_site_has_settings_and_meters_of_its_own(group: Database) -> None:
    with group.reading() as session:
        version, held = stored_settings.now(session)
    settings_versions.change(group, key(), version, replace(held, fine_window=0.06), "", "KM", AT)
    with asking(1):
        with group.reading() as session:
            version, held = stored_settings.now(session)
        assert held.fine_window == 0.06
        settings_versions.change(group, key(), version, replace(held, fine_window=0.05), "", "KM", AT)
        own = meters.register(group, key(), NewMeter("Fine", "kg/h", 0.1, 1, 30, "gauge"))
        mine = visit(group, engine(group), meter=own)
    windows = {}
    for site in (1, 2):
        with asking(site), group.reading() as session:
            windows[site] = stored_settings.now(session)[1].fine_window
            listed = {one.row.ident for one in meter_studies.all_of(session)}
            assert (own in listed) is (site == 1)
            assert len(stored_settings.history(session)) == (2 if site == 1 else 1)
    assert windows == {1: 0.05, 2: 0.06}
    with asking(2), rejects(Rejection.NO_SUCH_METER):
        visit(group, engine(group, FOUR, "88"), meter=own)
    with group.reading() as session:
        assert stored_settings.now(session)[1].fine_window == 0.06
        record = loader.load(session, mine)
        assert record.settings.fine_window == 0.05
    with group.reading() as session:
        assert loader.load(session, mine).settings is record.settings  # it was kept


@pytest.fixture
def hidden(group: Database) -> dict[str, int]:
    """Engines of two sites, one of both, and one that was never worked on, each with a customer of its own."""
    found = {}
    for serial, owner, at in (
        ("N-1", "Ottokar", (1,)), ("S-1", "Wendelmayer", (2,)), ("B-1", "Guldbransen", (1, 2)), ("F-1", "Zimzim", ()),
    ):  # fmt: skip
        past = Past(group, FOUR, serial)
        with group.reading() as session:
            facts = engines.get(session, past.engine_id)
        engines.change(group, past.engine_id, 1, replace(FACTS, serial=facts.serial, customer=owner, vehicle="Tug"))
        for site in at:
            _at_site(group, past, site)
        found[serial] = past.engine_id
    return found


def _at_site(shop: Database, past: Past, site: int) -> None:
    """A signed visit that was opened at that site."""
    with asking(site):
        visit_id = visits.open_visit(shop, past.engine_id, key(), NEW, AT)
    with shop.writing() as session:
        session.add(SignOff(key=key(), payload="", visit_id=visit_id, name="Foreman of the yard", at=AT))


NEW = visits.NewVisit("test cell", "1184", "First sync", "KM", 1)


def told_of(shop: Database, found: dict[str, int]) -> dict[str, str]:
    with shop.reading() as session:
        return {serial: customer(engines.get(session, ident)) for serial, ident in found.items()}


def test_customers_of_other_sites_are_hidden_where_the_group_wants_that(
    group: Database, hidden: dict[str, int]
) -> None:
    everyone = {"N-1": "Ottokar", "S-1": "Wendelmayer", "B-1": "Guldbransen", "F-1": "Zimzim"}
    assert told_of(group, hidden) == everyone
    with asking(1):
        assert told_of(group, hidden) == everyone
    with asking(1, hides=True):
        assert told_of(group, hidden) == {**everyone, "S-1": ""}
    with asking(2, hides=True):
        assert told_of(group, hidden) == {**everyone, "N-1": ""}
    with asking(None, hides=True):
        assert told_of(group, hidden) == {"N-1": "", "S-1": "", "B-1": "", "F-1": "Zimzim"}
    with group.reading() as session:
        row = engines.get(session, hidden["N-1"])
    with asking(1, hides=True):
        assert customer(row) == ""  # an engine that this request did not meet: hidden, whatever it is


def test_an_engine_is_not_found_by_a_customer_who_is_hidden(group: Database, hidden: dict[str, int]) -> None:
    def found(typed: str) -> list[int]:
        with group.reading() as session:
            hits = search.find(session, typed)
        return [*hits.exact, *hits.near]

    assert found("Wendelmayer") == [hidden["S-1"]]
    with asking(1, hides=True):
        for typed in ("Wendelmayer", "wendelmay", "Wendelmayar", "S-1 Wendelmayer"):
            assert hidden["S-1"] not in found(typed), typed
        assert found("Ottokar") == [hidden["N-1"]]
        assert found("Ottokor") == [hidden["N-1"]]
        assert hidden["S-1"] in found("S-1")
        assert set(found("Tug")) == set(hidden.values())
        assert len(found("1184")) == 3
    with asking(2, hides=True):
        assert found("Wendelmayer") == [hidden["S-1"]]


def test_the_list_is_not_sorted_by_a_customer_who_is_hidden(group: Database, hidden: dict[str, int]) -> None:
    def listed() -> list[str]:
        with group.reading() as session:
            return [one.serial for one in engines_in_order(session, EngineOrder.CUSTOMER, 0, 9)]

    assert listed() == ["B-1", "N-1", "S-1", "F-1"]
    with asking(2, hides=True):
        assert listed() == ["B-1", "S-1", "F-1", "N-1"]


def test_statistics_and_the_log_are_by_site_and_across_all_at_head_office(
    group: Database, hidden: dict[str, int]
) -> None:
    assert sites.read_for(None) is None
    with asking(3, head_office=True):
        assert (sites.read_for(None), sites.read_for(2)) == (None, 2)
    with asking(1):
        assert (sites.read_for(None), sites.read_for(1)) == (1, 1)
        with elsewhere(Rejection.HEAD_OFFICE_ONLY):
            sites.read_for(2)
    with asking(None):
        nowhere = sites.read_for(None)
    with group.reading() as session:
        counts = {of: len(statistics.gather(session, of)) for of in (None, 1, 2, 3, nowhere)}
        log = {of: {line.serial for line in activity.lines(session, 100, site=of)} for of in (1, 2, nowhere)}
        whole = {line.what.code for line in activity.lines(session, 100)}
    assert counts == {None: 3, 1: 1, 2: 2, 3: 0, nowhere: 0}
    assert log == {1: {"N-1", "B-1"}, 2: {"S-1", "B-1"}, nowhere: set()}
    assert {Activity.SITE_ADDED, Activity.ROOM_ADDED, Activity.ENGINE} <= whole
