"""Corrections after the sign-off: new rows, a new issue, and the earlier issue as it was."""

import pytest

from app.shop.commands.corrections import NewCorrection, as_issued, correct, corrected, issue_of
from app.shop.errors import ConflictError, RejectedError
from app.shop.procedure.phases import PHASES
from app.shop.store.database import Database
from tests.shop.past import Past
from tests.shop.yard import AT, key, visit_record

EVEN = [6.5] * 8


def signed(shop: Database) -> int:
    return Past(shop).visit([6.5, 6.5, 7.5, 6.5, 6.5, 6.5, 6.5, 6.5], EVEN)


def left_at(shop: Database, visit_id: int, bore: int) -> tuple[int, float | None]:
    found = visit_record(shop, visit_id).as_left()
    assert found is not None
    row = found.latest[bore]
    return row.ident, row.value


def test_a_correction_supersedes_and_makes_a_new_issue(shop: Database) -> None:
    visit_id = signed(shop)
    wrong, _ = left_at(shop, visit_id, 3)
    coolant = visit_record(shop, visit_id).checks["heat-soaked-recheck", "coolant"].ident
    new = NewCorrection("Typed in the wrong row", "KM", {wrong: 7.0}, {coolant: 86})
    sent = key()
    assert correct(shop, visit_id, sent, new, AT) == 2
    assert correct(shop, visit_id, sent, new, AT) == 2
    now = visit_record(shop, visit_id)
    assert left_at(shop, visit_id, 3)[1] == 7.0
    assert now.checks["heat-soaked-recheck", "coolant"].number == 86
    assert issue_of(now) == 2
    put_right = corrected(now, now.corrections[0])
    assert [(c.bore, c.round, c.slug, c.was, c.now, c.unit) for c in put_right] == [
        (3, 2, "", 6.5, 7.0, "kg/h"),
        (0, 0, "coolant", 84.0, 86.0, "°C"),
    ]


def test_an_earlier_issue_is_shown_as_it_was(shop: Database) -> None:
    visit_id = signed(shop)
    for value in (7.0, 6.25):
        correct(shop, visit_id, key(), NewCorrection("Misread", "KM", {left_at(shop, visit_id, 3)[0]: value}), AT)
    now = visit_record(shop, visit_id)
    shown = []
    for issue in (1, 2, 3):
        left = as_issued(now, issue).as_left()
        assert left is not None
        shown.append(left.latest[3].value)
    assert shown == [6.5, 7.0, 6.25]
    assert issue_of(as_issued(now, 2)) == 2
    assert [c.was for c in corrected(now, now.corrections[1])] == [7.0]


def test_an_earlier_issue_shows_the_checks_as_they_were_signed(shop: Database) -> None:
    visit_id = signed(shop)
    at = ("heat-soaked-recheck", "coolant")
    for figure in (86.0, 88.0):
        ident = visit_record(shop, visit_id).checks[at].ident
        correct(shop, visit_id, key(), NewCorrection("Misread", "KM", {}, {ident: figure}), AT)
    now = visit_record(shop, visit_id)
    assert [as_issued(now, issue).checks[at].number for issue in (1, 2, 3)] == [84.0, 86.0, 88.0]
    put_right = [[(one.was, one.now) for one in corrected(now, correction)] for correction in now.corrections]
    assert put_right == [[(84.0, 86.0)], [(86.0, 88.0)]]


def test_a_corrected_check_stays_in_the_range_of_its_item(shop: Database) -> None:
    visit_id = signed(shop)
    check = visit_record(shop, visit_id).checks["heat-soaked-recheck", "coolant"]
    item = next(i for p in PHASES for i in p.items if (p.slug, i.slug) == ("heat-soaked-recheck", "coolant"))
    for figure in (item.low - 0.1, item.high + 0.1):
        with pytest.raises(RejectedError) as refusal:
            correct(shop, visit_id, key(), NewCorrection("Misread", "KM", {}, {check.ident: figure}), AT)
        assert list(refusal.value.problems) == [f"check-{check.ident}"]
    for number, figure in enumerate((item.low, item.high), start=2):
        ident = visit_record(shop, visit_id).checks["heat-soaked-recheck", "coolant"].ident
        assert correct(shop, visit_id, key(), NewCorrection("Misread", "KM", {}, {ident: figure}), AT) == number


@pytest.mark.parametrize(
    ("why", "by", "value", "field"),
    [
        ("", "KM", 7.0, "why"),
        ("Misread", " ", 7.0, "by"),
        ("Misread", "KM", 700.0, "reading"),
        ("Misread", "KM", 6.5, ""),
        ("x" * 200, "KM", 7.0, "why"),
    ],
)
def test_what_cannot_be_is_refused_and_nothing_is_stored(
    shop: Database, why: str, by: str, value: float, field: str
) -> None:
    visit_id = signed(shop)
    wrong, _ = left_at(shop, visit_id, 3)
    with pytest.raises(RejectedError) as refusal:
        correct(shop, visit_id, key(), NewCorrection(why, by, {wrong: value}), AT)
    assert next(iter(refusal.value.problems)).partition("-")[0] == field
    assert visit_record(shop, visit_id).corrections == ()
    assert left_at(shop, visit_id, 3)[1] == 6.5


def test_an_open_visit_is_corrected_on_its_own_pages(shop: Database) -> None:
    visit_id = Past(shop).visit(EVEN, EVEN, signed=False)
    wrong = visit_record(shop, visit_id).rounds[0].entered[0].ident
    with pytest.raises(RejectedError, match="not-signed-off"):
        correct(shop, visit_id, key(), NewCorrection("Misread", "KM", {wrong: 7.0}), AT)


def test_a_row_corrected_meanwhile_is_told(shop: Database) -> None:
    visit_id = signed(shop)
    wrong, _ = left_at(shop, visit_id, 3)
    correct(shop, visit_id, key(), NewCorrection("Misread", "KM", {wrong: 7.0}), AT)
    with pytest.raises(ConflictError, match="changed-by-another-tablet"):
        correct(shop, visit_id, key(), NewCorrection("Misread", "KM", {wrong: 6.0}), AT)
    assert left_at(shop, visit_id, 3)[1] == 7.0
