"""What a cross-check must never say, on its pages, on the sheet, or to a program."""

import re

import pytest
from starlette.testclient import TestClient

from app.shop.procedure.phases import HEAT_SOAKED
from app.shop.store.database import Database
from app.web.application import create_app
from app.wording.causes import causes, columns, on_paper, tests
from app.wording.message import Message
from tests.shop.yard import V8, heat_soaked, key, read_round

NEVER = (
    r"\b(horse)?power\b(?! off)", r"\btorque", r"\beconomy\b", r"less work", r"\bhealthy\b", r"nothing (is )?wrong",
    r"\bsound\b", r"\bbuy\b", r"\border a\b", r"brake cleaner", r"starting fluid", r"\bpropane\b", r"\bbutane\b",
    r"\bopen (the plate of )?bore\b", r"\bclose (the plate of )?bore\b", r"even out the (mixture|heat|spark)",
    r"\bfault of\b", r"\bblame", r"%",
)  # fmt: skip
"""A figure of torque, power or economy; that all is well; a part to buy; a spray that burns; a turn of a plate against
mixture, heat or spark; who did it; a percentage."""

HEALTHY = {
    "vacuum": ("kPa", "38"), "heat": ("°C", "420"), "drop": ("rev/min", "60"), "mixture": ("lambda", "0.97"),
    "compression": ("kPa", "1150"), "flow": ("cm³/min", "180"),
}  # fmt: skip


def messages() -> list[Message]:
    """Every sentence of a cross-check."""
    found: list[Message] = []
    for module in (causes, columns, on_paper, tests):
        for held in vars(module).values():
            values = held.values() if isinstance(held, dict) else [held]
            found += [one for one in values if isinstance(one, Message)]
    return found


def article(page: str) -> str:
    """What a page says, without its tags, style and head."""
    return re.sub(r"<[^>]+>", " ", page[page.index("<main") :])


def test_no_sentence_of_the_cross_check_says_it() -> None:
    said = [message.text for message in messages()]
    assert len(said) > 100
    assert [(text, never) for text in said for never in NEVER if re.search(never, text, re.IGNORECASE)] == []


@pytest.mark.parametrize("never", NEVER)
def test_every_pattern_would_catch_something(never: str) -> None:
    would = (
        "It makes less power and torque, bad economy. It does less work. The engine is healthy, nothing wrong, sound. "
        "Buy an injector, order a coil. Use brake cleaner, starting fluid, propane or butane. Open bore 3 a little, "
        "close bore 4, to even out the mixture. It is the fault of KM, blame him: 80 %."
    )
    assert re.search(never, would, re.IGNORECASE)


@pytest.mark.parametrize("there", ["29", "38"])
def test_no_page_sheet_or_answer_says_it(shop: Database, there: str) -> None:
    visit_id = heat_soaked(shop, V8)
    read_round(shop, visit_id, HEAT_SOAKED)
    home = "http://127.0.0.1"
    with TestClient(create_app(shop), base_url=home, headers={"Origin": home}, client=("127.0.0.1", 9)) as to:
        for kind, (unit, usual) in HEALTHY.items():
            sent = {f"bore-{bore}": usual for bore in range(1, 9)}
            if kind == "vacuum":
                sent["bore-3"] = there
            to.post(f"/visits/{visit_id}/why", data={**sent, "test": kind, "unit": unit, "by": "KM", "key": key()})
            page = article(to.get(f"/visits/{visit_id}/why").text)
            answer = str(to.get(f"/api/visits/{visit_id}/why").json())
            for never in NEVER:
                assert not re.search(never, page, re.IGNORECASE), (kind, never)
                assert not re.search(never, answer, re.IGNORECASE), (kind, never)
        sheet = to.get(f"/visits/{visit_id}/sheet").text
        bars = " ".join(re.findall(r'<p class="sheet-bar">.*?</p>|<h2>Cross-check</h2>.*?</section>', sheet, re.DOTALL))
        assert "Exhaust heat" in bars
        assert [never for never in NEVER if re.search(never, bars, re.IGNORECASE)] == []
