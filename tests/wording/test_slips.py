"""What slipped, in words: three grades of certainty, capped probabilities, and the units of the shop."""

import re
from dataclasses import replace

import pytest

from app.shop.assessment.since_left import Change, NotComparable
from app.shop.assessment.visit_summary import VisitSummary
from app.shop.queries.engine_history import changes
from app.shop.queries.history_cache import of_engine
from app.shop.store.database import Database
from app.sync.engine.layout import Bypass, Coupler, Link, StopScrew
from app.sync.slips.slip_detection import (
    Bore,
    ConfoundedPair,
    SlipAssessment,
    SlipHypothesis,
    SlipVerdict,
    Suspect,
    ToldBy,
)
from app.web.presenters.history.slip_report import SlipReport, slip_report
from app.wording.language import speaking
from app.wording.message import Message, say
from app.wording.office import slips
from app.wording.office.slips import Grade, grade, likely, suspect_name
from app.wording.quantities import unit_named
from tests.shop.past import Past
from tests.wording.pseudo import PseudoTranslations

EVEN = [6.5] * 8
SLIPPED = [6.5, 6.5, 7.75, 7.75, 6.5, 6.5, 6.5, 6.5]
KGH = unit_named("kg/h", 0.25)


def changed(shop: Database, found: list[float]) -> Change:
    """What changed between a visit left even and a later one found like that."""
    past = Past(shop)
    past.visit(EVEN, EVEN)
    past.visit(found, EVEN)
    with shop.reading() as session:
        visits: tuple[VisitSummary, ...] = of_engine(session, past.engine_id).visits
    (one,) = changes(visits).values()
    return one


def assessed(change: Change, **other: object) -> SlipReport:
    """The report where the assessment has other figures."""
    assert change.assessment is not None
    assessment: SlipAssessment = replace(change.assessment, **other)  # type: ignore[arg-type]
    return slip_report(replace(change, assessment=assessment), KGH)


@pytest.mark.parametrize(
    ("probability", "how_sure", "says"),
    [
        (0.9996, Grade.IS, "over 99\u00a0% likely"),
        (0.99, Grade.PROBABLY, "99\u00a0% likely"),
        (0.796, Grade.PROBABLY, "80\u00a0% likely"),
        (0.79, Grade.POSSIBLE, "79\u00a0% likely"),
        (0.004, Grade.POSSIBLE, "under 1\u00a0% likely"),
    ],
)
def test_a_grade_and_its_probability_go_together(probability: float, how_sure: Grade, says: str) -> None:
    assert (grade(probability), likely(probability)) == (how_sure, says)


@pytest.mark.parametrize(
    ("suspect", "name"),
    [
        (Coupler(2, 3), "coupler 2–3"),
        (StopScrew("A"), "stop screw A"),
        (Bypass(4), "bypass screw 4"),
        (Link("B"), "link rod B"),
        (Bore(3), "bore 3 itself"),
    ],
)
def test_every_kind_of_suspect_has_a_name(suspect: Suspect, name: str) -> None:
    assert suspect_name(suspect) == name


@pytest.mark.parametrize(
    ("probability", "title"),
    [(0.999, "Coupler 2–3 slipped"), (0.9, "Coupler 2–3 probably slipped"), (0.72, "Possible slip: coupler 2–3")],
)
def test_a_named_suspect_is_as_sure_as_its_probability(shop: Database, probability: float, title: str) -> None:
    change = changed(shop, SLIPPED)
    report = assessed(change, odds={Coupler(2, 3): probability})
    assert (report.title, report.likely) == (title, likely(probability))


def test_what_cannot_be_named_is_said_as_either(shop: Database) -> None:
    change = changed(shop, SLIPPED)
    odds: dict[Suspect, float] = {Coupler(2, 3): 0.5, StopScrew("A"): 0.4}
    assert assessed(change, named=None, odds=odds, any_slip=0.9).title == (
        "Something probably slipped: coupler 2–3 or stop screw A"
    )
    doubtful = assessed(change, named=None, verdict=SlipVerdict.DOUBTFUL, any_slip=0.4, odds=odds, reread=())
    assert (doubtful.title, doubtful.likely) == ("Possible slip", "40\u00a0% likely")
    assert doubtful.look == "Read one more round. Then check coupler 2–3."
    assert not doubtful.sure


@pytest.mark.parametrize(
    ("verdict", "reread", "suspects", "look"),
    [
        (SlipVerdict.QUIET, (), True, "No suspect. Continue as usual."),
        (SlipVerdict.QUIET, (4, 3), True, "Read bores 3 and 4 again. There is no other suspect."),
        (SlipVerdict.DOUBTFUL, (3,), True, "Read bore 3 again. Then check coupler 2–3."),
        (SlipVerdict.DOUBTFUL, (3,), False, "Read bore 3 again. Then check what was adjusted last."),
        (SlipVerdict.DOUBTFUL, (), False, "Read one more round. Then check what was adjusted last."),
        (SlipVerdict.SLIPPED, (), True, "Check coupler 2–3 before you adjust anything."),
        (SlipVerdict.SLIPPED, (), False, "Check what was adjusted last before you adjust anything."),
    ],
)
def test_what_to_do_first(
    shop: Database, verdict: SlipVerdict, reread: tuple[int, ...], suspects: bool, look: str
) -> None:
    odds = {Coupler(2, 3): 0.9} if suspects else {}
    change = changed(shop, SLIPPED)
    assert assessed(change, verdict=verdict, reread=reread, named=None, odds=odds, hypotheses=()).look == look


@pytest.mark.parametrize("told_by", list(ToldBy))
def test_what_an_idle_round_cannot_tell_has_a_test_that_can(shop: Database, told_by: ToldBy) -> None:
    pair = ConfoundedPair(Bore(3), Coupler(2, 3), told_by, also=(Coupler(3, 4),))
    (said,) = [s for s in assessed(changed(shop, SLIPPED), alike=(pair,)).steps if s.startswith("An idle round")]
    assert "bore 3 itself from coupler 2–3 together with coupler 3–4" in said
    assert said.endswith(say(slips.TESTS[told_by]))


@pytest.mark.parametrize("why_not", list(NotComparable))
def test_what_cannot_be_compared_says_why(shop: Database, why_not: NotComparable) -> None:
    change = replace(changed(shop, EVEN), assessment=None, why_not=why_not)
    report = slip_report(change, KGH)
    assert (report.title, report.likely, report.look) == ("No comparison possible", "", "")
    assert report.steps == (say(slips.NOT_COMPARABLE[why_not]),)


def test_what_is_said_of_suspects_adds_up_to_no_more_than_a_hundred(shop: Database) -> None:
    """The suspects named one in place of the other exclude each other, so their chances cannot exceed one."""
    change = changed(shop, SLIPPED)
    assert change.assessment is not None
    named = change.assessment.hypotheses[0].slips[0]
    other = replace(named, suspect=StopScrew("A"))
    beside = replace(named, suspect=Bore(1))
    stories = (
        SlipHypothesis((named,), 0.86),
        SlipHypothesis((named, beside), 0.07),
        SlipHypothesis((other,), 0.06),
        SlipHypothesis((), 0.01),
    )
    odds = {named.suspect: 0.93, other.suspect: 0.06, beside.suspect: 0.07}
    steps = assessed(change, hypotheses=stories, odds=odds).steps
    assert any(step.startswith("Coupler 2–3, 93\u00a0% likely: bores 3 and 4 opened") for step in steps)
    assert "Otherwise: stop screw A (6\u00a0% likely)." in steps
    assert sum(int(said) for said in re.findall(r"(\d+)\xa0% likely", " ".join(steps))) <= 100
    two = assessed(change, hypotheses=(SlipHypothesis((named, beside), 0.9), *stories[2:]), odds=odds).steps
    assert "Most likely coupler 2–3 and bore 1 itself slipped (90\u00a0% likely)." in two
    assert sum(int(said) for said in re.findall(r"(\d+)\xa0% likely", " ".join(two))) <= 100


def test_a_gap_is_a_range_that_estimated_hardware_allows(shop: Database) -> None:
    """1.5 degrees more or less of closed angle alone move a gap by 12 %: no single figure may stand for it."""
    (said,) = [step for step in assessed(changed(shop, SLIPPED)).steps if "opened by" in step]
    low, high = (float(one) for one in re.findall(r"0\.\d{4}", said))
    assert high >= 1.24 * low > 0


def test_the_evidence_says_what_would_explain_it_otherwise(shop: Database) -> None:
    change = replace(changed(shop, SLIPPED), hot=False, same_fitting=False, same_meter=False)
    steps = assessed(change, misread={3: 0.12}).steps
    assert steps[0].endswith("Another meter was used, so this says nothing about the engine.")
    assert steps[-3:] == (
        "Possibly misread: bore 3 (12\u00a0% likely).",
        say(slips.NOT_HOT),
        say(slips.OTHER_HARDWARE),
    )


def test_the_words_follow_the_language_of_the_moment(shop: Database) -> None:
    """What is remembered of a comparison are its figures, never its sentences."""
    change = changed(shop, SLIPPED)
    english = slip_report(change, KGH)
    with speaking(PseudoTranslations()):
        other = slip_report(change, KGH)
    assert english == slip_report(change, KGH)
    assert all(step.startswith("[") for step in other.steps)
    assert [line.left for line in other.bores] == [line.left for line in english.bores]


@pytest.mark.parametrize("message", [m for m in vars(slips).values() if isinstance(m, Message) and m.limit])
def test_words_beside_a_chart_are_short(message: Message) -> None:
    assert len(say(message)) <= message.limit
