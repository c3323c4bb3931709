"""From a tablet of another site, every page of a visit and of its engine: what would be refused is not offered."""

import re
from collections.abc import Iterable, Iterator, Mapping
from contextlib import contextmanager
from html import unescape

from starlette.routing import Match
from starlette.testclient import TestClient

from app.shop.at_site import ASKING, Asker
from app.shop.commands import checks, cold_settings, moves, readings, running, visits
from app.shop.commands.cold_settings import NewSetting
from app.shop.commands.moves import NewMove
from app.shop.commands.readings import NewReading
from app.shop.cross_check import findings
from app.shop.cross_check.findings import NewFindings, ShownAt
from app.shop.procedure.items import Phase
from app.shop.procedure.phases import BANK_BALANCE, COLD_PRESET, FIRST_FIRE, HEAT_SOAKED, LOCK_DOWN, PHASES
from app.shop.rejections import Rejection
from app.shop.store.database import Database
from app.sync.engine.units import THOU
from app.web.pages.visit.cold_setting import BEFORE
from tests.shop.bank_balance import at_the_banks
from tests.shop.rejections import on_page
from tests.shop.yard import AT, FOUR, V8, check_all, engine, key, read, read_round, visit, visit_record
from tests.web.axe import paths, routes
from tests.web.sites import Group
from tests.web.sites import group as group
from tests.web.sites import plain as plain

NORTH = 1
FORM = re.compile(r'<form\b[^>]*\bmethod="post".*?</form>', re.DOTALL)
SENT_TO = re.compile(r'\b(?:form)?action="([^"]+)"')
LED_TO = re.compile(r'\bhref="(/(?:visits|engines)/[^"#]+)"')
OF_A_VISIT = re.compile("/(visits|engines|cross-check)/{")
OWN = {"/settings/letterhead", "/engines/{engine_id}/visits"}
"""What such pages offer to every site: the shop's own letterhead, and a visit of one's own."""
BEHIND_ANOTHER = {"/visits/{visit_id}/why/file", "/visits/{visit_id}/{slug}/look", "/visits/{visit_id}/instruments"}
"""Sent from the page that another form leads to, or where instruments are connected."""


@contextmanager
def at_north() -> Iterator[None]:
    before = ASKING.set(Asker(NORTH))
    try:
        yield
    finally:
        ASKING.reset(before)


def fired(shop: Database, serial: str) -> int:
    """A visit whose engine was started and is cold."""
    visit_id = visit(shop, engine(shop, FOUR, serial))
    check_all(shop, visit_id, COLD_PRESET)
    check_all(shop, visit_id, FIRST_FIRE)
    read_round(shop, visit_id, FIRST_FIRE)
    return visit_id


def hot(shop: Database, serial: str) -> int:
    """A visit with a round of the hot engine."""
    visit_id = fired(shop, serial)
    check_all(shop, visit_id, HEAT_SOAKED)
    read_round(shop, visit_id, HEAT_SOAKED)
    return visit_id


def adjusted(shop: Database, serial: str) -> int:
    """A visit with what a test showed and an adjustment."""
    visit_id = hot(shop, serial)
    shown = NewFindings("heat", (ShownAt(bore=1, value=420.0), ShownAt(bore=2, value=300.0)), "°C", "KM")
    findings.add(shop, visit_id, key(), shown, AT)
    reset = NewMove(HEAT_SOAKED.slug, "blade", "", 2, 3, 0.0, (4.5 * THOU,), True, "KM")
    moves.make(shop, visit_id, key(), reset, AT)
    return visit_id


def preset(shop: Database, serial: str, *, plates: bool) -> int:
    """A visit before the first fire, with its ``plates`` being set cold."""
    visit_id = visit(shop, engine(shop, FOUR, serial))
    check_all(shop, visit_id, COLD_PRESET)
    if plates:
        checks.record(shop, visit_id, key(), COLD_PRESET.slug, dict.fromkeys(BEFORE), "KM", AT)
        cold_settings.set_plate(shop, visit_id, key(), NewSetting(1, (3.5 * THOU,), "KM", None), AT)
    return visit_id


def stopped(shop: Database) -> int:
    visit_id = preset(shop, "40-4", plates=False)
    check_all(shop, visit_id, FIRST_FIRE)
    checks.record(shop, visit_id, key(), FIRST_FIRE.slug, {"oil-pressure": 30}, "KM", AT)
    return visit_id


def standing(shop: Database) -> int:
    visit_id = adjusted(shop, "40-8")
    running.stop(shop, visit_id, key(), "KM", AT)
    return visit_id


def in_question(shop: Database) -> int:
    """A bore that two tablets read unseen by each other."""
    visit_id = fired(shop, "40-9")
    check_all(shop, visit_id, HEAT_SOAKED)
    for value in (6.5, 7.0):
        readings.add(shop, visit_id, key(), NewReading(HEAT_SOAKED.slug, 2, 1, "turn", value, "KM"), AT)
    return visit_id


def at_second_opening(shop: Database) -> int:
    visit_id = at_the_banks(shop)
    for bore in (*V8.bores, 1):
        read(shop, visit_id, BANK_BALANCE, 8.0, bore)
    return visit_id


def ready(shop: Database, serial: str) -> int:
    visit_id = hot(shop, serial)
    check_all(shop, visit_id, LOCK_DOWN)
    read_round(shop, visit_id, LOCK_DOWN)
    return visit_id


def worked_on(shop: Database) -> Mapping[int, Phase]:
    """Visits in every state that has a page or a form of its own, each with the phase that it is looked at in."""
    made = {
        visit(shop, engine(shop, FOUR, "40-1")): COLD_PRESET,
        preset(shop, "40-2", plates=False): COLD_PRESET,
        preset(shop, "40-3", plates=True): COLD_PRESET,
        stopped(shop): FIRST_FIRE,
        visit(shop, engine(shop, FOUR, "40-5"), "telephone"): COLD_PRESET,
        fired(shop, "40-6"): HEAT_SOAKED,
        adjusted(shop, "40-7"): HEAT_SOAKED,
        standing(shop): HEAT_SOAKED,
        in_question(shop): HEAT_SOAKED,
        at_second_opening(shop): BANK_BALANCE,
        ready(shop, "40-10"): LOCK_DOWN,
        (signed := ready(shop, "40-11")): LOCK_DOWN,
    }
    visits.sign_off(shop, signed, key(), "Foreman of the yard", AT)
    return made


def pages_of(shop: Database, visit_id: int, phase: Phase) -> Iterator[str]:
    """Every page of a visit, those of a phase for this one, of its last adjustment and rounds too; once it is signed
    off, those of its engine and its papers as well."""
    record = visit_record(shop, visit_id)
    left_out = {one.slug for one in PHASES} - {phase.slug}
    left_out |= set() if record.sign_off else {"engines", "practice", "sheet", "hours", "slipped", "correct"}
    left_out |= set() if record.moves else {"moves"}
    own = {"visits": visit_id, "practice": visit_id, "engines": record.engine.ident}
    for path in paths():
        _, kind, *rest = path.split("/")
        if kind in own and rest[:1] == ["1"] and left_out.isdisjoint({kind, *rest}):
            yield "/".join(["", kind, str(own[kind]), *rest[1:]])
    here = f"/visits/{visit_id}/{phase.slug}"
    for move in record.moves[-1:]:
        yield f"{here}/moves/change?move={move.ident}"
    for one in record.rounds[-2:]:
        yield from (f"{here}/recorded?reading={of.ident}" for of in one.latest.values() if of.bore == 1)
        yield f"{here}/recorded?speed={one.row.number}"


def looked_at(client: TestClient, pages: Iterable[str]) -> dict[str, str]:
    """The pages as the tablet sees them, by their address; some are only there in another state of a visit."""
    answers = {path: client.get(path, follow_redirects=True) for path in pages}
    assert {answer.status_code for answer in answers.values()} <= {200, 404}
    return {path: answer.text for path, answer in answers.items()}


def offered(pages: Mapping[str, str]) -> dict[str, str]:
    """Where the forms with something to press are sent, each with a page that has it."""
    found: dict[str, str] = {}
    for path, html in pages.items():
        for form in FORM.findall(html):
            name = re.search(r'<form\b[^>]*\bid="([^"]+)"', form)
            pressed = re.search(r"<button(?![^>]* disabled)", form) or (name and f'form="{name[1]}"' in html)
            found |= {unescape(to): path for to in SENT_TO.findall(form) if pressed}
    return found


POSTED = [one for one in routes() if "POST" in (one.methods or ())]


def route(path: str) -> str:
    """The route that answers what is sent to ``path``."""
    scope = {"type": "http", "path": path, "method": "POST"}
    return next(one.path for one in POSTED if one.matches(scope)[0] is Match.FULL)


def test_no_page_of_another_sites_visit_offers_what_is_refused(group: Group) -> None:
    """The same pages offer everything to a tablet of the visit's own site, so none is looked for in vain."""
    with at_north():
        made = worked_on(group.shop)
    every = [page for visit_id, phase in made.items() for page in pages_of(group.shop, visit_id, phase)]
    own, other = group.tablet("One", 1), group.tablet("Two", 2)
    there = looked_at(other, every)
    assert {route(to): page for to, page in offered(there).items() if route(to) not in OWN} == {}
    assert [to for to in offered(there) if other.post(to, data={"key": key()}).status_code == 403] == []
    led_to = {unescape(to): page for page, html in there.items() for to in LED_TO.findall(html)}
    assert [to for to in led_to if re.search("/(correct|change|fitting)$|/moves/", to)] == []
    missing = OWN | {one.path for one in POSTED if OF_A_VISIT.match(one.path)} - BEHIND_ANOTHER
    for path in reversed(every):
        missing -= {route(to) for to in offered(looked_at(own, [path]))} if missing else set()
    assert missing == set()


def test_a_program_of_another_site_is_told_that_there_is_nothing_to_do(group: Group) -> None:
    own, other = group.tablet("One", 1), group.tablet("Two", 2)
    advice = f"/api/visits/{group.visits['N-1']}/phases/{COLD_PRESET.slug}/advice"
    here, there = own.get(advice).json(), other.get(advice).json()
    assert (here["open"], here["do"]["operation"]) == (True, "record_checks")
    assert (there["open"], there["do"]) == (False, None)
    assert {name for name, told in here.items() if there[name] != told} == {"open", "do"}


def test_a_reading_of_another_site_is_refused(group: Group) -> None:
    """However a write is handed to a thread, who asks goes with it."""
    with at_north():
        visit_id = fired(group.shop, "40-12")
    other = group.tablet("Two", 2)
    reading = {"key": key(), "round": "1", "bore": "1", "kind": "again", "value": "6.5", "by": "KM"}
    refused = other.post(f"/visits/{visit_id}/{FIRST_FIRE.slug}/readings", data=reading)
    assert refused.status_code == 403
    assert on_page(Rejection.OTHER_SITE, site="North") in refused.text
