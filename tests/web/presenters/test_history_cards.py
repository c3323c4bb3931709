"""The engine page's past: visits in a line, charts, and what slipped in words that lead there from the readings."""

import re
from collections.abc import Iterator
from dataclasses import replace

import pytest
from starlette.testclient import TestClient

from app.shop.assessment.visit_summary import Moved, RoundSpread, build_history
from app.shop.commands import engines, settings_versions
from app.shop.record.fittings import hardware_from_json
from app.shop.record.measures import Units
from app.shop.record.settings import DEFAULTS
from app.shop.store.database import Database
from app.web.application import create_app
from app.web.presenters.history.drift_chart import Steps, _word, _word_of_banks
from app.web.presenters.history.history import history
from app.web.presenters.history.spread_chart import spread_charts
from app.wording.message import Message, say
from app.wording.office import slips
from tests.shop.past import Past
from tests.shop.yard import AT, FOUR, V8, key, visit_record
from tests.web.pieces import plain

ORIGIN = "http://127.0.0.1"
EVEN = [6.5] * 8
SLIPPED = [6.5, 6.5, 7.75, 7.75, 6.5, 6.5, 6.5, 6.5]


@pytest.fixture
def client(shop: Database) -> Iterator[TestClient]:
    with TestClient(create_app(shop), base_url=ORIGIN) as opened:
        yield opened


def page(client: TestClient, past: Past) -> str:
    """The engine page with its line breaks as single spaces; no-break spaces stay."""
    return re.sub(r"[ \n]+", " ", plain(client.get(f"/engines/{past.engine_id}").text))


def test_from_readings_to_the_verdict(client: TestClient, shop: Database) -> None:
    past = Past(shop)
    past.visit(EVEN, EVEN)
    past.visit(SLIPPED, EVEN)
    shown = page(client, past)
    assert "Visit 1 to 2" in shown
    assert "<b>Coupler 2–3 slipped</b>, over 99\u00a0% likely" in shown
    assert (
        '<th scope="row">3</th><td class="num">6.50</td><td class="num">7.75</td><td class="num">+17.6\u00a0%</td>'
        in shown
    )
    assert say(slips.BORES_BEYOND, bores="bores 3 and 4") in shown
    amount = r"bores 3 and 4 opened by 1\d\xa0% \(±\d\xa0%\), about 0\.00\d\d to 0\.00\d\d\xa0in\."
    assert re.search(f"Coupler 2–3, over 99\xa0% likely: {amount}", shown)
    assert say(slips.SLIPPED_ONCE, suspect="Coupler 2–3") in shown
    assert shown.count("slipped open</span>") == 2
    assert say(slips.FIRST_ONE, one="coupler 2–3 (slipped before, reset last)") in shown


def test_two_couplers_that_slipped_are_both_named_and_no_bore_of_theirs_is_steady(
    client: TestClient, shop: Database
) -> None:
    """Bores 3 and 4 opened by a quarter and 7 and 8 closed by one, while the other four stand to the last digit."""
    past = Past(shop, V8)
    past.visit([6.5] * 8, [6.5] * 8)
    past.visit([6.5, 6.5, 8.0, 8.0, 6.5, 6.5, 5.0, 5.0], [6.5] * 8)
    shown = page(client, past)
    assert re.search("Coupler (6–7 slipped, coupler 2–3|2–3 slipped, coupler 6–7) too", plain(shown))
    assert (shown.count("slipped open</span>"), shown.count("slipped closed</span>")) == (2, 2)


def test_the_spread_of_each_round_is_told_with_the_moves_before_it(shop: Database) -> None:
    """By hand: bores at 7.75 and 6.5 are 1.25 apart at an average of 6.8125, 18.3 %; what the meter may repeat within
    takes a little of it."""
    past = Past(shop)
    past.visit(SLIPPED, EVEN)
    first, last = build_history(visit_record(shop, past.visits[0])).spreads
    assert (first.number, first.moves, last.number, last.moves) == (1, 0, 2, 1)
    assert first.share == pytest.approx(0.183, abs=0.02)
    assert last.share == pytest.approx(0.0, abs=0.001)


def test_spreads_are_drawn_to_scale_and_moves_between_rounds(shop: Database) -> None:
    """By hand: 48 % is 110 high, and the foot at 130; three rounds stand 57 apart."""
    past = Past(shop)
    past.visit(SLIPPED, EVEN)
    summary = build_history(visit_record(shop, past.visits[0]))
    three = (RoundSpread(1, 0.24, 0), RoundSpread(3, 0.12, 1), RoundSpread(4, 0.0, 2))
    (chart,) = spread_charts([replace(summary, spreads=three)])
    assert chart.line == "M52 75L109 102.5L166 130"
    assert chart.word == "24\u00a0% to 0\u00a0%"
    assert chart.moves == ((80.5, "1"), (137.5, "2"))
    assert [text for _, text in chart.rounds] == ["1", "3", "4"]
    far = replace(summary, spreads=(RoundSpread(1, 0.6, 0), *(RoundSpread(n, 0.1, 2) for n in range(2, 31))))
    (long,) = spread_charts([far])
    assert (long.found, long.beyond) == ("", "M47 25h10L52 15z")
    assert len(long.rounds) < 10
    assert long.rounds[-1] == (166.0, "30")


def test_one_round_draws_no_spread(shop: Database) -> None:
    past = Past(shop)
    past.visit(EVEN)
    assert spread_charts([build_history(visit_record(shop, past.visits[0]))]) == ()


def test_the_difference_of_the_banks_is_drawn_over_the_visits(client: TestClient, shop: Database) -> None:
    """By hand: banks at 7.5 and 6.5 are 14 % of their average apart, a little less beside what the meter repeats."""
    past = Past(shop)
    past.visit([6.5] * 4 + [7.5] * 4, EVEN)
    assert re.search(r"Bank B minus A, not compared\. [^\"]*visit 1 found \+1\d, left [+−]?0\"", page(client, past))
    past.visit(EVEN, [7.5] * 4 + [6.5] * 4)
    assert re.search(r"Bank B minus A, banks apart\. [^\"]*visit 2 found [+−]?0, left −1\d\"", page(client, past))
    one_bank = Past(shop, FOUR, "31-0300")
    one_bank.visit([6.5] * 4, [6.5] * 4)
    assert "Bank difference" not in page(client, one_bank)


def test_a_quiet_engine_says_so(client: TestClient, shop: Database) -> None:
    past = Past(shop)
    past.visit(EVEN, EVEN)
    past.visit(EVEN, EVEN)
    shown = page(client, past)
    assert re.search(r"<b>Probably nothing slipped</b>, [89]\d\xa0% likely", shown)
    assert say(slips.NO_BORE_BEYOND) in shown
    assert say(slips.NEVER_SLIPPED) in shown


def test_while_a_visit_is_open_it_says_what_to_check_first(client: TestClient, shop: Database) -> None:
    past = Past(shop)
    past.visit(EVEN, EVEN)
    past.visit(SLIPPED, signed=False)
    first = re.search(r"<h2>Check first</h2><p>([^<]*)", page(client, past))
    assert first is not None
    assert "coupler 2–3" in first[1]


def test_hardware_meter_and_air_are_marked_in_the_charts(client: TestClient, shop: Database) -> None:
    air = {"air-pressure": 101.3, "air-temperature": 20.0, "idle-speed": 850.0}
    past = Past(shop)
    past.visit(EVEN, EVEN, air=air)
    assert "draw-letter" not in page(client, past)
    with shop.reading() as session:
        fitted = engines.fitting_now(session, past.engine_id)
    engines.fit(shop, past.engine_id, key(), V8, hardware_from_json(fitted.hardware), "Plates measured", AT)
    past.visit([6.0] * 8, EVEN, air={**air, "air-pressure": 93.0})
    shown = page(client, past)
    assert shown.count(">HA</text>") == 11  # eight bores, two banks and what is between them
    assert f"<li><b>H</b>{say(slips.LETTERS['H'])}</li>" in shown
    assert f"<li><b>A</b>{say(slips.LETTERS['A'])}</li>" in shown
    assert "<b>M</b>" not in shown


def test_earlier_slips_are_a_line_with_a_page_of_their_own(client: TestClient, shop: Database) -> None:
    past = Past(shop)
    for found in (EVEN, SLIPPED, EVEN, EVEN, EVEN):
        past.visit(found, EVEN)
    shown = page(client, past)
    assert shown.count("<details") == 4  # what is fitted, and three returns
    assert 'href="/visits/2/slipped"><span>Visit 1 to 2' in shown
    assert "Coupler 2–3, over 99" in plain(client.get("/visits/2/slipped").text)
    assert client.get("/visits/1/slipped").status_code == 404
    assert client.get("/visits/99/slipped").status_code == 404


def test_what_was_moved_is_told_each_once_and_in_order(shop: Database) -> None:
    remembered = build_history(visit_record(shop, Past(shop).visit(EVEN)))
    couplers = [Moved("blade", "", near, near + 1, 0.0) for near in (3, 2, 3)]
    screws = [Moved("stop", bank, None, None, 0.25) for bank in ("B", "A")]
    bypasses = [Moved("bypass", "", bore, None, 0.25) for bore in (10, 9)]
    (line,) = history([replace(remembered, moves=(*couplers, *screws, *bypasses))], {})
    assert line.moves == 7
    assert line.moved == "couplers 2–3, 3–4, stop screws A, B, bypass screws 9, 10"


def test_what_was_typed_is_escaped_here_too(client: TestClient, shop: Database) -> None:
    past = Past(shop)
    past.visit(EVEN, EVEN, by="<b>KM")
    assert "&lt;b&gt;KM" in page(client, past)


@pytest.mark.parametrize(
    ("steps", "way"), [([0.4, 0.4], 1), ([-0.4, -0.4], -1), ([0.4, -0.4], 0), ([0.9], 0), ([0.1, 0.1], 0)]
)
def test_one_way_needs_two_steps_and_more_than_the_meter(steps: list[float], way: int) -> None:
    past = Steps().then(0.0, 0.0)
    for step in steps:
        past = past.then(step, 0.0)
    assert past.one_way(band=0.5) == way


def test_an_engine_left_alone_goes_on_from_where_it_was_found() -> None:
    past = Steps().then(0.0, 0.0).then(0.4, None).then(0.8, None)
    assert past.one_way(band=0.5) == 1
    assert past.newest == 0.8


def test_a_visit_that_was_not_read_at_a_bore_leaves_it_where_it_stood() -> None:
    past = Steps().then(0.0, 0.1).then(None, None)
    assert past == Steps(left=0.1)
    assert past.then(0.4, None).total == pytest.approx(0.3)


def test_a_bore_is_called_steady_only_once_two_visits_are_compared(client: TestClient, shop: Database) -> None:
    past = Past(shop)
    past.visit(EVEN, EVEN)
    shown = page(client, past)
    assert say(slips.NOT_COMPARED) in shown
    assert say(slips.STEADY) not in shown
    past.visit(EVEN, EVEN)
    shown = page(client, past)
    assert say(slips.STEADY) in shown
    assert say(slips.NOT_COMPARED) not in shown


def test_a_metric_shop_reads_the_gap_in_millimeters(client: TestClient, shop: Database) -> None:
    past = Past(shop)
    past.visit(EVEN, EVEN)
    past.visit(SLIPPED, EVEN)
    settings_versions.change(shop, key(), 0, replace(DEFAULTS, units=Units(blade="mm")), "", "KM", AT)
    shown = page(client, past)
    assert re.search(r"about 0\.0\d to 0\.0\d\xa0mm\.", shown)
    assert "\xa0in." not in shown.partition("and the evidence")[2]


@pytest.mark.parametrize(("found", "word"), [(0.11, slips.MOVED), (-0.11, slips.MOVED), (0.02, slips.STEADY)])
def test_what_was_found_off_and_set_again_is_not_called_steady(found: float, word: Message) -> None:
    """A tolerance of 7 %: a bank left even and found 11 % open moved, whatever it was left at after that."""
    past = Steps().then(0.0, 0.0).then(found, 0.0)
    assert _word(past, 0.07, 0.02, False) == (word, False)
    assert _word_of_banks(past, 0.07) == word
    assert _word(past, 0.07, 0.02, True, own=True) == (word, False)
    assert _word(past, 0.07, 0.02, True) == (slips.STEADY, False)  # others slipped, and the average with them
