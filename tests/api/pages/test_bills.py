"""A supplier's bill by a page: its differences are shown before it is booked, and it can be undone."""

from collections.abc import Callable
from uuid import uuid4

import pytest
from django.db import connection
from django.test import Client
from django.test.utils import CaptureQueriesContext

from inventory.models import Entry, Place, SupplierInvoice
from inventory.services.posting import End
from inventory.services.receipts import ReceiptLine, receive
from tests.factories.accounts import Office
from tests.factories.inventory import at, each
from tests.factories.supply import make_supplier

Browse = Callable[[str], Client]
ADDRESS = "/bills/of/source"
WAITING = 'Source <span class="quiet">30.00 USD</span>'


@pytest.fixture
def receipt(office: Office) -> Entry:
    """Ten projectiles at 30.00 in all."""
    make_supplier()
    return _receive(office)


def _receive(office: Office) -> Entry:
    line = ReceiptLine(office.world.projectile, each(10), End(office.world.warehouse), 30_000_000)
    source = Place.objects.get(code="supplier:source")
    return receive(id=uuid4(), by=office.world.actor, occurred_at=at(1), source=source, lines=[line])


def _sent(receipt: Entry, material: str, **changes: str) -> dict[str, str]:
    return {
        "id": str(uuid4()),
        "occurred_at": "2026-03-03T10:00:00-06:00",
        "number": "B-77",
        "invoice_date": "2026-03-02",
        "currency": "USD",
        "rate": "1",
        "line-0-receipt": str(receipt.uuid),
        "line-0-material": material,
        "line-0-amount": "10",
        "line-0-amount-unit": "1",
        "line-0-price": "35.00",
        **changes,
    }


@pytest.mark.outside_check("35.00 asked for what was booked at 30.00; how known: by hand")
def test_differences_are_shown_and_nothing_is_booked_before_it_is_said(
    browse: Browse, office: Office, receipt: Entry
) -> None:
    client = browse("accounts")
    assert WAITING in client.get("/bills").content.decode()
    sent = _sent(receipt, office.world.projectile.code)
    text = client.post(ADDRESS, sent).content.decode()
    assert "Before it is booked" in text
    assert "5.00 USD" in text
    assert 'value="B-77"' in text
    assert not SupplierInvoice.objects.exists()
    booked = [client.post(ADDRESS, {**sent, "book": "1"}) for _ in range(2)]
    bill = SupplierInvoice.objects.get()
    assert [answer["Location"] for answer in booked] == [f"/bills/{bill.uuid}"] * 2
    assert bill.lines.get().difference == 5_000_000
    page = client.get(f"/bills/{bill.uuid}").content.decode()
    assert "5.00 USD" in page
    assert WAITING not in client.get("/bills").content.decode()
    assert "Everything of Source has its bill" in client.get(ADDRESS).content.decode()


@pytest.mark.outside_check("two more were billed than ten that came; how known: by hand")
def test_more_than_came_is_in_question(browse: Browse, office: Office, receipt: Entry) -> None:
    sent = _sent(receipt, office.world.projectile.code, **{"line-0-amount": "12", "line-0-price": "36.00"})
    text = " ".join(browse("accounts").post(ADDRESS, sent).content.decode().split())
    assert '<span class="warn">2</span>' in text


def test_bill_is_undone_with_a_reason_and_its_receipt_waits_again(
    browse: Browse, office: Office, receipt: Entry
) -> None:
    client = browse("accounts")
    client.post(ADDRESS, {**_sent(receipt, office.world.projectile.code), "book": "1"})
    address = f"/bills/{SupplierInvoice.objects.get().uuid}"
    assert 'id="reason-fault"' in client.post(address, {"reason": ""}).content.decode()
    assert client.post(address, {"reason": "was another site's"}).status_code == 302
    assert "was another site&#x27;s" in client.get(address).content.decode()
    assert WAITING in client.get("/bills").content.decode()


@pytest.mark.parametrize(
    ("changes", "field"),
    [
        ({"line-0-price": "dear"}, "line-0-price"),
        ({"line-0-amount": "x"}, "line-0-amount"),
        ({"number": ""}, "number"),
        ({"invoice_date": "soon"}, "invoice_date"),
        ({"rate": "0"}, "rate"),
    ],
)
def test_fault_stands_at_its_field_and_the_rest_is_kept(
    browse: Browse, office: Office, receipt: Entry, changes: dict[str, str], field: str
) -> None:
    sent = _sent(receipt, office.world.projectile.code, **changes)
    text = browse("accounts").post(ADDRESS, {**sent, "book": "1"}).content.decode()
    assert f'id="{field}-fault"' in text
    assert sent["id"] in text
    assert not SupplierInvoice.objects.exists()


@pytest.mark.parametrize(
    ("role", "status"), [("crew", 403), ("safety", 403), ("stores", 403), ("planner", 403)]
)
def test_only_the_accounts_bill(
    browse: Browse, office: Office, receipt: Entry, role: str, status: int
) -> None:
    client = browse(role)
    sent = {**_sent(receipt, office.world.projectile.code), "book": "1"}
    assert client.post(ADDRESS, sent).status_code == 403
    assert client.get(ADDRESS).status_code == 403
    assert not SupplierInvoice.objects.exists()


def test_pages_ask_as_often_however_much_waits(browse: Browse, office: Office, receipt: Entry) -> None:
    client = browse("accounts")
    before = [_count(client, page) for page in ("/bills", ADDRESS)]
    for _ in range(6):
        _receive(office)
    assert [_count(client, page) for page in ("/bills", ADDRESS)] == before


def _count(client: Client, address: str) -> int:
    with CaptureQueriesContext(connection) as seen:
        assert client.get(address).status_code == 200
    return len(seen)
