"""Taking goods in by a page: rows as they came, labels, and what is put aside."""

from collections.abc import Callable
from uuid import uuid4

import pytest
from django.db import connection
from django.test import Client
from django.test.utils import CaptureQueriesContext

from inventory.models import Container, OrderLine, Receipt
from inventory.services.orders.lines import OrderedLine
from inventory.services.orders.writing import write_order
from tests.factories.accounts import Office
from tests.factories.inventory import at, each, gal, held
from tests.factories.supply import make_order, make_supplier, make_terms

Browse = Callable[[str], Client]


@pytest.fixture
def line(office: Office) -> OrderLine:
    """Two drums of 55 gal are awaited."""
    supplier = make_supplier()
    make_terms(supplier, office.world.fluid, unit_cost=2, pack=55)
    return make_order(office.world, supplier, office.world.fluid, gal(110))


def _row(number: int, **fields: str) -> dict[str, str]:
    usual = {
        "amount": "55",
        "amount-unit": "[gal_us]",
        "finding": "sound",
        "vessel": "drum",
        "label": f"N-{number}",
        "place": "main-yard",
        "material": "fluid",
        "line": "1",
        "marks-unit": "[ft_i]",
    }
    return {f"row-{number}-{name}": value for name, value in {**usual, **fields}.items()}


def _sent(*rows: dict[str, str], **head: str) -> dict[str, str]:
    sent = {
        "id": str(uuid4()),
        "occurred_at": "2026-03-02T10:00:00-06:00",
        "rows": str(len(rows)),
        "delivery_note": "DN 7",
        **head,
    }
    for row in rows:
        sent |= row
    return sent


def test_form_proposes_a_row_for_each_drum_that_is_awaited(browse: Browse, line: OrderLine) -> None:
    client = browse("stores")
    reference = line.order.reference
    assert f'href="/receive/{reference}"' in client.get("/receive").content.decode()
    text = client.get(f"/receive/{reference}").content.decode()
    assert text.count('value="55"') == 2
    assert f'value="{reference}-2"' in text


def test_delivery_goes_to_the_shelf_and_its_labels_are_printed(
    browse: Browse, office: Office, line: OrderLine
) -> None:
    client = browse("stores")
    sent = _sent(_row(0), _row(1))
    answers = [client.post(f"/receive/{line.order.reference}", sent) for _ in range(2)]
    assert [answer.status_code for answer in answers] == [302, 302]
    receipt = Receipt.objects.get()
    assert answers[1]["Location"] == f"/receipts/{receipt.uuid}"
    drum = Container.objects.get(label="N-1")
    assert held(office.world.warehouse, office.world.fluid, drum) == 55_000_000
    text = client.get(f"/receipts/{receipt.uuid}").content.decode()
    address = "/api/v1/container-labels/file.pdf"
    assert f"{address}?container=N-0&amp;container=N-1" in text
    printed = client.get(f"{address}?container=N-0&container=N-1", HTTP_ACCEPT="text/html,*/*;q=0.8")
    assert printed.content.startswith(b"%PDF")


@pytest.mark.parametrize("finding", ["damaged", "short", "wrong"])
def test_what_is_not_as_ordered_is_put_aside(browse: Browse, line: OrderLine, finding: str) -> None:
    client = browse("stores")
    sent = _sent(_row(0, finding=finding), _row(1, amount=""))
    assert client.post(f"/receive/{line.order.reference}", sent).status_code == 302
    receipt = Receipt.objects.get()
    assert receipt.lines.get().finding == finding
    assert Container.objects.get(label="N-0").state == Container.State.HELD
    assert "put aside in quarantine" in client.get(f"/receipts/{receipt.uuid}").content.decode()


def test_more_than_awaited_is_seen_from_the_numbers(browse: Browse, line: OrderLine) -> None:
    rows = (_row(0), _row(1), _row(2))
    client = browse("stores")
    assert client.post(f"/receive/{line.order.reference}", _sent(*rows)).status_code == 302
    assert [row.finding for row in Receipt.objects.get().lines.all()] == ["sound", "sound", "over"]


def test_reel_without_order_is_taken_in_with_its_marks(
    browse: Browse, office: Office, line: OrderLine
) -> None:
    marks = {"outer_mark": "5000", "inner_mark": "0", "stated_length": "6000"}
    row = _row(
        0, material=office.world.fibre.code, vessel="reel", label="R-7", line="", unit_cost="1", **marks
    )
    row |= {"row-0-amount": "6000", "row-0-amount-unit": "[ft_i]"}
    sent = _sent(row, supplier="source", place="main-yard")
    assert browse("stores").post("/receive/new", sent).status_code == 302
    reel = Container.objects.get(label="R-7")
    assert (reel.outer_mark, reel.inner_mark, reel.stated_length) == (5_000_000_000, 0, 6_000_000_000)
    assert Receipt.objects.get().lines.get().finding == "unordered"


@pytest.mark.parametrize(
    ("changes", "field"),
    [
        ({"amount": "much"}, "row-0-amount"),
        ({"label": ""}, "row-0-label"),
        ({"material": "no such"}, "row-0-material"),
        ({"place": "nowhere"}, "row-0-place"),
        ({"vessel": "reel", "outer_mark": "x"}, "row-0-outer_mark"),
        ({"line": "9"}, "row-0-line"),
    ],
)
def test_fault_stands_at_its_field_and_what_was_typed_is_kept(
    browse: Browse, line: OrderLine, changes: dict[str, str], field: str
) -> None:
    sent = _sent(_row(0, note="dented rim", **changes), delivery_note="DN 99")
    answer = browse("stores").post(f"/receive/{line.order.reference}", sent)
    text = answer.content.decode()
    assert answer.status_code == 200
    assert f'id="{field}-fault"' in text
    assert 'value="DN 99"' in text
    assert 'value="dented rim"' in text
    assert sent["id"] in text
    assert not Receipt.objects.exists()


def test_more_rows_keep_what_was_typed(browse: Browse, line: OrderLine) -> None:
    sent = _sent(_row(0, label="KEEP-1"), _row(1), more="1")
    text = browse("stores").post(f"/receive/{line.order.reference}", sent).content.decode()
    assert 'value="KEEP-1"' in text
    assert 'name="row-4-amount"' in text
    assert not Receipt.objects.exists()


def test_written_order_is_awaited_once_it_is_said_to_be_sent(
    browse: Browse, office: Office, line: OrderLine
) -> None:
    order = write_order(
        id=uuid4(),
        by=office.world.actor,
        occurred_at=at(0),
        supplier=line.order.supplier,
        place=office.world.warehouse,
        lines=[OrderedLine(office.world.fluid, gal(55), None)],
    )
    assert browse("planner").post("/receive", {"sent": order.reference}).status_code == 403
    client = browse("stores")
    assert f">{order.reference} was sent<" in client.get("/receive").content.decode()
    for _ in range(2):
        assert client.post("/receive", {"sent": order.reference}).status_code == 302
    order.refresh_from_db()
    assert order.state == order.State.SENT
    assert "There is no order" in client.post("/receive", {"sent": "O-9"}).content.decode()


@pytest.mark.parametrize("role", ["crew", "planner", "accounts", "safety"])
def test_only_stores_take_goods_in(browse: Browse, line: OrderLine, role: str) -> None:
    client = browse(role)
    assert client.get("/receive").status_code == 403
    address = f"/receive/{line.order.reference}"
    assert client.get(address).status_code in {403, 404}
    assert client.post(address, _sent(_row(0))).status_code in {403, 404}
    assert not Receipt.objects.exists()


def test_drum_without_label_is_found_by_what_is_known(browse: Browse) -> None:
    client = browse("stores")
    assert "D-1" not in client.get("/unlabelled").content.decode()
    text = client.get("/unlabelled?vessel=drum&material=fluid&place=main-yard").content.decode()
    assert ">D-1</b>" in text
    assert "D-north" not in text
    assert "/api/v1/container-labels/file.pdf?container=D-1" in text
    assert "Nothing on record fits" in client.get("/unlabelled?vessel=tote").content.decode()


def test_pages_ask_as_often_however_much_is_there(browse: Browse, office: Office, line: OrderLine) -> None:
    client = browse("stores")
    client.post(f"/receive/{line.order.reference}", _sent(_row(0)))
    pages = ("/receive", f"/receive/{line.order.reference}", "/unlabelled?vessel=drum")
    before = [_count(client, page) for page in pages]
    for number in range(5):
        make_order(office.world, line.order.supplier, office.world.projectile, each(3), unit_cost=1)
        office.world.drum(f"M-{number}")
    assert [_count(client, page) for page in pages] == before


def _count(client: Client, address: str) -> int:
    with CaptureQueriesContext(connection) as seen:
        assert client.get(address).status_code == 200
    return len(seen)
