"""Cost sheets through their doors: read, opened to entries, printed, issued."""

import io
from collections.abc import Callable
from typing import Any
from uuid import uuid4

import pytest
from openpyxl import load_workbook
from pypdf import PdfReader
from rest_framework.test import APIClient

from inventory.models import Material
from jobs.models import EstimateLine, JobEstimate
from tests.api.published import assert_answer, assert_refusal
from tests.api.rest import requests
from tests.factories.accounts import Office
from tests.factories.inventory import at

ClientOf = Callable[[str], APIClient]
ADDRESS = "/api/v1/jobs/J-north"
ROLES = ("", "stores", "crew", "planner", "accounts", "safety", "admin")


@pytest.fixture
def drawn(client_of: ClientOf, office: Office) -> Office:
    """Five gallons at 10.00 on a span; six at 9.00 were expected."""
    estimate = JobEstimate.objects.create(job=office.job, frozen_at=at(0), frozen_by=office.world.actor)
    EstimateLine.objects.create(
        estimate=estimate,
        material=Material.objects.get(code="fluid"),
        owner=office.world.company,
        quantity=6_000_000,
        unit_cost=9_000_000,
    )
    client_of("admin").post("/api/v1/entries", requests.a_draw(office), format="json")
    return office


def money(value: str) -> dict[str, str]:
    return {"value": value, "currency": "USD"}


def test_the_sheet_says_what_it_cost_and_why(client_of: ClientOf, drawn: Office) -> None:
    sheet = assert_answer("get_cost_sheet", client_of("accounts").get(f"{ADDRESS}/cost-sheet"))
    assert (sheet["estimated_cost"], sheet["cost"]) == (money("54.00"), money("50.00"))
    [line] = sheet["lines"]
    assert line["differences"] == {
        "price": money("5.00"),
        "quantity": money("-9.00"),
        "recovery": money("0.00"),
        "total": money("-4.00"),
    }
    assert sheet["agrees_with_book"] is True


def test_a_line_opens_to_its_entries(client_of: ClientOf, drawn: Office) -> None:
    accounts = client_of("accounts")
    found = accounts.get(f"{ADDRESS}/cost-sheet/entries", {"material": "fluid", "owner": "own"})
    [entry] = assert_answer("list_cost_entries", found)["results"]
    assert entry["kind"] == "draw"
    assert_refusal(accounts.get(f"{ADDRESS}/cost-sheet/entries?material=fluid"), 400, "bad_input", "owner")


def test_the_picture_ends_at_the_cost(client_of: ClientOf, drawn: Office) -> None:
    picture = assert_answer("get_cost_picture", client_of("accounts").get(f"{ADDRESS}/cost-sheet/picture"))
    rows = [(row["stage"], row["change"], row["level"]) for row in picture["table"]["rows"]]
    assert rows == [
        ("Estimate", "", "54.00"),
        ("Prices", "+5.00", "59.00"),
        ("Quantities", "-9.00", "50.00"),
        ("Actual", "", "50.00"),
    ]
    assert picture["svg"].startswith("<svg")


def test_the_sheet_is_had_as_pdf_and_workbook(client_of: ClientOf, drawn: Office) -> None:
    accounts = client_of("accounts")
    printed = accounts.get(f"{ADDRESS}/cost-sheet/file.pdf")
    text = "\n".join(page.extract_text() for page in PdfReader(io.BytesIO(printed.content)).pages)
    assert "Cost of job J-north" in text
    assert "Extraction fluid" in text
    assert "54.00" in text
    book = load_workbook(io.BytesIO(accounts.get(f"{ADDRESS}/cost-sheet/file.xlsx").content))
    rows = [[cell.value for cell in row] for row in book.active.iter_rows()]
    at_cost = rows[0].index("cost")
    assert [row[at_cost] for row in rows[1:]] == [50, 50]
    assert accounts.get(f"{ADDRESS}/cost-sheet/file.doc").status_code == 404


def test_an_issued_sheet_is_shown_as_issued_and_as_known_now(client_of: ClientOf, drawn: Office) -> None:
    accounts = client_of("accounts")
    body = {"id": str(uuid4())}
    issued = assert_answer("issue_cost_sheet", accounts.post(f"{ADDRESS}/issued-sheets", body, format="json"))
    again = accounts.post(f"{ADDRESS}/issued-sheets", body, format="json")
    assert assert_answer("issue_cost_sheet", again) == issued
    client_of("admin").post("/api/v1/entries", requests.a_draw(drawn), format="json")
    shown: Any = assert_answer("get_issued_sheet", accounts.get(f"{ADDRESS}/issued-sheets/1"))
    assert shown["as_issued"]["cost"] == money("50.00")
    assert shown["as_known_now"]["cost"] == money("100.00")
    assert shown["faults"] == []
    assert len(assert_answer("list_issued_sheets", accounts.get(f"{ADDRESS}/issued-sheets"))["results"]) == 1
    assert accounts.get(f"{ADDRESS}/issued-sheets/2").status_code == 404
    assert accounts.get(f"{ADDRESS}/issued-sheets/99999999999").status_code == 404


@pytest.mark.parametrize("role", ROLES)
def test_who_sees_and_issues_cost_sheets(client_of: ClientOf, office: Office, role: str) -> None:
    client = client_of(role)
    sees = 401 if not role else 403 if role in ("crew", "safety") else 200
    for part in ("cost-sheet", "cost-sheet/file.csv", "cost-sheet/picture", "issued-sheets"):
        assert client.get(f"{ADDRESS}/{part}").status_code == sees, part
    entries = client.get(f"{ADDRESS}/cost-sheet/entries", {"material": "fluid", "owner": "own"})
    assert entries.status_code == sees
    issued = client.post(f"{ADDRESS}/issued-sheets", {"id": str(uuid4())}, format="json")
    assert issued.status_code == (201 if role in ("accounts", "admin") else 401 if not role else 403)
