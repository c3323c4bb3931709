"""The reading page as plain facts, where no browser is needed to see them."""

from dataclasses import replace

import pytest

from app.shop.assessment.assessment import assess
from app.shop.commands import checks, moves, running
from app.shop.commands.moves import NewMove
from app.shop.commands.readings import NewReading, add, begin_round
from app.shop.procedure.items import Phase
from app.shop.procedure.phases import BANK_BALANCE, COLD_PRESET, FIRST_FIRE, HEAT_SOAKED, LOCK_DOWN
from app.shop.store.database import Database
from app.sync.engine.layout import Bank, Layout
from app.sync.planning.advice import Advice, AdviceKind, AdviceReason
from app.web.presenters.drawing import small_rows
from app.web.presenters.reading.keypad import Wanted
from app.web.presenters.reading.reading_page import ReadingPage
from app.web.presenters.reading.tiles import Tiles
from app.wording.message import say
from app.wording.work import reading_page as words
from app.wording.work.phases import phase_name
from tests.shop.yard import (
    AT,
    FOUR,
    check_all,
    engine,
    heat_soaked,
    key,
    read,
    read_round,
    start_again,
    visit,
    visit_record,
)
from tests.web.pieces import piece


def desk(shop: Database, *banks: int) -> ReadingPage:
    """The page of a new visit to an engine with banks of so many bores."""
    first, made = 1, []
    for name, count in zip("AB", banks, strict=False):
        made.append(Bank(name, tuple(range(first, first + count)), first, first))
        first += count
    return ReadingPage(
        assess(visit_record(shop, visit(shop, engine(shop, Layout(tuple(made)))))), HEAT_SOAKED, Wanted(), {}, {}
    )


@pytest.mark.parametrize(
    ("banks", "rows"),
    [((6,), [6]), ((7,), [4, 3]), ((8,), [4, 4]), ((12,), [6, 6]), ((6, 6), [6, 6])],
)
def test_a_long_bank_alone_is_folded_in_two(shop: Database, banks: tuple[int, ...], rows: list[int]) -> None:
    view = desk(shop, *banks).engine
    assert [len(row.tiles) for row in view.rows] == rows
    assert sum(len(row.couplers) for row in view.rows) == sum(banks) - len(banks)
    drawn = piece("engine", "engine(view)", view=view)
    assert drawn.count('class="coupler"') == sum(banks) - len(banks)
    assert drawn.count("M-44 -9") == len(banks)  # one stop screw a bank


def test_what_was_entered_before_stays_in_sight_struck(shop: Database) -> None:
    visit_id = heat_soaked(shop)
    first = read(shop, visit_id, HEAT_SOAKED, 8.0)
    alone = ReadingPage(assess(visit_record(shop, visit_id)), HEAT_SOAKED, Wanted(bore=1), {}, {}).card
    assert [(one.value, one.struck) for one in alone.values] == [("8.00", False)]
    assert alone.reason == say(words.REPLACES)
    again = ReadingPage(assess(visit_record(shop, visit_id)), HEAT_SOAKED, Wanted(1, "again"), {}, {}).card
    assert again.reason == say(words.ADDS)
    assert [answer.href for answer in again.answers] == [f"/visits/{visit_id}/{HEAT_SOAKED.slug}/readings"]
    corrected = NewReading(HEAT_SOAKED.slug, 2, 1, "turn", 6.5, "AB", supersedes=first)
    add(shop, visit_id, key(), corrected, AT)
    card = ReadingPage(assess(visit_record(shop, visit_id)), HEAT_SOAKED, Wanted(bore=1), {}, {}).card
    assert [(one.value, one.who[:2], one.struck) for one in card.values] == [
        ("8.00", "KM", True),
        ("6.50", "AB", False),
    ]
    drawn = piece("move", "move(card)", card=card)
    assert drawn.count("<s>") == 1
    assert "<s>8.00</s>" in drawn
    assert ReadingPage(assess(visit_record(shop, visit_id)), HEAT_SOAKED, Wanted(), {}, {}).card.values == ()


def ways_on(shop: Database, visit_id: int, phase: Phase) -> list[str]:
    """Where the card's answers lead, as they are labeled."""
    return [
        answer.label
        for answer in ReadingPage(assess(visit_record(shop, visit_id)), phase, Wanted(), {}, {}).card.answers
    ]


def test_a_round_begun_by_mistake_may_be_left(shop: Database) -> None:
    visit_id = heat_soaked(shop)
    assert ways_on(shop, visit_id, HEAT_SOAKED) == []  # the phase wants this round
    for phase, next_one in ((HEAT_SOAKED, BANK_BALANCE), (BANK_BALANCE, LOCK_DOWN)):
        check_all(shop, visit_id, phase)
        for _ in visit_record(shop, visit_id).settings.openings if phase is BANK_BALANCE else (0,):
            read_round(shop, visit_id, phase)
        begin_round(shop, visit_id, key(), phase.slug, AT)
        assert ways_on(shop, visit_id, phase) == [say(words.CONTINUE, phase=phase_name(next_one))]
    read(shop, visit_id, HEAT_SOAKED)
    assert ways_on(shop, visit_id, HEAT_SOAKED) == []  # something is in it now


def test_before_its_turn_a_phase_says_what_comes_first_and_nothing_is_typed(shop: Database) -> None:
    visit_id = visit(shop, engine(shop))
    check_all(shop, visit_id, COLD_PRESET)
    early = ReadingPage(assess(visit_record(shop, visit_id)), HEAT_SOAKED, Wanted(bore=2), {}, {})
    assert (early.card.title, early.selected, early.keypad.open) == (say(words.FIRST), None, False)
    assert early.card.reason.startswith("First finish first fire: ")
    assert [answer.label for answer in early.card.answers] == ["Continue with first fire"]
    refused = ReadingPage(
        assess(visit_record(shop, visit_id)), HEAT_SOAKED, Wanted(bore=2), {"value": "6.5"}, {"value": "Not yet."}
    )
    assert (refused.selected, refused.keypad.open, refused.keypad.typed) == (2, True, "6.5")


def test_a_figure_outside_the_limits_stops_the_reading_until_another_one_is_recorded(shop: Database) -> None:
    visit_id = visit(shop, engine(shop))
    check_all(shop, visit_id, COLD_PRESET)
    check_all(shop, visit_id, FIRST_FIRE)

    def shown() -> tuple[str, int | None, str]:
        now = ReadingPage(assess(visit_record(shop, visit_id)), FIRST_FIRE, Wanted(), {}, {})
        assert now.keypad.open is (now.selected is not None)
        return now.card.title, now.selected, now.card.answers[0].href if now.card.answers else ""

    here = f"/visits/{visit_id}"
    checks.record(shop, visit_id, key(), FIRST_FIRE.slug, {"oil-pressure": 20}, "KM", AT)
    assert shown() == ("Stop the engine", None, f"{here}/first-fire")
    running.end_stop(shop, visit_id, key(), "pump", "", "Pump changed", "KM", AT)
    assert shown() == ("Do this first", None, f"{here}/start")
    start_again(shop, visit_id)
    assert shown() == ("Do this first", None, f"{here}/first-fire")
    checks.record(shop, visit_id, key(), FIRST_FIRE.slug, {"oil-pressure": 310}, "KM", AT)
    assert shown() == ("Read bore 1", 1, "")


def test_bores_apart_by_less_than_the_first_tolerance_are_not_called_even(shop: Database) -> None:
    visit_id = visit(shop, engine(shop, FOUR))
    check_all(shop, visit_id, COLD_PRESET)
    check_all(shop, visit_id, FIRST_FIRE)
    for value in (6.5, 6.5, 6.5, 8.0, 6.5):
        read(shop, visit_id, FIRST_FIRE, value)
    judged = assess(visit_record(shop, visit_id))
    page = ReadingPage(judged, FIRST_FIRE, Wanted(), {}, {})
    assert (page.verdict.mark, page.verdict.title) == ("inside", "Close enough for now")
    assert {tile.word for row in page.engine.rows for tile in row.tiles} == {"inside"}
    (row,) = small_rows(judged)
    assert [tile.shape for tile in row.tiles][3] == "wide"


def test_values_from_before_a_move_are_shown_only_until_the_bores_are_read_again(shop: Database) -> None:
    visit_id = heat_soaked(shop, FOUR)
    read_round(shop, visit_id, HEAT_SOAKED, 6.0)
    turn = NewMove(HEAT_SOAKED.slug, "stop", "A", None, None, 0.25, (), False, "KM")
    moves.make(shop, visit_id, key(), turn, AT)
    assert tile_states(shop, visit_id, HEAT_SOAKED) == {1: "next", 2: "stale", 3: "stale", 4: "stale"}
    old = Tiles(assess(visit_record(shop, visit_id)).of(HEAT_SOAKED), 1, "").tile(2)
    assert (old.value, old.word) == ("", "was 6.00")
    read_round(shop, visit_id, HEAT_SOAKED, 7.0)
    assert tile_states(shop, visit_id, LOCK_DOWN) == dict.fromkeys((2, 3, 4), "to-read") | {1: "next"}


def tile_states(shop: Database, visit_id: int, phase: Phase) -> dict[int, str]:
    drawn = Tiles(assess(visit_record(shop, visit_id)).of(phase), 1, "")
    return {bore: drawn.tile(bore).state for bore in FOUR.bores}


def test_card_and_keypad_do_not_ask_for_two_things(shop: Database) -> None:
    """Where the card asks for an adjustment in the middle of a round, the keypad says that reading on is no order."""
    visit_id = heat_soaked(shop, FOUR)
    read(shop, visit_id, HEAT_SOAKED, 6.5)
    assessment = assess(visit_record(shop, visit_id))
    follows = ReadingPage(assessment, HEAT_SOAKED, Wanted(), {}, {}).keypad.follows
    assert follows != say(words.OR_READ_ON)
    turn = Advice(AdviceKind.STOP, AdviceReason.STOP_BANK, bank="A", turns=0.125, bores=FOUR.bores)
    judged = replace(assessment.of(HEAT_SOAKED), step=turn)
    moving = replace(assessment, _phases={HEAT_SOAKED.slug: judged})
    shown = ReadingPage(moving, HEAT_SOAKED, Wanted(), {}, {})
    assert shown.card.action.endswith("/moves")
    assert shown.keypad.follows == say(words.OR_READ_ON)
    assert ReadingPage(moving, HEAT_SOAKED, Wanted(bore=3), {}, {}).keypad.follows != say(words.OR_READ_ON)


@pytest.mark.parametrize(("last", "says"), [(7.5, True), (6.75, False)])
def test_the_page_after_a_round_says_that_the_idle_drifted(shop: Database, last: float, says: bool) -> None:
    """7.5 after 6.5 is past what the meter repeats; a step of a quarter is not."""
    visit_id = heat_soaked(shop)
    for value in (*[6.5] * 8, last):
        read(shop, visit_id, HEAT_SOAKED, value)
    sentence = ReadingPage(assess(visit_record(shop, visit_id)), HEAT_SOAKED, Wanted(), {}, {}).verdict.sentence
    assert ("Idle drifted +" in sentence) is says
    assert sentence.endswith("during the round (corrected).") is says
