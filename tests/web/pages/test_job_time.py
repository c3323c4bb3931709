"""The time of a job on its page and on the record page of the sheet, and in the data that leave."""

import csv
import io
import zipfile

from starlette.testclient import TestClient

from app.shop.store.database import Database
from app.web.application import create_app
from tests.shop.yard import key, ready_to_sign

CORRECTION = {"phase": "lock-down", "minutes": "90", "why": "Tablet was flat", "by": "KM"}


def client(shop: Database) -> TestClient:
    home = "http://127.0.0.1"
    return TestClient(create_app(shop), base_url=home, headers={"Origin": home}, client=("127.0.0.1", 9))


def test_a_phase_is_corrected_and_the_sheet_says_so(shop: Database) -> None:
    visit_id = ready_to_sign(shop)
    with client(shop) as to:
        assert f'href="/visits/{visit_id}/hours"' in to.get(f"/visits/{visit_id}/sheet").text
        page = to.post(f"/visits/{visit_id}/hours", data={**CORRECTION, "key": key()})
        assert "Tablet was flat" in page.text
        assert "No other job here on an engine of this layout to compare with." in page.text
        sheet = to.get(f"/visits/{visit_id}/sheet").text
        assert "Lock-down 1\u00a0h\u00a030\u00a0min (corrected by KM)" in sheet
        assert "Time corrected, lock-down: Tablet was flat" in to.get("/audit").text.replace("Lock-down", "lock-down")


def test_what_is_missing_is_said_beside_its_field(shop: Database) -> None:
    visit_id = ready_to_sign(shop)
    with client(shop) as to:
        for name, typed in (("why", ""), ("by", ""), ("minutes", "x"), ("minutes", "-5")):
            page = to.post(f"/visits/{visit_id}/hours", data={**CORRECTION, name: typed, "key": key()})
            assert page.status_code == 422
            assert f'id="{name}-message"' in page.text
        assert to.get("/visits/99/hours").status_code == 404
        assert to.post("/visits/99/hours", data={**CORRECTION, "key": key()}).status_code == 404


def test_the_data_that_leave_have_the_hours_with_their_corrections(shop: Database) -> None:
    visit_id = ready_to_sign(shop)
    with client(shop) as to:
        to.post(f"/visits/{visit_id}/hours", data={**CORRECTION, "key": key()})
        package = zipfile.ZipFile(io.BytesIO(to.get("/shop/tables.zip").content))
    rows = list(csv.DictReader(io.StringIO(package.read("hours.csv").decode())))
    (corrected,) = [row for row in rows if row["corrected"] == "yes"]
    assert corrected["phase"] == "lock-down"
    assert (corrected["minutes"], corrected["why"], corrected["by"]) == ("90.0", "Tablet was flat", "KM")
    assert float(corrected["recorded_minutes"]) < 90
    assert {row["minutes"] == row["recorded_minutes"] for row in rows if row is not corrected} == {True}
