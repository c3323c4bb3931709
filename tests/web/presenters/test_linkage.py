"""Lever and links: what is drawn for each state of the banks, and what the words say to turn, feel or read."""

import re
from dataclasses import replace
from types import SimpleNamespace as Facts

import pytest

from app.shop.assessment.assessment import assess
from app.shop.commands import settings_versions
from app.shop.procedure.phases import BANK_BALANCE
from app.shop.record.settings import DEFAULTS
from app.shop.store.database import Database
from app.sync.banks.bank_means import BankDifference
from app.sync.banks.banks import Extra
from app.sync.banks.link_hypotheses import Cause
from app.sync.engine.units import THOU
from app.sync.planning.advice import Advice, AdviceKind
from app.web.presenters.reading import bank_card
from app.web.presenters.reading.keypad import Wanted
from app.web.presenters.reading.reading_page import ReadingPage
from app.wording.message import Message, say
from app.wording.quantities import flats
from app.wording.work import bank_balance
from app.wording.work import linkage as words
from tests.shop.bank_balance import at_the_banks, at_the_banks_by_columns, read_alike, read_with_one_bank_early
from tests.shop.yard import AT, FOUR, heat_soaked, key, visit_record
from tests.web.balance import FELT, balance
from tests.web.pieces import piece


def rod(bank: str, bore: int, **changed: object) -> Facts:
    facts: dict[str, object] = {
        "at": 0.0,
        "shape": "none",
        "blades": 1,
        "twin": False,
        "worn": False,
        "lifted": False,
        "short": False,
    }
    return Facts(bank=bank, bore=bore, **(facts | changed))


def drawn(first: Facts | None = None, front: str = "left", **changed: object) -> str:
    """The linkage with those facts."""
    facts: dict[str, object] = {
        "line": "firm",
        "turn": "",
        "flats": 0.0,
        "count": "",
        "way": "",
        "ask": "",
        "lever": "",
    }
    view = Facts(rods=(first or rod("A", 1), rod("B", 5)), title="", steps=(), **(facts | changed))
    return piece("linkage", "linkage_drawing(view, front)", view=view, front=front)


def test_even_banks_are_one_unbroken_line() -> None:
    assert drawn(line="even").count("draw-axis-even") == 6  # two shafts, two rods, and the levers at their ends
    assert "draw-axis-even" not in drawn(line="firm") + drawn(line="doubt")


def test_what_is_not_known_is_dashed() -> None:
    assert drawn(line="doubt").count("draw-dashed") == 2
    assert "draw-dashed" not in drawn(line="firm") + drawn(line="even")


@pytest.mark.parametrize(("count", "heavy"), [(0.5, 1), (1.0, 1), (1.5, 2), (2.25, 3), (9.0, 6)])
def test_as_many_sides_of_the_hexagon_are_heavy_as_flats_are_turned(count: float, heavy: int) -> None:
    html = drawn(turn="B", flats=count, count="x", way="later")
    assert html.count("draw-heavy") == heavy
    assert html.count("draw-standing") == 1


@pytest.mark.parametrize(
    ("ask", "mark", "times"),
    [
        ("bank-joints", "draw-ask", 2),
        ("joints", "draw-ask", 4),
        ("shafts", "draw-ask", 2),
        ("plates", "draw-disc-now", 2),
        ("lever", "draw-standing", 1),
    ],
)
def test_what_is_asked_for_is_marked_where_it_sits(ask: str, mark: str, times: int) -> None:
    assert drawn(ask=ask, lever="0.030 in" if ask == "lever" else "").count(mark) == times
    assert mark not in drawn()


@pytest.mark.parametrize(
    ("fault", "word"), [("worn", "lost motion"), ("lifted", "off its stop"), ("short", "opens faster")]
)
def test_a_fault_is_drawn_and_named_at_its_bank(fault: str, word: str) -> None:
    html = drawn(rod("A", 1, **{fault: True}))
    assert html.count(word) == 1
    assert html.replace(word, "rod at bore 1") != drawn()


def test_the_drawing_turns_with_the_engine() -> None:
    def plates(html: str) -> list[float]:
        return [float(x) for x in re.findall(r"translate\((\S+) \d+\) scale", html)]

    near_front = plates(drawn(rod("A", 1, at=0.0)))[0]
    assert plates(drawn(rod("A", 1, at=1.0), front="right"))[0] == near_front < plates(drawn(rod("A", 1, at=1.0)))[0]


def test_a_wrong_length_names_rod_flats_and_way(shop: Database) -> None:
    desk = balance(shop, (1.0, 1.0))
    view = desk.linkage
    assert view is not None
    assert (view.turn, view.way, view.line) == ("B", "later", "firm")
    assert view.flats > 0
    assert [r.shape for r in view.rods] == ["tight", "wide"]
    assert view.steps[1].startswith(say(words.TURN_FOR_MORE, flats=flats(view.flats), band="…").partition("…")[0])
    assert re.search(r"\(±(¼|½|¾|1[¼½¾]?)\u00a0flats?\)", view.steps[1])
    assert "bore 5" in view.steps[0]
    assert view.count in desk.card.title
    assert desk.card.hidden["way"] == "out"
    assert [m.shown for m in desk.verdict.openings] == ["0.00", "+1.00", "+1.00"]


@pytest.mark.parametrize(("log_sd", "told"), [(0.006, "+2.9"), (0.02, "+3")])
def test_a_difference_has_no_more_places_than_its_error_leaves(log_sd: float, told: str) -> None:
    one = BankDifference(10 * THOU, 30e3, 29e3, 300.0, (1.0, 1.0294), log_sd)
    assert bank_balance.percent(one) == told


def test_the_line_of_an_opening_says_what_is_read_aloud(shop: Database) -> None:
    """Four columns a bank, 2.2 % of their own in each: per cent have no decimals."""
    visit_id = at_the_banks_by_columns(shop)
    for first, second in ((28.0, 27.5), (24.0, 23.75)):
        read_alike(shop, visit_id, BANK_BALANCE, first, second)
    verdict = ReadingPage(assess(visit_record(shop, visit_id)), BANK_BALANCE, Wanted(), {}, {}).verdict
    shown = [one.shown for one in verdict.openings]
    assert shown[0] == "0\u00a0%"
    assert all(re.fullmatch(r"\+\d\u00a0%", one) for one in shown[1:])
    assert re.findall(r"\(([^)]+)\)", verdict.spoken) == shown


@pytest.mark.parametrize(("window", "says"), [(0.04, bank_balance.WITHIN), (0.02, bank_balance.WITHIN_ERROR)])
def test_banks_open_together_within_tolerance_or_as_far_as_readings_vary(
    shop: Database, window: float, says: Message
) -> None:
    settings_versions.change(shop, key(), 0, replace(DEFAULTS, bank_window=window), "Tried", "KM", AT)
    verdict = balance(shop, (0.25, 0.0)).verdict  # 2.7 % and nothing
    assert verdict.title == say(bank_balance.TOGETHER)
    assert verdict.sentence == say(says, tolerance=f"{100 * window:.0f}\u00a0%")


def test_a_turnbuckle_has_two_nuts_and_finer_steps(shop: Database) -> None:
    view = balance(shop, (1.0, 1.0), (*FELT, "both-hands")).linkage
    assert view is not None
    assert view.turn == "B"
    assert view.steps[0] == say(words.LOOSEN_BOTH, bore=5)
    nuts = "h18v8h-18z"
    assert drawn(rod("A", 1, twin=True)).count(nuts) == drawn().count(nuts) + 1


def test_banks_that_agree_are_drawn_even(shop: Database) -> None:
    view = balance(shop, (0.0, 0.0)).linkage
    assert view is not None
    assert (view.line, view.turn, view.ask) == ("even", "", "")


@pytest.mark.parametrize(("ticks", "ask"), [((), "bank-joints"), (("free-play",), "joints")])
def test_what_was_not_felt_yet_is_asked_for(shop: Database, ticks: tuple[str, ...], ask: str) -> None:
    desk = balance(shop, (-0.75, -0.75), ticks)
    assert desk.linkage is not None
    assert (desk.linkage.ask, desk.linkage.turn) == (ask, "")
    extra = {"bank-joints": Extra.FREE_PLAY, "joints": Extra.BOTH_WAYS}[ask]
    assert desk.step.why is extra
    assert desk.card.reason == say(bank_balance.EXTRAS[extra].reason)


@pytest.mark.parametrize(
    ("apart", "said"),
    [
        ((1.0, 1.0), bank_balance.CAUSES[Cause.LENGTH]),
        ((0.25, 1.5), bank_balance.MOSTLY_LENGTH),
        ((-2.25, -4.0), bank_balance.STILL_ON_STOP),
    ],
)
def test_the_sentence_fits_the_figures(shop: Database, apart: tuple[float, float], said: Message) -> None:
    assert balance(shop, apart).verdict.sentence == say(said, bank="B")


def test_one_opening_does_not_name_a_cause(shop: Database) -> None:
    desk = balance(shop, (1.0, 1.0), most=10)
    assert desk.verdict.title == say(bank_balance.ONE_OPENING)
    assert [m.state for m in desk.verdict.openings] == ["read", "read", "next"]
    assert desk.linkage is not None
    assert desk.linkage.lever == "0.030\u00a0in"


def test_one_bank_has_no_links(shop: Database) -> None:
    visit_id = heat_soaked(shop, FOUR)
    desk = ReadingPage(assess(visit_record(shop, visit_id)), BANK_BALANCE, Wanted(), {}, {})
    assert desk.linkage is None
    assert desk.verdict.openings == ()


def test_where_both_openings_are_read_again_each_has_its_button(shop: Database) -> None:
    """Idle was read last, after a link rod was turned: one more round of that would say nothing of the openings."""
    visit_id = at_the_banks(shop)
    read_with_one_bank_early(shop, visit_id)
    assessment = assess(visit_record(shop, visit_id))
    judged = assessment.of(BANK_BALANCE)
    assert judged.banks is not None
    step = Advice(AdviceKind.MEASURE, Extra.AGAIN)
    again = replace(judged, step=step, banks=replace(judged.banks, extra=Extra.AGAIN))
    card = bank_card.card(assessment, again, ("Read both openings again", "Not sure"))
    assert [(one.label, one.name) for one in card.answers] == [
        ("Read 0.010\u00a0in again", "opening"),
        ("Read 0.030\u00a0in again", "opening"),
    ]
    assert [float(one.value) for one in card.answers] == [pytest.approx(o / THOU) for o in DEFAULTS.openings]
