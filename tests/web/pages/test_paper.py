"""Paper as a person holds it: printed by the browser, read back from the PDF, its codes decoded by a library."""

from io import BytesIO

import pypdfium2  # type: ignore[import-untyped]
import pytest
import zxingcpp
from playwright.sync_api import Page, expect
from pypdf import PdfReader

from app.shop.commands import checks, engines, moves, visits
from app.shop.commands.moves import NewMove
from app.shop.procedure.codes import CautionCode
from app.shop.procedure.phases import BANK_BALANCE, COLD_PRESET, FIRST_FIRE, HEAT_SOAKED, LOCK_DOWN
from app.shop.queries.search import tag_of
from app.shop.rejections import Rejection
from app.shop.store.database import Database
from app.sync.engine.layout import Bank, Layout
from app.sync.engine.units import THOU
from app.wording.message import say
from app.wording.office.paper import warnings
from app.wording.program.rejections import REJECTIONS
from app.wording.work.phases import phase_title
from app.wording.work.safety import deferral, safety_lines, safety_words
from tests.shop.past import Past
from tests.shop.yard import AT, V8, check_all, heat_soaked, key, read_round, visit_record

SAFETY = tuple(str(one) for one in warnings())
V12 = Layout((Bank("A", (1, 2, 3, 4, 5, 6), 3, 3), Bank("B", (7, 8, 9, 10, 11, 12), 9, 9)))
PAPERS = ("A4", "Letter")
DPI = 150


def printed(page: Page, paper: str) -> list[str]:
    """The text of each page, spaces evened out."""
    return [" ".join(p.extract_text().split()) for p in PdfReader(BytesIO(page.pdf(format=paper))).pages]


def codes(page: Page) -> list[str]:
    """What the codes on paper say, from the pages as they would come out of a printer."""
    with pypdfium2.PdfDocument(page.pdf(format="A4")) as document:
        images = [sheet.render(scale=DPI / 72).to_numpy() for sheet in document]
    return [found.text for image in images for found in zxingcpp.read_barcodes(image)]


def past_of(shop: Database, layout: Layout = V8) -> Past:
    past = Past(shop, layout)
    bores = len(layout.bores)
    uneven = [6.5] * bores
    uneven[2] = uneven[3] = 7.75
    past.visit(uneven, [6.5] * bores)
    return past


def tag(shop: Database) -> str:
    with shop.reading() as session:
        return tag_of(engines.get(session, 1).key)


@pytest.mark.parametrize("layout", [V8, V12], ids=["8", "12"])
@pytest.mark.parametrize("paper", PAPERS)
def test_the_handover_sheet_is_one_page_and_its_readings_a_second(
    page: Page, server: str, shop: Database, layout: Layout, paper: str
) -> None:
    past_of(shop, layout)
    page.goto(f"{server}/visits/1/sheet")
    customer, file = printed(page, paper)
    for words in ("Handover sheet", "31-0217", "Foreman of the yard", "Coupler 2–3 reset", "Next check"):
        assert words in customer, words
    assert "or 25 Nov 2027, whichever comes first" in customer  # twelve months after it was signed off
    for words in ("Readings for the file", "7.75", "Coupler 2–3 reset", "1 again"):
        assert words in file, words
    for side in (customer, file):
        for caution in (*SAFETY, deferral()):
            assert " ".join(caution.split()) in " ".join(side.split()), caution


@pytest.mark.parametrize("paper", PAPERS)
def test_a_crowded_sheet_keeps_its_signatures_on_the_page(page: Page, server: str, shop: Database, paper: str) -> None:
    visit_id = heat_soaked(shop, V12)
    for joint in V12.couplers()[:8]:
        read_round(shop, visit_id, HEAT_SOAKED)
        moves.make(shop, visit_id, key(), reset(joint.near, joint.far), AT)
    read_round(shop, visit_id, HEAT_SOAKED)
    check_all(shop, visit_id, BANK_BALANCE)
    why = "The second person was called away; both openings are read on the road, before the week is out"
    checks.waive(shop, visit_id, key(), BANK_BALANCE.slug, why, "KM", AT)
    check_all(shop, visit_id, LOCK_DOWN)
    checks.waive(shop, visit_id, key(), LOCK_DOWN.slug, why, "KM", AT)
    visits.sign_off(shop, visit_id, key(), "Foreman of the yard", AT)
    page.goto(f"{server}/visits/{visit_id}/sheet")
    customer, _ = printed(page, paper)
    assert "Received by" in customer


def reset(near: int, far: int) -> NewMove:
    """A reset of a coupler of bank A on three thousandths."""
    return NewMove(HEAT_SOAKED.slug, "blade", "A", near, far, 0.0, (3 * THOU,), False, "KM")


def test_every_code_on_paper_opens_the_engine(page: Page, server: str, shop: Database) -> None:
    past_of(shop)
    address = f"{server}/tag/{tag(shop)}"
    for path, times in (("/visits/1/sheet", 1), ("/engines/1/tag", 2), ("/engines/1/worksheet", 1)):
        page.goto(server + path)
        assert codes(page) == [address] * times, path
    page.goto(address)
    expect(page.get_by_role("heading", name="Engine 31-0217")).to_be_visible()


@pytest.mark.parametrize("paper", PAPERS)
def test_the_tag_says_what_it_hangs_on(page: Page, server: str, shop: Database, paper: str) -> None:
    past_of(shop)
    page.goto(f"{server}/engines/1/tag")
    (front,) = printed(page, paper)
    for words in ("31-0217", f"Tag {tag(shop)}", "2 banks of 4 bores"):
        assert words in front, words
    assert "C-104" not in front
    assert "only here" not in front


@pytest.mark.parametrize("layout", [V8, V12], ids=["8", "12"])
@pytest.mark.parametrize("paper", PAPERS)
def test_the_worksheet_has_the_last_figures_and_the_order_of_steps(
    page: Page, server: str, shop: Database, layout: Layout, paper: str
) -> None:
    past_of(shop, layout)
    page.goto(f"{server}/engines/1/worksheet")
    form, steps = printed(page, paper)
    assert form.count("6.50") >= len(layout.bores)
    for words in ("As left, visit 1", "within ±0.52 of the mean", "coupler 2–3 (reset last)", "0.010 in (0.25 mm)"):
        assert words in form, words
    for caution in SAFETY:
        assert caution in form, caution
    for caution in (
        *(str(one) for one in safety_lines((CautionCode.EXHAUST_GAS_AWAY, CautionCode.ALONE_AT_FAN))),
        str(safety_words(CautionCode.ADHESIVE)),
        deferral(),
    ):
        assert " ".join(caution.split()) in " ".join(steps.split()), caution
    found = [steps.index(title) for title in map(phase_title, (COLD_PRESET, FIRST_FIRE, HEAT_SOAKED, LOCK_DOWN))]
    assert found == sorted(found)


def test_a_correction_makes_a_new_issue_that_says_what_it_replaces(page: Page, server: str, shop: Database) -> None:
    past_of(shop)
    page.goto(f"{server}/visits/1/sheet")
    page.get_by_role("link", name="Correct").click()
    group = page.get_by_role("region", name="Round 2, Lock-down")
    group.get_by_label("Bore 3", exact=True).fill("6.75")
    page.get_by_role("button", name="Save and make the new issue").click()
    expect(page.get_by_text(say(REJECTIONS[Rejection.REASON_MISSING]))).to_be_visible()
    expect(group.get_by_label("Bore 3", exact=True)).to_have_value("6.75")
    page.get_by_label("What went wrong").fill("Typed in the wrong row")
    page.get_by_label("Your initials").fill("KM")
    page.get_by_role("button", name="Save and make the new issue").click()
    expect(page.get_by_role("heading", name="Handover sheet issue 2")).to_be_visible()
    for paper in PAPERS:
        customer, file = printed(page, paper)
        assert "replaces issue 1 of 25 Nov 2026" in customer
        assert "bore 3, round 2: 6.75 kg/h instead of 6.5 kg/h. Reason: Typed in the wrong row (KM)." in customer
        assert "Round 2, bore 3: 6.75 replaces 6.50. Typed in the wrong row (KM, " in file
    page.get_by_role("link", name="1", exact=True).click()
    expect(page.get_by_role("heading", name="Handover sheet replaced: issue 1")).to_be_visible()
    assert "6.75" not in " ".join(printed(page, "A4"))
    assert [c.number for c in visit_record(shop, 1).corrections] == [2]


def test_everything_that_can_be_taken_away_is_on_one_page(page: Page, server: str, shop: Database) -> None:
    past_of(shop)
    page.goto(f"{server}/engines/1")
    page.get_by_role("link", name="Paper").click()
    for name, heading in (("Tag", "Tag"), ("Blank worksheet", "Worksheet"), ("Visit 1", "Handover sheet")):
        page.get_by_role("link", name=name).first.click()
        expect(page.get_by_role("heading", name=heading).first).to_be_visible()
        page.goto(f"{server}/engines/1/paper")
    for name, kept in (("Engine file, for", "31-0217.json"), ("Readings CSV", "31-0217 readings.csv")):
        with page.expect_download() as download:
            page.get_by_role("link", name=name).click()
        assert download.value.suggested_filename == kept
