"""A group's pages and answers: sites set up at the shop computer, and what a tablet of one site may and may not."""

import json
import re
from datetime import UTC, datetime

from starlette.testclient import TestClient

from app.shop.commands import engines
from app.shop.commands.access import programs, sites
from app.shop.commands.access.scopes import AccessScope
from app.shop.procedure.phases import COLD_PRESET, FIRST_FIRE
from app.shop.rejections import Rejection
from app.shop.store.access.program_rows import ProgramAccess
from app.shop.store.database import Database
from app.web.application import create_app
from app.web.security.known_access import KnownAccess
from app.web.security.middleware import TABLET
from tests.shop.past import Past
from tests.shop.rejections import on_page
from tests.shop.yard import AT, FOUR, check_all, engine, key
from tests.web.sites import Group
from tests.web.sites import group as group
from tests.web.sites import plain as plain

AT_NORTH = "Visit 1 is at North: only its tablets record in it"
CHECKS = "/api/visits/{v}/phases/cold-preset/checks"


def test_a_shop_without_sites_has_no_word_of_them(plain: Group) -> None:
    tablet = plain.tablet("Bench", None)
    engine(plain.shop)
    for path in ("/", "/shop", "/tablets", "/programs", "/statistics", "/audit", "/settings", "/meters", "/engines/1"):
        for client in (plain.here, tablet):
            text = client.get(path).text.lower()
            way_in = {"/sites"} if path == "/shop" and client is plain.here and plain.shop.shared else set()
            assert {word for word in WORDS if word in text} == way_in, path
    assert plain.here.get("/api/sites").json() == []


WORDS = ("/sites", "head office", "all sites", "/room")


def test_sites_are_set_up_at_the_shop_computer_and_a_mistake_stands_beside_its_field(group: Group) -> None:
    wrong = group.here.post("/sites", data={"key": key(), "name": "north", "by": "KM", "head_office": "1"})
    assert wrong.status_code == 422
    assert 'value="north"' in wrong.text
    assert on_page(Rejection.NAME_TAKEN) in wrong.text
    assert on_page(Rejection.SECOND_HEAD_OFFICE) in wrong.text
    page = group.here.get("/sites").text
    for name in ("North", "South", "Office", "North bench"):
        assert name in page
    assert 'href="/sites"' in group.here.get("/shop").text
    tablet = group.tablet("Reader", 1)
    assert "North" in tablet.get("/sites").text
    assert "<form" not in tablet.get("/sites").text.split("<main", 1)[1].split("</main>", 1)[0]
    assert tablet.post("/sites", data={"key": key(), "name": "East", "by": "KM"}).status_code == 403
    told = tablet.get("/api/sites").json()
    assert [(one["id"], one["name"], one["head_office"]) for one in told] == [
        (1, "North", False), (2, "South", False), (3, "Office", True)
    ]  # fmt: skip
    assert told[0]["rooms"] == [{"id": 1, "name": "North bench"}]
    row = {"key": key(), "name": "North", "by": "KM", "close": "1"}
    assert group.here.post("/sites/1", data=row).status_code == 303
    assert [one["name"] for one in group.here.get("/api/sites").json()] == ["South", "Office"]
    assert group.here.post("/sites/1", data={**row, "key": key()}).status_code == 409
    closed = group.here.post("/rooms/2", data={"key": key(), "name": "South bench", "by": "KM", "close": "1"})
    assert closed.status_code == 303
    assert "South bench" not in group.here.get("/sites").text


def test_a_tablet_reads_every_visit_and_writes_to_those_of_its_site_only(group: Group) -> None:
    north, south = group.tablet("One", 1), group.tablet("Two", 2)
    visit_id = group.visits["N-1"]
    for client in (north, south):
        assert client.get(f"/visits/{visit_id}", follow_redirects=True).status_code == 200
    page = south.get(f"/visits/{visit_id}", follow_redirects=True).text
    assert AT_NORTH in page
    assert AT_NORTH not in north.get(f"/visits/{visit_id}", follow_redirects=True).text
    told = south.get(f"/api/visits/{visit_id}").json()
    assert told["site_id"] == 1
    refused = south.post(f"/visits/{visit_id}/cold-preset/overrides", data={"key": key(), "by": "KM", "why": "Told"})
    assert refused.status_code == 403
    assert on_page(Rejection.OTHER_SITE, site="North") in refused.text
    assert refused.headers["X-Refused"]
    path, body = CHECKS.format(v=visit_id), {"key": key(), "ticks": ["battery-off"], "by": "KM"}
    for wrong in (body, {**body, "ticks": ["no-such-item"]}):
        problem = south.post(path, json=wrong)
        assert (problem.status_code, problem.json()["code"]) == (403, "other-site"), problem.text
    tried = south.post(f"{path}?dry_run=true", json=body)
    assert (tried.status_code, tried.json()["code"]) == (403, "other-site")
    assert north.post(path, json=body).status_code == 201
    group.move("Two", 1)  # the same cookie
    assert south.post(path, json={**body, "key": key()}).status_code == 201


def test_an_engines_page_offers_nothing_that_another_site_is_refused(group: Group) -> None:
    """Where its visit is open is said by the name of the site; what leads to a write is there at that site only."""
    north, south = group.tablet("One", 1), group.tablet("Two", 2)
    ident, visit_id = group.engines["N-1"], group.visits["N-1"]
    refused_there = (f'href="/engines/{ident}/change"', f'href="/engines/{ident}/fitting"', ">Continue<")
    own = {client: client.get(f"/engines/{ident}").text for client in (north, group.here)}
    for page in own.values():
        assert all(one in page for one in refused_there)
        assert "only its tablets" not in page
    there = south.get(f"/engines/{ident}").text
    assert AT_NORTH in there
    assert "Last at North" in there
    assert not [one for one in refused_there if one in there]
    assert "/visits/new" not in there  # an engine has one open visit
    assert f'href="/visits/{visit_id}"' in there  # every tablet reads it
    steps = {client: client.get(f"/visits/{visit_id}/cold-preset").text for client in (north, south)}
    assert ["<button" in page.split("<main", 1)[1] for page in steps.values()] == [True, False]
    for phase in (COLD_PRESET, FIRST_FIRE):
        check_all(group.shop, visit_id, phase)
    asked = {client: client.get(f"/visits/{visit_id}/first-fire/readings").text for client in (north, south)}
    enabled = [re.findall(r"<button(?![^>]* disabled)", page.split("<main", 1)[1]) for page in asked.values()]
    assert [bool(found) for found in enabled] == [True, False]
    assert "/stopped" not in asked[south]
    assert "Read bore 1" in asked[south]
    assert "Test cell, KM, North" in south.get("/").text
    assert "KM, North" not in north.get("/").text


def test_a_visit_of_a_closed_site_says_who_records_in_it(group: Group) -> None:
    south, visit_id = group.tablet("Two", 2), group.visits["N-1"]
    row = {"key": key(), "name": "North", "by": "KM", "close": "1"}
    assert group.here.post("/sites/1", data=row).status_code == 303
    for path in (f"/visits/{visit_id}", f"/engines/{group.engines['N-1']}"):
        page = south.get(path, follow_redirects=True).text
        assert "The site of visit 1 was closed: only the shop computer records in it" in page
    assert "Its last site was closed: the shop computer changes this" in page
    assert group.here.post(
        CHECKS.format(v=visit_id), json={"key": key(), "ticks": ["battery-off"], "by": "KM"}
    ).is_success


def test_a_program_works_for_its_site(group: Group) -> None:
    now = datetime.now(UTC)
    client = group.client("::1")
    for site, item, status in ((1, "battery-off", 201), (2, "wide-open", 403)):
        token = programs.let_one_in(group.shop, key(), f"Bench {site}", {*AccessScope}, 30, now, site)
        group.app.state.programs = programs.Programs.of(_programs(group.shop))
        answer = client.post(
            CHECKS.format(v=group.visits["N-1"]),
            json={"key": key(), "ticks": [item], "by": "KM"},
            headers={"Authorization": f"Bearer {token}"},
        )
        assert answer.status_code == status, answer.text
    assert "North" in group.here.get("/programs").text


def _programs(shop: Database) -> list[ProgramAccess]:
    with shop.reading() as session:
        return programs.let_in(session)


PLACES = (
    "/", "/?find=Wendelmayer", "/?find=S-1", "/engines", "/engines?order=customer", "/engines/{e}",
    "/engines/{e}/change", "/engines/{e}/worksheet", "/engines/{e}/tag", "/engines/{e}/print.css",
    "/engines/{e}/paper", "/engines/{e}/export.json", "/engines/{e}/readings.csv", "/engines/{e}/moves.csv",
    "/engines/{e}/checks.csv", "/visits/{v}", "/visits/{v}/sheet", "/visits/{v}/sheet.css", "/visits/{v}/hours",
    "/visits/{v}/sign-off", "/visits/{v}/cold-preset", "/audit", "/audit?visit={v}", "/statistics",
    "/api/engines", "/api/engines?words=S-1", "/api/engines?words=Wendelmayer", "/api/engines/{e}",
    "/api/engines/{e}/file", "/api/visits", "/api/visits/{v}", "/api/changes?after=0", "/api/story?engine={e}",
)  # fmt: skip
"""Where anything of an engine is read."""


def read(client: TestClient, group: Group, serial: str) -> dict[str, str]:
    """What stands at each of those places, what was searched for taken off."""
    told = {}
    for place in PLACES:
        path = place.format(e=group.engines[serial], v=group.visits[serial])
        answer = client.get(path, follow_redirects=True)
        assert answer.status_code < 500, (path, answer.status_code)
        told[place] = answer.text.replace('type="search" value="Wendelmayer"', "").replace("“Wendelmayer”", "")
    return told


def test_a_customer_of_another_site_stands_nowhere_once_the_group_hides_them(group: Group) -> None:
    north, south, office = group.tablet("One", 1), group.tablet("Two", 2), group.tablet("Three", 3)
    shown = {place for place, text in read(north, group, "S-1").items() if "Wendelmayer" in text}
    assert {"/engines/{e}", "/api/engines/{e}", "/engines/{e}/export.json", "/engines/{e}/print.css", "/"} <= shown
    assert {"/engines/{e}/worksheet", "/visits/{v}/sheet", "/api/engines", "/engines/{e}/change"} <= shown
    group.hide()
    assert not {place for place, text in read(north, group, "S-1").items() if "Wendelmayer" in text}
    for client in (south, office, group.here):
        assert {place for place, text in read(client, group, "S-1").items() if "Wendelmayer" in text} == shown
    assert json.loads(north.get(f"/api/engines/{group.engines['N-1']}").text)["customer"] == "Ottokar"
    group.hide(on=False)
    assert "Wendelmayer" in north.get(f"/engines/{group.engines['S-1']}").text


def test_a_form_that_does_not_show_a_customer_does_not_take_one_away(group: Group) -> None:
    group.hide()
    north = group.tablet("One", 1)
    ident = group.engines["S-1"]
    facts = {"version": "2", "serial": "S-1", "description": "Eight", "displacement": "3.9", "displacement_unit": "L",
             "customer": "", "vehicle": "", "idle_speed": "850"}  # fmt: skip
    refused = north.post(f"/engines/{ident}/change", data={"key": key(), **facts})
    assert refused.status_code == 403
    assert on_page(Rejection.OTHER_SITES_ENGINE, site="South") in refused.text
    with group.shop.reading() as session:
        assert engines.get(session, ident).customer == "Wendelmayer"


def test_answers_and_the_log_of_all_sites_are_read_at_head_office(group: Group) -> None:
    Past(group.shop, FOUR, "P-1").visit([6.5] * 4)
    north, office = group.tablet("One", 1), group.tablet("Three", 3)
    for client in (office, group.here):
        for page in ("/statistics", "/audit"):
            text = client.get(page).text
            assert f"{page}?site=1" in text
            assert client.get(f"{page}?site=2").status_code == 200
        assert "S-1" in client.get("/audit?site=2").text
        assert "N-1" not in client.get("/audit?site=2").text
    assert "S-1" not in north.get("/audit").text
    assert "N-1" in north.get("/audit").text
    nowhere = group.tablet("Four", None)
    for page in ("/statistics", "/audit"):
        assert "Only what was done at North is shown" in north.get(page).text
        assert "This tablet has no room" in nowhere.get(page).text
        for client in (office, group.here):
            assert "is shown" not in client.get(page).text
    for path in ("/audit?site=2", "/statistics?site=2", "/statistics/moves.csv?site=2"):
        refused = north.get(path)
        assert refused.status_code == 403
        assert on_page(Rejection.HEAD_OFFICE_ONLY) in refused.text
    assert office.get("/statistics/moves.csv?site=2").status_code == 200


def test_another_server_learns_of_a_move_at_the_next_request(group: Group) -> None:
    """Two applications over one store: what one changes is known to the other without a restart."""
    tablet = group.tablet("One", 1)
    other = create_app(group.shop, pairing=group.codes)
    known = KnownAccess(other, group.shop)
    known.renew()
    group.move("One", 2)
    known.renew()
    token = tablet.cookies[TABLET]
    asked = other.state.sites.asking_in(other.state.admission.room(token))
    assert asked.site == 2
    sites.add(group.shop, key(), "East", "KM", AT)
    known.renew()
    assert [one.name for one in other.state.sites.all][-1] == "East"
