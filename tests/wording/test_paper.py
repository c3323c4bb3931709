"""What is printed, in words: the customer's language, one bank or two, and every figure with its unit."""

import re
from collections.abc import Iterator
from dataclasses import replace

import pytest
from starlette.testclient import TestClient

from app.shop.assessment.assessment import assess
from app.shop.commands import checks, corrections, engines, meters, readings, running
from app.shop.commands.checks import waive
from app.shop.commands.corrections import NewCorrection
from app.shop.commands.meters import NewMeter
from app.shop.commands.readings import NewReading
from app.shop.procedure.phases import HEAT_SOAKED, LOCK_DOWN
from app.shop.record.fittings import hardware_known
from app.shop.store.database import Database
from app.shop.store.tables import CheckRow, MoveRow
from app.sync.engine.layout import Bank, Layout
from app.sync.estimation.conformity import Conformity
from app.sync.estimation.evenness import BoreVerdict
from app.web.application import create_app
from app.web.presenters.paper.file_page import file_page
from app.web.presenters.paper.sheet import Printing, Sheet, sheet_of
from app.wording.office import handover, paper
from app.wording.office.paper import bore_words
from tests.shop.past import Past
from tests.shop.yard import (
    AT,
    FOUR,
    V8,
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
from tests.wording.pseudo import PseudoTranslations

ORIGIN = "http://127.0.0.1"
UNEVEN = [6.5, 6.5, 7.75, 7.75]


@pytest.fixture
def client(shop: Database) -> Iterator[TestClient]:
    with TestClient(create_app(shop), base_url=ORIGIN, headers={"Origin": ORIGIN}) as opened:
        yield opened


def printed(client: TestClient, path: str) -> str:
    """The text of what is printed: no tags, no bar at the head of the page."""
    articles = re.findall(r"<article.*?</article>", client.get(path).text, re.DOTALL)
    return " ".join(re.sub(r"<[^>]+>", " ", " ".join(articles)).replace("\u00a0", " ").split())


def sheet(shop: Database, visit_id: int = 1) -> Sheet:
    return sheet_of(assess(visit_record(shop, visit_id)), Printing(AT, people={"KM": "Kim Marlow"}))


@pytest.mark.parametrize(
    ("verdict", "deviation", "says"),
    [
        (BoreVerdict.OPEN, "+0.46", "open +0.46"),
        (BoreVerdict.CLOSED, "−0.46", "closed −0.46"),
        (BoreVerdict.CLOSED, "+2", "closed +2"),  # by vacuum a closed bore reads high
        (BoreVerdict.AT_LIMIT, "+0.30", "not sure"),
        (BoreVerdict.EVEN, "0.00", "even"),
    ],
)
def test_a_bore_is_said_in_a_word_and_its_deviation(verdict: BoreVerdict, deviation: str, says: str) -> None:
    assert bore_words(verdict, deviation) == says
    assert len(bore_words(verdict, "−9.25")) <= 12


def test_the_result_stands_on_the_last_complete_round(shop: Database) -> None:
    Past(shop, serial="22-0098").visit([6.5] * 8, [6.5] * 8)
    assert sheet(shop).title == "As left: even"
    unread = visit(shop, engine(shop))
    assert (sheet(shop, unread).title, sheet(shop, unread).mark) == ("As left: not read", "none")
    assert sheet(shop, unread).headline == "Not read as left"
    for sentence in (sheet(shop, unread).sentence, sheet(shop, unread).evidence):
        assert sentence == "No complete round was read after the last adjustment."


def test_the_headline_says_the_rule_the_largest_difference_and_what_it_came_in_with(shop: Database) -> None:
    Past(shop, FOUR).visit(UNEVEN, [6.5] * 4)
    told = sheet(shop)
    assert told.headline == "All 4 cylinders are even"
    rule = "Every cylinder is within 8 % of the average: 95 % likely or more. Largest difference 0 %. It came in with "
    said = told.evidence.replace("\u00a0", " ")
    assert said.startswith(rule)
    assert said.removeprefix(rule) in ("8 %.", "9 %.")  # 7.75 beside a mean of 7.125 is 8.8 % more


def test_a_headline_is_never_better_than_what_was_read(shop: Database) -> None:
    past = Past(shop, FOUR)
    past.visit([6.5] * 4)
    assert (sheet(shop).headline, sheet(shop).mark) == ("Not read after tightening", "close")
    assert sheet(shop).evidence.startswith("Before everything was tightened: largest difference 0\u00a0%")
    past.visit([6.5] * 4, [6.5, 6.5, 6.5, 5.0])
    assert re.fullmatch(r"Cylinder 4 is left with 1[78]\u00a0% less air", sheet(shop, 2).headline)  # 18.4 by hand
    assert sheet(shop, 2).mark == "not-even"
    past.visit([6.5] * 4, [6.5, 6.5, 7.75, 5.25])
    assert sheet(shop, 3).headline == "Cylinders 3 and 4 are left uneven"
    past.visit([6.5] * 4, [6.0, 6.0, 6.75, 6.75])
    assert (sheet(shop, 4).headline, sheet(shop, 4).mark) == ("Reads even, but not certain", "close")
    assert " likely. Our rule asks for 95\u00a0%." in sheet(shop, 4).evidence
    left = assess(visit_record(shop, 4)).as_left
    assert left is not None
    limit = replace(left, decision=replace(left.decision, conformity=Conformity.LIMIT))
    assert handover.headline(limit, tightened=True) == "Even by the readings"


def test_a_single_cylinder_is_called_neither_even_nor_uneven(shop: Database) -> None:
    Past(shop, Layout((Bank("A", (1,), 1, 1),))).visit([6.5])
    assert sheet(shop).chart is None
    left = assess(visit_record(shop, 1)).as_left
    assert handover.headline(left, tightened=True) == "One cylinder: nothing to compare it with"


@pytest.mark.parametrize("path", ["/visits/1/sheet", "/engines/1/worksheet", "/engines/1/tag"])
def test_a_one_bank_engine_is_never_told_of_banks(client: TestClient, shop: Database, path: str) -> None:
    Past(shop, FOUR).visit(UNEVEN, [6.5] * 4)
    text = printed(client, path).partition("Steps, in this order")[0]
    assert "31-0217" in text
    assert not re.search(r"\bbanks?\b", text, re.IGNORECASE)


def test_two_banks_are_told_apart(client: TestClient, shop: Database) -> None:
    Past(shop, V8).visit([6.5] * 8, [6.5] * 8)
    text = printed(client, "/visits/1/sheet")
    assert "Bank A: cylinders 1 2 3 4, stop screw at 1, link rod at 1." in text
    assert "Readings of bank B, kg/h" in text
    assert "Part throttle: not read on this visit." in text


def test_estimates_are_told_from_what_was_measured(shop: Database) -> None:
    past = Past(shop, FOUR)
    past.visit([6.5] * 4, [6.5] * 4)
    assert sheet(shop).hardware.endswith("All hardware figures are estimates.")
    hardware = hardware_known({"bore_diameter": 45.0}, 0.002, 4)
    engines.fit(shop, past.engine_id, key(), FOUR, hardware, "Bore measured", AT)
    past.visit([6.5] * 4, [6.5] * 4)
    assert sheet(shop, 2).hardware.endswith(
        "Measured: bore diameter 45\u00a0mm. The other hardware figures are estimates."
    )


def test_the_next_check_has_a_distance_a_date_and_what_brings_it_sooner(shop: Database) -> None:
    past = Past(shop, FOUR)
    past.visit([6.5] * 4, [6.5] * 4)
    past.visit([6.5] * 4, signed=False)
    assert sheet(shop).next_check.when == (
        "After another 5,000\u00a0km or 100\u00a0running hours or 25 Nov 2027, whichever comes first, engine hot. "
        "Coupler 2–3 was reset on this visit. Check it first."
    )
    assert sheet(shop).next_check.sooner[0] == "the hot idle hunts"
    draft = sheet(shop, 2).next_check.when  # in the vehicle
    assert draft == "After another 5,000\u00a0km or 12 months after sign-off, whichever comes first, engine hot."


def test_the_next_check_counts_from_the_odometer_or_the_hour_meter(shop: Database) -> None:
    past = Past(shop, FOUR)
    launch, car = past.visit([6.5] * 4, signed=False), past.visit([6.5] * 4, signed=False)
    with shop.writing() as session:
        for visit_id, item, number in ((launch, "hours", 1140.0), (car, "odometer", 41230.0)):
            session.add(
                CheckRow(
                    key=key(), payload="", visit_id=visit_id, phase=LOCK_DOWN.slug, item=item, number=number, text="",
                    after_move=0, by="KM", at=AT,
                )
            )  # fmt: skip
    assert sheet(shop, launch).read_at == "1,140\u00a0running hours"
    assert sheet(shop, launch).next_check.when.startswith("At 1,240\u00a0running hours or 12 months")
    assert sheet(shop, car).read_at == "41,230\u00a0km"
    assert sheet(shop, car).next_check.when.startswith("At 46,230\u00a0km or 12 months")


def test_a_correction_says_both_figures_with_their_unit(shop: Database) -> None:
    Past(shop, FOUR).visit([6.5] * 4, [6.5] * 4)
    rounds = visit_record(shop, 1).rounds
    wrong = {rounds[1].entered[2].ident: 6.75, rounds[1].entered[-1].ident: 6.25}
    corrections.correct(shop, 1, key(), NewCorrection("Two rows mixed up.", "KM", wrong), AT)
    (said,) = sheet(shop).issued
    assert "bore 3, round 2: 6.75\u00a0kg/h instead of 6.50\u00a0kg/h" in said
    assert "bore 1, drift check of round 2: 6.25\u00a0kg/h instead of 6.50\u00a0kg/h" in said
    assert said.endswith("Reason: Two rows mixed up (KM).")


def test_remarks_of_the_file_say_what_was_skipped_and_replaced(shop: Database) -> None:
    visit_id = heat_soaked(shop, FOUR)
    first = read(shop, visit_id, HEAT_SOAKED, 6.5)
    number = visit_record(shop, visit_id).rounds[-1].row.number
    again = NewReading(HEAT_SOAKED.slug, number, 1, "turn", 6.75, "KM", supersedes=first)
    readings.add(shop, visit_id, key(), again, AT)
    readings.add(
        shop, visit_id, key(), NewReading(HEAT_SOAKED.slug, number, 2, "skip", None, "KM", why="No access"), AT
    )
    replaced, skipped = file_page(assess(visit_record(shop, visit_id))).remarks
    assert replaced == f"Round {number}, bore 1: 6.75 replaces 6.50 (KM, 25 Nov 2026, 10:00)."
    assert skipped == f"Round {number}, bore 2: skipped, No access (KM)."


def test_a_round_of_the_file_has_its_phase_its_time_and_its_verdict(shop: Database) -> None:
    Past(shop, FOUR).visit(UNEVEN, [6.5] * 4)
    titles = [line.round.title for line in file_page(assess(visit_record(shop, 1))).lines if line.round]
    assert titles == [
        "Heat-soaked recheck, 25 Nov 2026, 10:10: undecided",
        "Lock-down, 25 Nov 2026, 10:20: even",
    ]


@pytest.mark.parametrize("path", ["/visits/1/sheet", "/engines/1/worksheet", "/engines/1/tag"])
def test_paper_speaks_the_customers_language_and_its_page_the_tablets(shop: Database, path: str) -> None:
    Past(shop, V8).visit([6.5] * 8, [6.5] * 8)
    with TestClient(create_app(shop, customer_language=PseudoTranslations()), base_url=ORIGIN) as client:
        page = client.get(path).text
    bar, _, paper_ = page.partition("<article")
    assert "Print</button>" in bar
    assert "[Prîñt" not in bar
    for english in ("Technical record", "Adjustments", "Front bore first", "Keep clear of them", "Average as left"):
        assert english not in paper_


def test_an_item_that_no_phase_asks_for_any_more_is_named_by_its_slug() -> None:
    gone = corrections.Corrected(0.4, 0.5, "", slug="old-item")
    assert paper.what_was_corrected(gone, ()) == "old item"


def test_the_sheet_warns_of_the_throttle_first_and_not_as_if_this_one_stuck() -> None:
    first, _ = paper.warnings()
    assert str(first) == (
        "WARNING: A throttle that does not close on its own. The engine can overspeed. Stop the engine. Do not drive."
    )


def test_every_verdict_has_words_on_paper() -> None:
    assert set(paper.VERDICTS) == set(Conformity)
    assert set(paper.BORE_VERDICTS) == set(BoreVerdict)


def test_turns_are_added_up_and_every_one_is_listed_with_its_time(shop: Database) -> None:
    visit_id = Past(shop, FOUR).visit([6.5] * 4, signed=False)
    with shop.writing() as session:
        for amount in (0.25, -0.125):
            session.add(
                MoveRow(
                    key=key(), payload="", visit_id=visit_id, phase=HEAT_SOAKED.slug, kind="stop", bank="A", near=None,
                    far=None, amount=amount, leaves="", advised=0, after_reading=99, by="KM", at=AT,
                )
            )  # fmt: skip
    record = sheet(shop, visit_id).record
    assert record.net.replace("\u00a0", " ") == "Stop screw turned in 1/8 turn. Everything else is as found."
    assert [line.replace("\u00a0", " ") for line in record.moves] == [
        "10:00 Stop screw turned in 1/4 turn.",
        "10:00 Stop screw turned out 1/8 turn.",
    ]
    assert sheet(shop, visit_id).done == ("Set the idle position of the throttles.",)


def test_the_record_says_where_the_figure_of_the_meter_is_from(client: TestClient, shop: Database) -> None:
    Past(shop, FOUR).visit([6.5] * 4, [6.5] * 4, signed=False)
    assert "Never compared with another meter." in printed(client, "/visits/1/sheet")
    study = meters.begin_study(shop, 1, key(), None, "Bore 3", "KM", AT)
    other = meters.register(shop, key(), NewMeter("Second funnel", "kg/h", 0.25, 0, 40))
    compared = meters.begin_study(shop, 1, key(), other, "", "KM", AT)
    for value in (6.5, 6.25, 6.5, 6.75, 6.5, 6.25, 6.5, 6.5, 6.75, 6.5):
        meters.read(shop, study, key(), value, "KM", AT)
    assert ": study of 10 readings, 25 Nov 2026. Never compared" in printed(client, "/visits/1/sheet")
    for value in (6.0, 6.25, 6.5, 6.75, 7.0):
        for _ in (1, other):
            meters.read(shop, compared, key(), value, "KM", AT)
    assert "Last compared with Second funnel, 25 Nov 2026." in printed(client, "/visits/1/sheet")


def test_a_mistyped_figure_is_not_told_to_the_customer_as_a_stop(shop: Database) -> None:
    """It ended a stop as any other cause does and the record has it in full, but nothing was wrong with the engine."""
    visit_id = heat_soaked(shop, FOUR)
    told = []
    for cause, remedy in (("mistyped", "Read again: 300"), ("leak", "Hose clamped")):
        checks.record(shop, visit_id, key(), HEAT_SOAKED.slug, {"oil-pressure-hot": 30}, "KM", AT)
        running.end_stop(shop, visit_id, key(), cause, "", remedy, "KM", AT)
        start_again(shop, visit_id)
        told.append(sheet(shop, visit_id))
    mistyped, both = told
    assert mistyped.see_record == "See page 2: a figure was mistyped, and the engine was in order."
    assert "Read again: 300" in mistyped.stops[0]
    stopped = "See page 2: the engine was stopped for a figure beyond a limit."
    assert both.see_record == f"{stopped} A figure was mistyped, and the engine was in order."


def test_a_waiver_comes_first_in_full_and_its_sheet_says_so_on_the_first_page(shop: Database) -> None:
    visit_id = heat_soaked(shop, FOUR)
    read_round(shop, visit_id, HEAT_SOAKED)
    check_all(shop, visit_id, LOCK_DOWN)
    assert sheet(shop, visit_id).see_record == ""
    waive(shop, visit_id, key(), LOCK_DOWN.slug, "No time", "KM", AT)
    told = sheet(shop, visit_id)
    assert told.see_record == "See page 2: Lock-down waived."
    (waived,) = told.waived
    assert (waived.waiver.why, waived.may_mean) == ("No time", "What was not tight or not read again may have moved.")
    assert told.headline == "Not read after tightening"
