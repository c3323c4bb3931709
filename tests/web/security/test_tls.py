"""The program over https: what the wire shows, what a tablet is told, and pages that start without a link."""

import base64
import hashlib
import json
import re
import ssl
import struct
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from html.parser import HTMLParser
from pathlib import Path

import httpx2
import pytest
from cryptography import x509
from cryptography.hazmat.primitives.serialization import Encoding, PublicFormat
from playwright.sync_api import BrowserContext, Playwright, expect
from starlette.testclient import TestClient

from app import places
from app.server.certificates import CertificateProblem
from app.shop.store.database import Database
from app.shop.store.upgrade import open_shop
from app.web.application import create_app
from app.web.display_options import CHOICES
from app.web.kept_files import version
from app.web.pages.shop import offline
from app.web.security.pairing import Pairing
from app.wording.message import say
from app.wording.program.cli import CERTIFICATE_PROBLEMS, TRUST
from tests.browser import NewContext, flags, installed
from tests.shop.yard import heat_soaked, just_now, key
from tests.started import Started, refused, started
from tests.web.axe import faults
from tests.web.tablet import SIZE, Tablet, entered, said

HTTPS = "https://192.168.7.20:8000"
KEPT = set(re.findall(r'^  "(/[^"]+)",$', (places.static() / "worker.js").read_text(), re.MULTILINE))


@dataclass
class Secure:
    """A program that speaks https: where it is, where it says how to trust it, and what it printed about that."""

    program: Started
    page: str
    fingerprint: str

    @property
    def authority(self) -> bytes:
        return httpx2.get(self.page.replace("/trust", "/evenbore.crt")).content

    @property
    def client(self) -> httpx2.Client:
        """A program that trusts the authority and nobody else."""
        trusts = ssl.create_default_context(cadata=ssl.DER_cert_to_PEM_cert(self.authority))
        return httpx2.Client(base_url=self.program.address, verify=trusts, timeout=30)


@contextmanager
def secure(folder: Path, port: int = 0) -> Iterator[Secure]:
    with started("serve", "--tls", "--port", str(port), "--data", str(folder)) as program:
        assert program.process.stdout is not None
        trust, *lines = (program.process.stdout.readline() for _ in range(3))
        page = re.search(r"http://\S+/trust", trust)
        assert page is not None, trust
        assert trust.strip() == say(TRUST, page=page[0])
        fingerprint = " ".join(re.findall(r"\b[0-9A-F]{2}\b", " ".join(lines)))
        yield Secure(program, page[0], fingerprint)


@pytest.fixture(scope="module")
def over_https(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Secure]:
    with secure(tmp_path_factory.mktemp("shop")) as running:
        yield running


def test_whoever_trusts_the_authority_is_answered_and_nobody_else(over_https: Secure) -> None:
    assert over_https.program.address.startswith("https://")
    with over_https.client as client:
        assert "<h1" in client.get("/").text
    with pytest.raises(httpx2.ConnectError, match="CERTIFICATE_VERIFY_FAILED"):
        httpx2.get(over_https.program.address)


def test_a_form_of_the_program_s_own_page_is_taken_and_its_cookies_go_over_https_only(over_https: Secure) -> None:
    with over_https.client as client:
        origin = over_https.program.address.rstrip("/")
        foreign = client.post("/look", data={"look": "dark"}, headers={"Origin": origin.replace("https", "http")})
        assert foreign.status_code == 403
        taken = client.post("/look", data={"look": "dark"}, headers={"Origin": origin})
        assert taken.status_code == 303
        cookies = taken.headers.get_list("Set-Cookie")
        assert {cookie.partition("=")[0] for cookie in cookies} == {f"__Host-{name}" for name in (*CHOICES, "initials")}
        for cookie in cookies:  # what browsers ask of a cookie with that prefix
            assert cookie.startswith("__Host-")
            assert "Secure" in cookie
            assert "Path=/" in cookie
            assert "Domain" not in cookie
        assert 'data-look="dark"' in client.get("/").text


def test_a_tablet_paired_under_https_can_be_paired_again_on_plain_http(shop: Database) -> None:
    """A browser never lets plain http replace a cookie of the same name that was made under https."""
    codes = Pairing(lambda: (f"{HTTPS}/",))
    app = create_app(shop, pairing=codes)
    names = []
    for address in (HTTPS, HTTPS.replace("https", "http")):
        origin = {"Origin": address}
        tablet = TestClient(
            app, base_url=address, client=("192.168.7.31", 40000), headers=origin, follow_redirects=False
        )
        codes.new()
        said = tablet.post("/pair", data={"key": key(), "code": codes.code, "name": "test cell"}).headers["Set-Cookie"]
        assert ("Secure" in said) == (address == HTTPS)
        assert tablet.get("/shop").status_code == 200
        names.append(said.partition("=")[0])
    assert names[0] != names[1]


def test_the_door_on_plain_http_says_how_to_trust_and_nothing_of_the_shop(over_https: Secure) -> None:
    with httpx2.Client(base_url=over_https.page.removesuffix("/trust")) as client:
        assert client.get("/").headers["Location"] == "/trust"
        page = client.get("/trust").text
        assert over_https.fingerprint in page
        assert f'href="{over_https.program.address}"' in page
        for path in ("/engines/1", "/shop", "/tablets", "/api/engines", "/pair", "/offline"):
            assert client.get(path).status_code == 404, path
        assert client.post("/trust", headers={"Origin": str(client.base_url)}).status_code in (403, 405)
        assert client.get("/trust", headers={"Host": "other.example"}).status_code == 400


def test_the_file_is_what_tablets_take_for_a_certificate(over_https: Secure) -> None:
    answer = httpx2.get(over_https.page.replace("/trust", "/evenbore.crt"))
    assert answer.headers["Content-Type"] == "application/x-x509-ca-cert"
    assert "evenbore.crt" in answer.headers["Content-Disposition"]
    assert bytes.fromhex(over_https.fingerprint) == hashlib.sha256(answer.content).digest()


def test_a_certificate_that_cannot_be_read_stops_the_start_with_a_word(tmp_path: Path) -> None:
    (tmp_path / "https").mkdir()
    authority = tmp_path / "https/authority.pem"
    authority.write_text("not a key")
    problem = say(CERTIFICATE_PROBLEMS[CertificateProblem.UNREADABLE], place=authority)
    assert refused("serve", "--tls", "--port", "0", "--data", str(tmp_path)).strip() == problem


def test_the_page_says_that_nothing_may_wait_before_the_address_changes(over_https: Secure, shop: Database) -> None:
    with over_https.client as client:
        assert "wait until the top says <b>All saved</b>" in client.get("/trust").text
    plain = TestClient(create_app(shop), base_url="http://127.0.0.1:8000").get("/trust").text
    assert "wait until the top says <b>All saved</b>" in plain
    assert "--tls" in plain
    assert "Certificate Trust Settings" not in plain


def test_pictures_to_scan_stand_on_white_in_the_dark_look_too(over_https: Secure, shop: Database) -> None:
    """A camera finds no code that is dark on dark."""
    codes = Pairing(lambda: (f"{HTTPS}/",))
    codes.new()
    here = TestClient(create_app(shop, pairing=codes), base_url="http://127.0.0.1:8000", client=("127.0.0.1", 40000))
    for page in (httpx2.get(over_https.page).text, here.get("/tablets").text):
        ground = re.search(r'<path fill="#fff" d="M0 0h(\d+)v(\d+)', page)
        assert ground is not None
        assert ground[1] == ground[2]


def test_an_app_and_its_worker_are_offered_under_https_alone(shop: Database) -> None:
    app = create_app(shop)
    for address, offered in ((HTTPS, True), ("http://127.0.0.1:8000", False)):
        page = TestClient(app, base_url=address, client=("127.0.0.1", 40000)).get("/").text
        assert ("manifest.webmanifest" in page, "install.js" in page) == (offered, offered)


def test_a_tablet_can_learn_to_trust_before_it_is_paired(shop: Database) -> None:
    tablet = TestClient(create_app(shop), base_url=HTTPS, client=("192.168.7.31", 40000))
    answers = {
        path: tablet.get(path).status_code for path in ("/trust", "/evenbore.crt", "/offline", "/worker.js", "/shop")
    }
    assert answers == {"/trust": 200, "/evenbore.crt": 404, "/offline": 200, "/worker.js": 200, "/shop": 401}


def test_the_manifest_names_icons_of_the_sizes_it_says(shop: Database) -> None:
    client = TestClient(create_app(shop), base_url=HTTPS, client=("127.0.0.1", 40000))
    answer = client.get("/static/manifest.webmanifest")
    assert answer.headers["Content-Type"] == "application/manifest+json"
    manifest = json.loads(answer.text)
    assert {"192x192", "512x512"} <= {icon["sizes"] for icon in manifest["icons"]}
    for icon in manifest["icons"]:
        found = client.get(icon["src"])
        assert found.status_code == 200
        assert found.headers["Content-Type"].startswith(icon["type"])
        if icon["type"] == "image/png":
            width, height = struct.unpack(">II", found.content[16:24])
            assert f"{width}x{height}" == icon["sizes"]


class Files(HTMLParser):
    """What a page loads."""

    def __init__(self) -> None:
        super().__init__()
        self.found: set[str] = set()

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        wanted = {"link": "href", "script": "src", "img": "src"}.get(tag)
        self.found |= {value for name, value in attrs if name == wanted and value}


def test_the_page_without_a_link_needs_nothing_that_is_not_kept(shop: Database) -> None:
    client = TestClient(create_app(shop), base_url=HTTPS, client=("127.0.0.1", 40000))
    files = Files()
    files.feed(client.get("/offline").text)
    needed = {path.replace(f"/{version()}/", "/") for path in files.found}
    for script in sorted(path for path in KEPT if path.endswith(".js")):
        imported = re.findall(r'from "\./([\w.]+)"', client.get(script).text)
        needed |= {f"/static/{name}" for name in imported}
    assert needed | {"/offline"} == KEPT


def test_a_tablet_loads_everything_again_when_a_stored_file_or_text_changes(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    for name in ("static", "templates"):
        source = getattr(places, name)()
        for file in source.rglob("*"):
            if file.is_file():
                copy = tmp_path / name / file.relative_to(source)
                copy.parent.mkdir(parents=True, exist_ok=True)
                copy.write_bytes(file.read_bytes())
        monkeypatch.setattr(places, name, lambda name=name: tmp_path / name)
    version = offline.version.__wrapped__
    first = version()
    assert first == version()
    (tmp_path / "static/tokens.css").write_text("/* another */")
    second = version()
    (tmp_path / "templates/offline.html").write_text("another")
    third = version()
    monkeypatch.setattr(offline, "bundle", lambda: {"sending": "another"})
    assert len({first, second, third, version()}) == 4


@contextmanager
def trusting(playwright: Playwright, memory: Path, certificates: Path) -> Iterator[BrowserContext]:
    """A browser that trusts the server's key, as one does whose owner installed the authority.

    Chromium takes that flag only with a folder of its own to remember in.
    """
    server = x509.load_pem_x509_certificate((certificates / "server.pem").read_bytes())
    key = server.public_key().public_bytes(Encoding.DER, PublicFormat.SubjectPublicKeyInfo)
    trusted = base64.b64encode(hashlib.sha256(key).digest()).decode()
    context = playwright.chromium.launch_persistent_context(
        memory,
        executable_path=installed(),
        args=[*flags(), f"--ignore-certificate-errors-spki-list={trusted}"],
        viewport={"width": SIZE[0], "height": SIZE[1]},
    )
    context.set_default_timeout(20_000)
    yield context
    context.close()


def test_pages_start_without_a_link_and_what_waits_goes_over_when_it_is_back(
    playwright: Playwright, tmp_path: Path
) -> None:
    folder = tmp_path / "shop"
    shop = open_shop(folder)
    with just_now():
        visit_id = heat_soaked(shop)
    shop.close()
    with (
        secure(folder) as first,
        trusting(playwright, tmp_path / "memory", folder / "https") as context,
    ):
        address = first.program.address.rstrip("/")
        hand = Tablet(context.pages[0], context)
        hand.open(address, visit_id)
        asked = hand.page.url
        hand.page.evaluate("navigator.serviceWorker.ready.then(() => true)")
        hand.page.goto(f"{address}/engines/1")
        hand.page.goto(asked)
        hand.page.goto(first.page)
        assert faults(hand.page) == []
        hand.page.goto(asked)
        assert first.program.stop() == 0

        hand.read("6.25", then="Bore 2")
        expect(hand.bar).to_contain_text(said("waiting", what="1 reading"))
        hand.page.reload()
        expect(hand.page.get_by_role("heading", name="No connection to the shop computer")).to_be_visible()
        expect(hand.page.locator("#held")).to_contain_text(said("sent-in-order", what="1 reading"))
        expect(hand.page.get_by_role("list", name="Waiting on this tablet")).to_have_text("Bore 1, 6.25")
        expect(hand.bar).to_contain_text(said("no-connection"))
        assert faults(hand.page) == []
        kept = "caches.keys().then(async (all) => (await Promise.all(all.map(async (one) => "
        kept += "(await (await caches.open(one)).keys()).map((r) => new URL(r.url).pathname)))).flat())"
        assert set(hand.page.evaluate(kept)) == KEPT

        with secure(folder, port=int(address.rpartition(":")[2])):
            hand.is_saved()
            expect(hand.page.locator("#entry-heading")).to_have_text("Bore 2")
            assert hand.page.url == asked
    shop = open_shop(folder)
    assert [(bore, value) for bore, _, value in entered(shop, visit_id)] == [(1, 6.25)]
    shop.close()


def test_a_certificate_that_was_only_clicked_through_costs_nothing_but_the_start_without_a_link(
    new_context: NewContext, over_https: Secure
) -> None:
    page = new_context(ignore_https_errors=True).new_page()
    wrong: list[str] = []
    page.on("pageerror", lambda error: wrong.append(str(error)))
    page.goto(over_https.program.address)
    expect(page.locator("#link-state")).to_contain_text("All saved")
    assert wrong == []
    tried = "navigator.serviceWorker.register('/worker.js').then(() => 'taken', (error) => error.name)"
    assert page.evaluate(tried) == "SecurityError"
