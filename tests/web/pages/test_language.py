"""The language of pages: served in the pseudo-language, no text of the program is left as it was in English."""

import json
import re
import shutil
from collections.abc import Iterator
from datetime import UTC, datetime
from pathlib import Path

import pytest
from starlette.testclient import TestClient

from app.shop.commands.access import tablets
from app.shop.procedure.phases import HEAT_SOAKED
from app.shop.store.backup import keep_one
from app.shop.store.database import Database, FileDatabase
from app.shop.store.upgrade import DamagedShopError, open_shop
from app.web.application import create_app
from app.web.pages.shop.damaged import create_damaged_app
from app.web.pages.shop.trust import Trust, create_trust_app
from app.web.security.pairing import Pairing
from tests.shop.yard import AT, FACTS, TWINS, engine, heat_soaked, key, read_round
from tests.web.pieces import plain
from tests.web.pseudo_text import unmarked
from tests.wording.pseudo import PseudoTranslations

HOME = "http://192.168.7.20:8000"
PSEUDO = PseudoTranslations()
METER = "Bench meter"
DATA = {
    *(FACTS.serial, FACTS.description, FACTS.customer, FACTS.vehicle, "22-0098", "First sync", METER, "Road meter"),
    *("nowhere", "Kim Marlow", "Test cell 2", "Sent away", "Column", "31-0217, bore 3", "As measured", HOME),
}
"""What a person typed."""

PAGES = (
    "/",
    "/?find=31-0217",
    "/?find=31-0218",
    "/?find=nowhere",
    "/engines/new",
    "/engines/1",
    "/engines/2",
    "/engines/1/change",
    "/engines/1/fitting",
    "/engines/1/visits/new",
    "/engines/1/paper",
    "/engines/1/tag",
    "/engines/1/worksheet",
    "/visits/1/cold-preset",
    "/visits/1/first-fire",
    "/visits/1/heat-soaked-recheck",
    "/visits/1/heat-soaked-recheck/readings",
    "/visits/1/heat-soaked-recheck/moves/new",
    "/visits/1/part-throttle-bank-balance",
    "/visits/1/part-throttle-bank-balance/readings",
    "/visits/1/lock-down",
    "/visits/1/sign-off",
    "/visits/1/sheet",
    "/exchange",
    "/practice",
    "/practice/2",
    "/practice/2/expert",
    "/statistics",
    "/meters",
    "/meters/1",
    "/studies/1",
    "/studies/2",
    "/shop",
    "/people",
    "/tablets",
    "/sites",
    "/audit",
    "/settings",
    "/look",
    "/pair",
    "/trust",
    "/offline",
    "/nowhere",
    "/engines/99",
)


@pytest.fixture(scope="module")
def pages(newly_made: Path, tmp_path_factory: pytest.TempPathFactory) -> Iterator[TestClient]:
    """A browser on the shop computer, over a shop in which something of everything was recorded."""
    folder = tmp_path_factory.mktemp("pseudo") / "shop"
    folder.mkdir(mode=0o700)
    shutil.copyfile(newly_made, folder / newly_made.name)
    shop = open_shop(folder)
    heat_soaked(shop)
    read_round(shop, 1, HEAT_SOAKED)
    engine(shop, TWINS, serial="22-0098")
    app = create_app(shop, pairing=Pairing(lambda: (f"{HOME}/",)), language=PSEUDO)
    with TestClient(app, base_url=HOME, headers={"Origin": HOME}, client=("::1", 9)) as client:
        for path, sent in WRITES:
            assert client.post(path, data={"key": key(), **sent}).status_code == 200, path
        for value in ("6.5", "6.25") * 5:
            assert client.post("/studies/1", data={"key": key(), "value": value}).status_code == 200
        read_round(shop, 2, HEAT_SOAKED)
        tablets.pair(shop, key(), "Test cell 2", "token", AT)
        yield client
    shop.close()


WRITES: tuple[tuple[str, dict[str, str]], ...] = (
    ("/practice", {"shape": "8-two", "trouble": "loose", "start": "hot", "by": "KM"}),
    ("/meters", {"name": "Column", "unit": "mmHg", "step": "2", "low": "0", "high": "760"}),
    ("/meters", {"name": "Road meter", "unit": "kg/h", "step": "0.25", "low": "0", "high": "30"}),
    ("/meters/1/studies", {"study_by": "KM", "where": "31-0217, bore 3"}),
    ("/meters/1/studies", {"study_by": "KM", "where": "", "compare": "1", "other": "3"}),
    ("/meters/1/due", {"due": "2020-01-31", "due_why": "Sent away", "due_by": "KM"}),
    ("/people", {"name": "Kim Marlow", "pin": "2580", "again": "2580"}),
    ("/tablets/code", {}),
    ("/shop/copies", {}),
)
"""What is recorded by forms, as a browser sends them."""


def seen(page: str) -> list[str]:
    """The words of a page that are neither of the pseudo-language nor data."""
    return unmarked(plain(page), DATA)


@pytest.mark.parametrize("path", PAGES)
def test_no_text_of_a_page_stays_in_english(pages: TestClient, path: str) -> None:
    answer = pages.get(path)
    assert answer.status_code == (404 if path in ("/nowhere", "/engines/99") else 200)
    assert '<html lang="en-XA"' in answer.text
    assert seen(answer.text) == []


def test_what_the_scripts_say_is_in_the_language_of_the_page(pages: TestClient) -> None:
    words = re.search(r'<script id="words" type="application/json">(.*?)</script>', pages.get("/shop").text)
    assert words is not None
    bundle = json.loads(words[1]).values()
    texts = [text for one in bundle for text in (one.values() if isinstance(one, dict) else (one,))]
    assert len(texts) > 50
    assert all(text.startswith("[") and text.endswith("]") for text in texts)


def test_programs_are_answered_in_english(pages: TestClient) -> None:
    refused = pages.get("/api/visits/99").json()
    assert refused["code"] == "no-such-visit"
    assert "[" not in refused["detail"]


@pytest.mark.parametrize("tls", [True, False])
def test_the_page_about_trust_is_in_the_language_of_the_shop(shop: Database, tls: bool) -> None:
    trusting = Trust(b"", "12:AB", f"{HOME}/", f"{HOME}/trust")
    app = create_trust_app(trusting, language=PSEUDO) if tls else create_app(shop, language=PSEUDO)
    with TestClient(app, base_url=HOME, client=("::1", 9)) as client:
        assert unmarked(client.get("/trust").text, {f"{HOME}/trust", f"{HOME}/"}) == []


@pytest.mark.parametrize("backup", [True, False])
def test_a_damaged_shop_says_so_in_its_language(shop: FileDatabase, backup: bool) -> None:
    now = datetime.now(UTC)
    if backup:
        keep_one(shop.folder, now)
    shop.close()
    shop.file.write_bytes(b"")
    with pytest.raises(DamagedShopError) as damaged:
        open_shop(shop.folder)
    app = create_damaged_app(damaged.value, start_again=lambda: None, clock=lambda: now, language=PSEUDO)
    with TestClient(app, base_url=HOME, client=("::1", 9)) as client:
        page = client.get("/").text
    assert "[Thé réçõrds àré dàmàgéd ~" in page
    assert unmarked(page, {str(shop.folder)}) == []
