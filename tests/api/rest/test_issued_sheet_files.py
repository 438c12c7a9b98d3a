"""Cost sheets on paper and in workbooks as they were issued, and later bills open down to their entries."""

import io
from collections.abc import Callable
from datetime import date
from typing import Any
from uuid import uuid4

import pytest
from django.test import Client
from openpyxl import load_workbook
from pypdf import PdfReader
from rest_framework.test import APIClient

from inventory.models import Container, Entry, Party, Place
from inventory.money import to_money_millionths
from inventory.services.accounting.bills import Bill, BilledLine
from inventory.services.goods import draw
from inventory.services.lines import Line
from inventory.services.parties import save_party
from inventory.services.posting import End
from inventory.services.receipts import ReceiptLine, receive
from jobs.models import Job
from jobs.models.balance import balance_document
from jobs.services.accounting import take_bill
from tests.api.published import assert_answer
from tests.factories.accounts import Office
from tests.factories.inventory import at, each, gal

ClientOf = Callable[[str], APIClient]
ADDRESS = "/api/v1/jobs/J-north"


def draw_fluid(office: Office, gallons: int, hours: float, **also: str) -> None:
    drum = End(office.world.warehouse, Container.objects.get(label="D-1"))
    line = Line(office.world.fluid, gal(gallons), drum, End(office.span.place))
    draw(id=uuid4(), by=office.world.actor, occurred_at=at(hours), lines=[line], **also)


def read_pdf(client: APIClient, address: str) -> str:
    answer = client.get(address)
    assert answer.status_code == 200, answer.content
    pages = PdfReader(io.BytesIO(answer.content)).pages
    return " ".join(" ".join(page.extract_text() for page in pages).split())


def test_files_of_an_issued_sheet_are_made_of_what_was_stored(client_of: ClientOf, office: Office) -> None:
    accounts = client_of("accounts")
    draw_fluid(office, 5, 1)
    sent = accounts.post(f"{ADDRESS}/issued-sheets", {"id": str(uuid4())}, format="json")
    issued: Any = assert_answer("issue_cost_sheet", sent)
    draw_fluid(office, 7, 2)
    assert "120.00" in read_pdf(accounts, f"{ADDRESS}/cost-sheet/file.pdf")
    text = read_pdf(accounts, f"{ADDRESS}/issued-sheets/1/file.pdf")
    said = ["sheet 1 as issued", "50.00", issued["hash"], issued["last_hash"]]
    said.append(f"Book up to link {issued['last_sequence']}")
    for part in said:
        assert part.replace(" ", "") in text.replace(" ", ""), part
    assert "120.00" not in text
    book = load_workbook(io.BytesIO(accounts.get(f"{ADDRESS}/issued-sheets/1/file.xlsx").content))
    rows = [[cell.value for cell in row] for row in book.active.iter_rows()]
    at_cost = rows[0].index("cost")
    assert [row[at_cost] for row in rows if row[0] == "total"] == [50]
    told = " ".join(str(row[1]) for row in rows if row[0] == "issued")
    for part in ("1 of job J-north", issued["hash"], issued["last_hash"], str(issued["last_sequence"])):
        assert part in told
    assert accounts.get(f"{ADDRESS}/issued-sheets/2/file.pdf").status_code == 404
    page = Client()
    page.force_login(office.users["accounts"])
    assert 'href="/jobs/J-north/issued-sheets/1"' in page.get("/jobs/J-north/cost").content.decode()
    shown = page.get("/jobs/J-north/issued-sheets/1").content.decode()
    for part in ("50.00 USD", "120.00 USD", issued["hash"], issued["last_hash"], "It is what was issued"):
        assert part in shown, part
    assert page.get("/jobs/J-north/issued-sheets/2").status_code == 404


@pytest.fixture
def billed_late(office: Office) -> Entry:
    """Ten pads at 1.00 went to a span; the job was closed, then a bill said 1.50."""
    world = office.world
    save_party(code="mill", name="Foam Mill", is_supplier=True)
    arrived = [ReceiptLine(world.projectile, each(10), End(world.vehicle), to_money_millionths("10"))]
    mill = Place.objects.get(code="supplier:mill")
    receipt = receive(id=uuid4(), by=world.actor, occurred_at=at(0), source=mill, lines=arrived)
    used = Line(world.projectile, each(10), End(world.vehicle), End(office.span.place))
    draw(id=uuid4(), by=world.actor, occurred_at=at(1), lines=[used])
    Job.objects.filter(pk=office.job.pk).update(state=Job.State.CLOSED)
    line = BilledLine(receipt, world.projectile, each(10), to_money_millionths("15"))
    bill = Bill(
        supplier=Party.objects.get(code="mill"),
        number="B-7",
        invoice_date=date(2026, 3, 20),
        lines=[line],
    )
    invoice = take_bill(id=uuid4(), by=world.actor, occurred_at=at(100), bill=bill)
    assert invoice.entry is not None
    return invoice.entry


def test_a_later_bill_opens_from_the_cost_sheet_to_its_entry(
    client_of: ClientOf, office: Office, billed_late: Entry
) -> None:
    accounts = client_of("accounts")
    sheet: Any = assert_answer("get_cost_sheet", accounts.get(f"{ADDRESS}/cost-sheet"))
    [bill] = sheet["later_bills"]
    assert sheet["late_differences"] == bill["cost"] == {"value": "5.00", "currency": "USD"}
    assert (bill["number"], bill["part"]) == ("B-7", {"kind": "span", "name": "S1"})
    assert bill["entries"] == [str(billed_late.uuid)]
    entry = assert_answer("get_entry", accounts.get(f"/api/v1/entries/{bill['entries'][0]}"))
    assert entry["kind"] == "revaluation"
    text = read_pdf(accounts, f"{ADDRESS}/cost-sheet/file.pdf")
    assert "B-7 of Foam Mill" in text
    assert str(billed_late.uuid) in text.replace(" ", "")
    book = load_workbook(io.BytesIO(accounts.get(f"{ADDRESS}/cost-sheet/file.xlsx").content))
    rows = [[cell.value for cell in row] for row in book.active.iter_rows()]
    late = rows[0].index("later bills")
    assert [row[late] for row in rows if row[0] == "later bill"] == [5]
    page = Client()
    page.force_login(office.users["accounts"])
    shown = page.get("/jobs/J-north/cost").content.decode()
    assert f'href="/entries/{billed_late.uuid}"' in shown


def test_a_crews_part_of_a_line_opens_to_its_entries(client_of: ClientOf, office: Office) -> None:
    accounts = client_of("accounts")
    draw_fluid(office, 2, 1)
    for number, day in enumerate((office.crew.days.get(), office.foreign_crew.days.get())):
        draw_fluid(office, 3 + number, 2 + number, document=balance_document(day.pk))
    page = Client()
    page.force_login(office.users["accounts"])
    address = f"{ADDRESS}/cost-sheet/entries?material=fluid&owner=own"
    for crew, amount in (("", "2"), ("north", "3"), ("south", "4")):
        found = assert_answer("list_cost_entries", accounts.get(f"{address}&crew={crew}"))
        [entry] = found["results"]
        assert float(entry["movements"][0]["quantity"]["value"]) == float(amount), crew
        shown = page.get(f"/jobs/J-north/cost/fluid/own?crew={crew}").content.decode()
        assert [f"{each} gal" in shown for each in "234"] == [each == amount for each in "234"]
        assert (
            f'href="/jobs/J-north/cost/fluid/own?crew={crew}"'
            in page.get("/jobs/J-north/cost").content.decode()
        )
    assert page.get("/jobs/J-north/cost/fluid/own?month=2026-03&span=S1").status_code == 200
    assert page.get("/jobs/J-north/cost/fluid/own?month=2026-04").status_code == 404
