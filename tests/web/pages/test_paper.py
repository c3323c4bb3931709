"""Paper as a person holds it: printed by the browser, read back from the PDF, its codes decoded by a library."""

import re

import pypdfium2  # type: ignore[import-untyped]
import pytest
import zxingcpp
from playwright.sync_api import Page, expect

from app.shop.commands import checks, engines
from app.shop.procedure.codes import CautionCode
from app.shop.procedure.phases import BANK_BALANCE, COLD_PRESET, FIRST_FIRE, HEAT_SOAKED, LOCK_DOWN
from app.shop.queries.search import tag_of
from app.shop.rejections import Rejection
from app.shop.store.database import Database
from app.shop.store.tables import MoveRow
from app.sync.engine.layout import Bank, Layout
from app.sync.engine.units import THOU
from app.wording.message import say
from app.wording.office.paper import warnings
from app.wording.program.rejections import REJECTIONS
from app.wording.work.phases import phase_title
from app.wording.work.safety import deferral, safety_lines, safety_words
from tests.shop.past import Past
from tests.shop.yard import AT, FOUR, V8, check_all, heat_soaked, key, read, visit_record
from tests.web.screens import SIZES

SAFETY = tuple(str(one) for one in warnings())
V12 = Layout((Bank("A", (1, 2, 3, 4, 5, 6), 3, 3), Bank("B", (7, 8, 9, 10, 11, 12), 9, 9)))
PAPERS = ("A4", "Letter")
DPI, ROUGH = 150, 100


def texts(pdf: bytes) -> list[str]:
    """The text of each page, spaces evened out, a hyphen that kerning set apart put back to its word."""
    with pypdfium2.PdfDocument(pdf) as document:
        said = [" ".join(one.get_textpage().get_text_bounded().split()) for one in document]
    return [re.sub(r"(?<=\w) -(?=\w)", "-", page) for page in said]


STYLES_ARE_THERE = "() => [...document.querySelectorAll('link[rel=stylesheet]')].every(link => link.sheet)"


def printed(page: Page, paper: str) -> list[str]:
    """The text of each page as it is printed, once what numbers the pages has come: a page that was swapped in shows
    its words before that."""
    page.wait_for_function(STYLES_ARE_THERE)
    return texts(page.pdf(format=paper))


def codes(pdf: bytes, dots: int = DPI) -> list[str]:
    """What the codes on paper say, from the pages as they would come out of a printer of so many dots an inch."""
    with pypdfium2.PdfDocument(pdf) as document:
        images = [sheet.render(scale=dots / 72).to_numpy() for sheet in document]
    return [found.text for image in images for found in zxingcpp.read_barcodes(image)]


def past_of(shop: Database, layout: Layout = V8) -> Past:
    past = Past(shop, layout)
    bores = len(layout.bores)
    uneven = [6.5] * bores
    uneven[2] = uneven[3] = 7.75
    past.visit(uneven, [6.5] * bores)
    return past


def tag(shop: Database, engine_id: int = 1) -> str:
    with shop.reading() as session:
        return tag_of(engines.get(session, engine_id).key)


SERIALS = {1: "11-0001", 4: "11-0004", 6: "11-0006", 8: "11-0008", 12: "11-0012"}
SIX = Layout((Bank("A", (1, 3, 5), 1, 1), Bank("B", (2, 4, 6), 2, 2)))
LAYOUTS = {1: Layout((Bank("A", (1,), 1, 1),)), 4: FOUR, 6: SIX, 8: V8, 12: V12}
LEFT = dict.fromkeys(range(1, 13), 6.5) | {2: 6.25}
LEFT_AS_PRINTED = "6.50 6.25 6.50 6.50 6.50 6.50 6.50 6.50 6.50 6.50 6.50 6.50"


def signed_past(shop: Database, bores: int) -> Past:
    """An engine of so many bores whose bore 2 was left a step low, whatever its place in its bank."""
    layout = LAYOUTS[bores]
    past = Past(shop, layout, SERIALS[bores])
    left = [LEFT[bore] for bore in layout.bores]
    found = [value + (1.5 if place == 2 else 0.0) for place, value in enumerate(left)]
    past.visit(found, left if bores > 1 else None)
    return past


@pytest.mark.parametrize("paper", PAPERS)
def test_a_handover_sheet_is_two_pages_and_its_code_says_the_record(
    page: Page, server: str, shop: Database, paper: str
) -> None:
    for bores in LAYOUTS:
        past = signed_past(shop, bores)
        page.goto(f"{server}/visits/{past.visits[0]}/sheet")
        pdf = page.pdf(format=paper)
        customer, record = texts(pdf)
        for words in ("Handover sheet", SERIALS[bores], "What we did", "Next check", "Foreman of the yard"):
            assert words in customer, (bores, words)
        assert all(" ".join(caution.split()) in customer for caution in (*SAFETY, deferral())), bores
        assert customer.index("WARNING") < customer.index("Received by, date"), bores
        assert "Received by" not in record
        for words in ("Technical record", SERIALS[bores], "Waived: nothing.", f"Tag {tag(shop, past.engine_id)}"):
            assert words in record, (bores, words)
        for number, text in enumerate((customer, record), 1):
            assert re.match(rf"Engine {re.escape(SERIALS[bores])}, .* Tag \S+\. Page {number} of 2 ", text), text
        assert len(feet(pdf)) == 1, bores
        figures = LEFT_AS_PRINTED[: 5 * bores - 1]
        (code,) = codes(pdf, ROUGH)
        assert code.startswith(f"EVENBORE 1 TAG {tag(shop, past.engine_id).upper()} ENGINE {SERIALS[bores]} / "), bores
        assert f" / LEFT 2026-11-25 VISIT 1 ISSUE 1 / KG/H 1-{bores} {figures} / " in code, bores
        assert ("SURE" in code) == (bores > 1)
        assert ("As left: even." in record) == (bores > 1)
        assert not re.search(r"http|:/|C-104", code)


def feet(pdf: bytes) -> set[int]:
    """How high the words at the foot of the pages and the number of the page stand, in whole points."""
    heights = set()
    for page in pypdfium2.PdfDocument(pdf):
        text = page.get_textpage()
        for words in ("Tag ", "Page "):
            at, _ = text.search(words, match_case=True).get_next() or pytest.fail(words)
            heights.add(round(text.get_charbox(at)[3]))
    return heights


@pytest.mark.parametrize("paper", PAPERS)
def test_twenty_four_adjustments_and_three_waivers_fit_and_more_run_on(
    page: Page, server: str, shop: Database, paper: str
) -> None:
    visit_id = heat_soaked(shop, V12)
    with shop.writing() as session:
        for at in range(24):
            near = 3 + at % 3
            session.add(made(visit_id, near, near + 1))
    for value in (*[6.5] * 11, 9.0, 6.5):
        read(shop, visit_id, HEAT_SOAKED, value)
    why = "The second person was called away; both openings are read on the road, before the week is out"
    for phase in (HEAT_SOAKED, BANK_BALANCE, LOCK_DOWN):
        if phase is not HEAT_SOAKED:
            check_all(shop, visit_id, phase)
        checks.waive(shop, visit_id, key(), phase.slug, why, "KM", AT)
    page.goto(f"{server}/visits/{visit_id}/sheet")
    customer, record = texts(page.pdf(format=paper))
    assert "See page 2: Heat-soaked recheck, Part-throttle bank balance and Lock-down waived." in customer
    assert "Not read after tightening" in customer
    assert "Received by" in customer
    assert record.count(why) == 3
    assert record.index(why) < record.index("Readings of bank A")
    assert "24. 10:00 Coupler 5–6 reset" in record
    with shop.writing() as session:
        session.add(made(visit_id, 3, 4))
    page.reload()
    _, record, more = texts(page.pdf(format=paper))
    assert "25. 10:00" not in record
    assert "25. 10:00 Coupler 3–4 reset" in more
    assert "Page 3 of 3 Technical record Engine 31-0217" in more
    assert "Checked" in more


def made(visit_id: int, near: int, far: int) -> MoveRow:
    """A reset of a coupler of bank A on three thousandths, as a row."""
    return MoveRow(
        key=key(), payload="", visit_id=visit_id, phase=HEAT_SOAKED.slug, kind="blade", bank="A", near=near, far=far,
        amount=3 * THOU, leaves=str(3 * THOU), advised=0, after_reading=0, by="KM", at=AT,
    )  # fmt: skip


def test_the_codes_of_tag_and_worksheet_open_the_engine(page: Page, server: str, shop: Database) -> None:
    past_of(shop)
    address = f"{server}/tag/{tag(shop)}"
    for path, times in (("/engines/1/tag", 2), ("/engines/1/worksheet", 1)):
        page.goto(server + path)
        assert codes(page.pdf(format="A4")) == [address] * times, path
    page.goto(address)
    expect(page.get_by_role("heading", name="Engine 31-0217")).to_be_visible()


def test_the_search_box_takes_the_code_of_a_sheet(page: Page, server: str, shop: Database) -> None:
    past_of(shop)
    Past(shop, FOUR, "31-0218")
    page.goto(f"{server}/visits/1/sheet")
    (code,) = codes(page.pdf(format="A4"), ROUGH)
    page.goto(server)
    page.get_by_role("searchbox").fill(code)
    page.keyboard.press("Enter")
    expect(page.get_by_role("heading", name="Engine 31-0217")).to_be_visible()


def test_the_head_of_the_shop_is_asked_at_the_first_print(page: Page, server: str, shop: Database) -> None:
    past_of(shop)
    page.goto(f"{server}/visits/1/sheet")
    asked = page.get_by_role("form", name="Letterhead")
    asked.get_by_label("Name of the shop").fill("Quayside Engine Works")
    asked.get_by_label("Address and telephone number").fill("14 Quay Road\n\n Westhaven ")
    asked.get_by_label("Your initials").fill("KM")
    asked.get_by_role("button", name="Save").click()
    expect(page.get_by_text("14 Quay Road, Westhaven")).to_be_visible()
    expect(asked).to_have_count(0)
    customer, record = printed(page, "A4")
    assert re.search(r"\. Page 1 of 2 Quayside Engine Works 14 Quay Road, Westhaven Handover sheet", customer)
    assert "Quayside Engine Works" in record


@pytest.mark.parametrize("paper", PAPERS)
def test_the_tag_says_what_it_hangs_on(page: Page, server: str, shop: Database, paper: str) -> None:
    past_of(shop)
    page.goto(f"{server}/engines/1/tag")
    expect(page.get_by_text("the code would work only there")).to_be_visible()
    (front,) = printed(page, paper)
    for words in ("31-0217", f"Tag {tag(shop)}", "2 banks of 4 bores"):
        assert words in front, words
    assert "C-104" not in front
    assert "only there" not in front


@pytest.mark.parametrize("layout", [V8, V12], ids=["8", "12"])
@pytest.mark.parametrize("paper", PAPERS)
def test_the_worksheet_has_the_last_figures_and_the_order_of_steps(
    page: Page, server: str, shop: Database, layout: Layout, paper: str
) -> None:
    past_of(shop, layout)
    page.goto(f"{server}/engines/1/worksheet")
    form, steps = printed(page, paper)
    assert form.count("6.50") >= len(layout.bores)
    for words in ("As left, visit 1", "within ±0.52 of the average", "coupler 2–3 (reset last)", "0.010 in (0.25 mm)"):
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
        customer, record = printed(page, paper)
        assert "replaces issue 1 of 25 Nov 2026" in customer
        assert "bore 3, round 2: 6.75 kg/h instead of 6.50 kg/h. Reason: Typed in the wrong row (KM)." in record
    page.get_by_role("link", name="Print the readings for the file too").click()
    expect(page.get_by_role("link", name="Print without the readings for the file")).to_be_visible()
    *_, file = printed(page, "A4")
    assert "Round 2, bore 3: 6.75 replaces 6.50. Typed in the wrong row (KM, " in file
    page.get_by_role("link", name="1", exact=True).click()
    expect(page.get_by_role("heading", name="Handover sheet replaced: issue 1")).to_be_visible()
    assert "6.75" not in " ".join(printed(page, "A4"))
    assert [c.number for c in visit_record(shop, 1).corrections] == [2]


def test_the_paper_begins_close_to_a_bar_of_one_row(page: Page, server: str, shop: Database) -> None:
    past_of(shop)
    for size in SIZES.values():
        page.set_viewport_size(size)
        page.goto(f"{server}/visits/1/sheet")
        expect(page.get_by_role("button", name="Print")).to_be_visible()
        ways, paper, *targets = (
            found.bounding_box() or {"y": 0.0, "height": 0.0}
            for found in (
                page.locator(".sheet-ways"),
                page.get_by_role("article", name="For the customer"),
                *page.locator("header.top a, header.top button").all(),
            )
        )
        assert len({round(one["y"] + one["height"] / 2) for one in targets}) == 1, targets
        assert paper["y"] - ways["y"] < 64


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
