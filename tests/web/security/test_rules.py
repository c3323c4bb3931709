"""Every security rule, tried with the rule on and with it off: a try that passes both ways would show nothing."""

import re
from datetime import timedelta
from typing import Any

import pytest
import sqlalchemy
from markupsafe import escape
from sqlalchemy.exc import IntegrityError
from sqlmodel import select
from starlette.responses import Response
from starlette.testclient import TestClient

from app.shop.commands import engines, people, visits
from app.shop.commands.access import tablets
from app.shop.reasons import because
from app.shop.rejections import Rejection
from app.shop.stopwatch import Stopwatch
from app.shop.store import database
from app.shop.store.codes import Noticed
from app.shop.store.tables import Person, SignOff, Tablet
from app.web import context
from app.web.api.interface import json_only
from app.web.forms import Typed
from app.web.pages.shop import trust
from app.web.pages.shop.tablets import only_here
from app.web.security import middleware, pairing
from app.web.security.pairing import Pairing
from app.wording.reasons import in_words
from tests.shop.rejections import on_page
from tests.shop.yard import AT, FACTS, engine, key, visit
from tests.web.security.bench import HOME, PIN, Bench, Rules, straight_on, vars_of, without, without_dependency

RULES = Rules()
rule = RULES.rule


@rule(without(middleware.KnownHost, "__call__", straight_on))
def a_foreign_name_is_not_answered(bench: Bench) -> bool:
    return bench.here.get("/", headers={"Host": "other.example"}).status_code == 400


@rule(without(middleware.SameOrigin, "__call__", straight_on))
def a_form_from_another_site_is_refused(bench: Bench) -> bool:
    sent = {"key": key(), "place": "test cell", "job": "", "why": "", "by": "KM", "meter": "1"}
    return (
        bench.here.post("/engines/1/visits", data=sent, headers={"Origin": "http://other.example"}).status_code == 403
    )


@rule(without(middleware.SameOrigin, "__call__", straight_on))
def a_request_that_another_site_caused_is_refused(bench: Bench) -> bool:
    return bench.here.post("/engines/1/visits", data={}, headers={"Sec-Fetch-Site": "cross-site"}).status_code == 403


@rule(without_dependency(json_only))
def programs_send_json_which_no_form_can(bench: Bench) -> bool:
    return bench.here.post("/api/engines", content="{}", headers={"Content-Type": "text/plain"}).status_code == 415


@rule(without(middleware.Paired, "__call__", straight_on))
def a_tablet_that_is_not_paired_sees_nothing(bench: Bench) -> bool:
    shown = [bench.tablet.get(path) for path in ("/engines/1", "/visits/1/cold-preset", "/audit", "/api/engines")]
    return [answer.status_code for answer in shown] == [401] * 4


@rule(without(middleware.Paired, "__call__", straight_on))
def a_tablet_that_was_removed_is_shut_out_at_once(bench: Bench) -> bool:
    assert bench.pair().status_code == 303
    assert bench.tablet.get("/engines/1").status_code == 200
    assert bench.here.post("/tablets/1/remove", data={"key": key()}).status_code == 303
    return bench.tablet.get("/engines/1").status_code == 401


@rule(without_dependency(only_here))
def a_tablet_may_not_say_who_signs_off(bench: Bench) -> bool:
    bench.pair()
    sent = {"key": key(), "name": "Kim", "pin": PIN, "again": PIN}
    return bench.tablet.post("/people", data=sent).status_code == 403


@rule(without_dependency(only_here))
def a_tablet_may_not_let_others_in(bench: Bench) -> bool:
    bench.pair()
    return bench.tablet.post("/tablets/code").status_code == 403


@rule(without(middleware, "HEADERS", {}))
def no_script_runs_but_the_program_s_own(bench: Bench) -> bool:
    policy = bench.here.get("/").headers.get("Content-Security-Policy", "")
    return "script-src 'self';" in policy and "default-src 'none'" in policy and "unsafe" not in policy


@rule(without(middleware, "HEADERS", {}))
def no_other_site_frames_a_page(bench: Bench) -> bool:
    return "frame-ancestors 'none'" in bench.here.get("/").headers.get("Content-Security-Policy", "")


@rule(without(middleware, "HEADERS", {}))
def no_file_is_taken_for_another_kind(bench: Bench) -> bool:
    return bench.here.get("/static/tokens.css").headers.get("X-Content-Type-Options") == "nosniff"


@rule(without(middleware.Headers, "__call__", straight_on))
def no_page_is_kept_by_the_browser(bench: Bench) -> bool:
    return bench.here.get("/engines/1").headers.get("Cache-Control") == "no-store"


@rule(without(middleware.LimitedBody, "__call__", straight_on))
def a_form_has_a_largest_size(bench: Bench) -> bool:
    return bench.here.post("/engines", data={"serial": "x" * middleware.BODY_LIMIT}).status_code == 413


@rule(without(middleware.LimitedTime, "__call__", straight_on))
def a_request_has_a_longest_time(bench: Bench) -> bool:
    return bench.here.get("/slow").status_code == 503


def _off_field_limit(patch: pytest.MonkeyPatch, bench: Bench) -> None:
    bench.overrides[context._typed] = lambda: Typed({"layout": "v8"})


@rule(_off_field_limit)
def a_form_has_a_largest_number_of_fields(bench: Bench) -> bool:
    return bench.here.post("/engines/new", data={f"field{n}": "1" for n in range(301)}).status_code == 400


def _off_escaping(patch: pytest.MonkeyPatch, bench: Bench) -> None:
    bench.templates = context.environment().overlay(autoescape=False)


@rule(_off_escaping)
def what_was_typed_is_never_markup(bench: Bench) -> bool:
    engines.change(bench.shop, 1, 1, engines.EngineFacts(**{**vars_of(FACTS), "vehicle": "<img src=x>"}))
    return "<img src=x>" not in bench.here.get("/engines/1").text


def _off_cookie(patch: pytest.MonkeyPatch, bench: Bench) -> None:
    kept = Response.set_cookie

    def lax(self: Response, name: str, value: str, **_: Any) -> None:
        kept(self, name, value, httponly=False, samesite="lax")

    patch.setattr(Response, "set_cookie", lax)


@rule(_off_cookie)
def the_cookie_is_out_of_reach_of_scripts_and_other_sites(bench: Bench) -> bool:
    said = bench.pair().headers["Set-Cookie"]
    return "HttpOnly" in said and "SameSite=strict" in said


@rule(_off_cookie)
def a_cookie_made_under_https_goes_over_https_only(bench: Bench) -> bool:
    bench.tablet.base_url, bench.tablet.headers["Origin"] = HOME.replace("http", "https"), HOME.replace("http", "https")
    said = bench.pair().headers["Set-Cookie"]
    return said.startswith("__Host-") and "Secure" in said


@rule(without(trust, "protect", lambda *_, **__: None))
def the_door_without_https_answers_no_foreign_name(bench: Bench) -> bool:
    door = TestClient(trust.create_trust_app(trust.Trust(b"", "", HOME, HOME)), base_url=HOME)
    return door.get("/trust", headers={"Host": "other.example"}).status_code == 400


@rule(without(tablets, "hashed", lambda token: token))
def the_file_does_not_hold_a_tablet_s_token(bench: Bench) -> bool:
    token = re.match(f"{middleware.TABLET}=([^;]+)", bench.pair().headers["Set-Cookie"])
    assert token is not None
    return token[1].encode() not in bench.held()


def _off_single_use(patch: pytest.MonkeyPatch, bench: Bench) -> None:
    patch.setattr(Pairing, "take", lambda *_: None)


@rule(_off_single_use)
def a_code_is_good_once(bench: Bench) -> bool:
    bench.codes.new()
    code = bench.codes.code
    return (bench.give(code).status_code, bench.give(code).status_code) == (303, 422)


@rule(without(pairing, "GOOD_FOR", 1e9))
def a_code_is_good_for_ten_minutes(bench: Bench) -> bool:
    bench.codes.new()
    code = bench.codes.code
    bench.seconds += 601
    return bool(bench.give(code).status_code == 422)


@rule(without(pairing, "MOST_WRONG", 10**9))
def an_address_gives_no_more_than_five_codes(bench: Bench) -> bool:
    bench.codes.new()
    code = bench.codes.code
    for _ in range(5):
        assert bench.give("AAAAAAAA").status_code == 422
    return bool(bench.give(code).status_code == 422)


def _off_addresses(patch: pytest.MonkeyPatch, bench: Bench) -> None:
    patch.setattr(pairing, "_place", lambda address: "")


@rule(_off_addresses)
def a_stranger_keeps_no_tablet_from_pairing(bench: Bench) -> bool:
    """Neither by wrong codes, nor by asking for new ones while a person types."""
    stranger = bench.client("192.168.7.99")
    bench.codes.new()
    code = bench.codes.code
    for _ in range(20):
        stranger.post("/pair", data={"key": key(), "code": "AAAAAAAA", "name": "mine"})
        bench.seconds += 11
        assert stranger.post("/pair/code").status_code == 303
    return bool(bench.give(code).status_code == 303)


@rule(without(Pairing, "noticed", ()))
def a_stranger_who_tries_codes_is_told_of(bench: Bench) -> bool:
    stranger = bench.client("192.168.7.99")
    bench.codes.new()
    for _ in range(3):
        stranger.post("/pair", data={"key": key(), "code": "AAAAAAAA", "name": "mine"})
    bench.give("AAAAAAAA")
    bench.give(bench.codes.code)  # who mistyped it and then did not is no stranger
    bench.seconds += 300
    told = in_words(because(Noticed.PAIRING_TRIED, address="192.168.7.99", tries=3, ago=timedelta(seconds=300)))
    shown = [bench.here.get(path).text for path in ("/", "/shop")]
    return all(escape(told) in page and "192.168.7.31" not in page for page in shown)


@rule(without(pairing, "BETWEEN", -1.0))
def codes_are_not_shown_one_after_the_other(bench: Bench) -> bool:
    return [bench.tablet.post("/pair/code").status_code for _ in range(2)] == [303, 429]


@rule(without(people, "prove", lambda *_: None))
def a_sign_off_asks_for_the_pin(bench: Bench) -> bool:
    bench.list_somebody()
    return on_page(Rejection.PIN_WRONG) in bench.sign("1470")


@rule(without(people, "FREE_TRIES", 10**9))
def guessing_a_pin_is_slowed_down(bench: Bench) -> bool:
    bench.list_somebody()
    for _ in range(5):
        bench.sign("1470")
    return on_page(Rejection.TOO_MANY_TRIES, wait=people.FIRST_WAIT) in bench.sign(PIN)


def _off_steady(patch: pytest.MonkeyPatch, bench: Bench) -> None:
    patch.setattr(Stopwatch, "since", lambda self, what: 1e9)


@rule(_off_steady)
def no_clock_and_no_age_that_a_tablet_claims_ends_the_wait(bench: Bench) -> bool:
    bench.list_somebody()
    for _ in range(5):
        bench.sign("1470")
    bench.now += timedelta(days=2)
    return on_page(Rejection.TOO_MANY_TRIES, wait=people.FIRST_WAIT) in bench.sign(PIN, **{context.OUTBOX: "600000"})


def _off_server_now(patch: pytest.MonkeyPatch, bench: Bench) -> None:
    bench.overrides[context._server_now] = context._now


@rule(_off_server_now)
def no_tablet_dates_a_sign_off_a_person_or_a_pairing(bench: Bench) -> bool:
    claimed = {context.OUTBOX: "600000"}
    bench.codes.new()
    pairing_sent = {"key": key(), "code": bench.codes.code, "name": "test cell"}
    assert bench.tablet.post("/pair", data=pairing_sent, headers=claimed).status_code == 303
    person = {"key": key(), "name": "Kim", "pin": PIN, "again": PIN}
    assert bench.here.post("/people", data=person, headers=claimed).status_code == 303
    bench.sign(PIN, **claimed)
    with bench.shop.reading() as session:
        dated = {at for table in (Tablet, Person, SignOff) for at in session.exec(select(table.at)).all()}
    return dated == {context.stamp(bench.now)}


def _off_ready(patch: pytest.MonkeyPatch, bench: Bench) -> None:
    patch.setattr(visits, "_require_ready", lambda *_: None)


@rule(_off_ready)
def a_pin_is_not_looked_at_where_nothing_can_be_signed(bench: Bench) -> bool:
    bench.list_somebody()
    visit(bench.shop, engine(bench.shop, serial="31-0218"))
    said = [
        bench.here.post("/api/visits/2/sign-off", json={"key": key(), "name": "Kim", "pin": pin}).text
        for pin in ("1470", PIN)
    ]
    return said[0] == said[1]


class NoHasher:
    def hash(self, pin: str) -> str:
        return f"plain {pin}"


@rule(without(people, "HASHER", NoHasher()))
def the_file_does_not_hold_a_pin(bench: Bench) -> bool:
    people.add(bench.shop, key(), "Kim", "77301942", "77301942", AT)
    return b"77301942" not in bench.held()


def _off_pin_field(patch: pytest.MonkeyPatch, bench: Bench) -> None:
    """As if the page filled the field with what was typed."""
    kept = context.Pages.show

    def show(self: context.Pages, template: str, status: int = 200, **facts: Any) -> Any:
        facts["problems"] = {**facts["problems"], "name": facts["values"].get("pin", "")}
        return kept(self, template, status, **facts)

    patch.setattr(context.Pages, "show", show)


@rule(_off_pin_field)
def a_pin_that_was_typed_is_not_shown_again(bench: Bench) -> bool:
    people.add(bench.shop, key(), "Kim", PIN, PIN, AT)
    return "14701470" not in bench.sign("14701470")


def _off_hiding(patch: pytest.MonkeyPatch, bench: Bench) -> None:
    patch.setattr(
        database, "create_engine", lambda *a, **k: sqlalchemy.create_engine(*a, **{**k, "hide_parameters": False})
    )


@rule(_off_hiding)
def an_error_for_the_log_names_no_customer(bench: Bench) -> bool:
    def store_badly() -> None:
        with bench.shop.writing() as session:
            session.connection().exec_driver_sql("INSERT INTO engine (customer) VALUES (?)", ("Ada of Number 7",))

    with pytest.raises(IntegrityError) as caught:
        store_badly()
    return "Ada of Number 7" not in str(caught.value)


@pytest.mark.parametrize("name", RULES)
@pytest.mark.parametrize("on", [True, False], ids=["on", "off"])
def test_the_rule(bench: Bench, monkeypatch: pytest.MonkeyPatch, name: str, on: bool) -> None:
    assert RULES.holds(name, bench, monkeypatch, on=on) is on


def test_the_shop_computer_needs_no_pairing(bench: Bench) -> None:
    bench.start()
    assert bench.here.get("/engines/1").status_code == 200
    assert bench.tablet.get("/").headers["Location"] == "/pair"
    assert bench.pair().headers["Location"] == "/"
    assert bench.tablet.get("/engines/1").status_code == 200
    assert bench.client("192.168.7.99").get("/engines/1").status_code == 401
