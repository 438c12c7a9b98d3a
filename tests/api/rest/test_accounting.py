"""Closing, billing, mapping, exporting and deciding, through their doors."""

import csv
import io
from collections.abc import Callable
from typing import Any
from uuid import uuid4

import pytest
from openpyxl import load_workbook
from rest_framework.test import APIClient

from inventory.models import CostPool, Entry, JournalBatch, Material, SecondWord, SupplierInvoice
from inventory.services.parties import save_party
from inventory.services.sealing import seal_all
from tests.api.published import assert_answer, assert_refusal
from tests.api.rest import requests
from tests.factories.accounts import Office
from tests.factories.inventory import each

ClientOf = Callable[[str], APIClient]
ROOT = "/api/v1"
ROLES = ("", "stores", "crew", "planner", "accounts", "safety", "admin")
USE = {"job": "5100", "run": "5100", "span": "5100"}
STOCK = dict.fromkeys(["warehouse", "bin", "vehicle", "site", "transit"], "1400")
OTHER = dict.fromkeys(
    ["supplier", "customer", "plant", "waste", "variance", "price_variance", "write_down", "process"], "2000"
)


def post(client: APIClient, address: str, **body: Any) -> Any:
    return client.post(f"{ROOT}/{address}", body, format="json")


def put_accounts(client: APIClient, **changed: str) -> Any:
    accounts = {**USE, **STOCK, **OTHER, **changed}
    rows = [{"place_kind": kind, "account": account} for kind, account in accounts.items()]
    return client.put(f"{ROOT}/accounts", {"accounts": rows}, format="json")


def test_the_write_off_limit_is_set_by_who_keeps_the_accounts(client_of: ClientOf) -> None:
    accounts = client_of("accounts")
    address = f"{ROOT}/write-off-limit"
    body = {"limit": requests.dollars("500")}
    assert client_of("stores").put(address, body, format="json").status_code == 403
    assert assert_answer("set_write_off_limit", accounts.put(address, body, format="json")) == {
        "limit": requests.dollars("500.00")
    }
    assert_refusal(
        accounts.put(address, {"limit": {"value": "5", "currency": "EUR"}}, format="json"),
        400,
        "bad_input",
        "/limit/currency",
    )
    lower = {"limit": requests.dollars("400.00")}
    assert_answer("set_write_off_limit", accounts.put(address, lower, format="json"))
    for higher in (None, requests.dollars("400.01")):
        refused = accounts.put(address, {"limit": higher}, format="json")
        assert_refusal(refused, 409, "second_word_needed")
    assert assert_answer("get_write_off_limit", accounts.get(address)) == lower


def test_batches_go_out_once_and_come_back_under_their_number(client_of: ClientOf, office: Office) -> None:
    accounts = client_of("accounts")
    refused = post(accounts, "journal-batches", booked_until="2026-03-02")
    assert_refusal(refused, 409, "account_missing")
    assert_answer("set_accounts", put_accounts(accounts))
    post(client_of("admin"), "entries", **requests.a_draw(office))
    made = assert_answer("make_journal_batch", post(accounts, "journal-batches", booked_until="2026-03-02"))
    used = [line for line in made["lines"] if line["account"] == "5100"]
    assert [(line["job"], line["debit"]["value"]) for line in used] == [("J-north", "50.00")]
    total = sum(float(line["debit"]["value"]) - float(line["credit"]["value"]) for line in made["lines"])
    assert total == pytest.approx(0, abs=1e-9)
    assert_refusal(post(accounts, "journal-batches", booked_until="2026-03-02"), 409, "nothing_to_export")
    post(accounts, "journal-batches/1/answer", is_accepted=False, answer="5100 is closed")
    put_accounts(accounts, job="5200", run="5200", span="5200")
    again = assert_answer("remake_journal_batch", post(accounts, "journal-batches/1/remaking"))
    assert "5200" in {line["account"] for line in again["lines"]}
    [rejected] = again["rejected"]
    assert (rejected["answer"], rejected["lines"]) == ("5100 is closed", made["lines"])
    assert (made["rejected"], again["answer"]) == ([], "")
    assert JournalBatch.objects.count() == 1
    assert_answer("get_journal_batch", accounts.get(f"{ROOT}/journal-batches/1"))
    assert len(assert_answer("list_journal_batches", accounts.get(f"{ROOT}/journal-batches"))["results"]) == 1


def test_accounts_tie_to_the_stock_and_to_what_is_not_exported(client_of: ClientOf, office: Office) -> None:
    accounts = client_of("accounts")
    put_accounts(accounts)
    post(accounts, "journal-batches", booked_until="2026-03-02")
    post(client_of("admin"), "entries", **requests.a_draw(office))
    found = assert_answer("list_account_ties", accounts.get(f"{ROOT}/account-ties?until=2026-03-02"))
    ties = {row["account"]: row for row in found["results"]}
    assert ties["1400"]["not_exported"] == requests.dollars("-50.00")
    assert ties["5100"] == {
        "account": "5100",
        "balance": requests.dollars("50.00"),
        "in_stock": requests.dollars("0.00"),
        "not_sealed": requests.dollars("50.00"),
        "exported": requests.dollars("0.00"),
        "not_exported": requests.dollars("50.00"),
    }
    rolled = assert_answer("get_roll_forward", accounts.get(f"{ROOT}/roll-forward?last_date=2026-03-02"))
    closing = sum(float(row["closing"]["value"]["value"]) for row in rolled["results"])
    assert float(ties["1400"]["balance"]["value"]) == pytest.approx(closing, abs=1e-6)
    seal_all()
    sealed = accounts.get(f"{ROOT}/account-ties?until=2026-03-02").json()["results"]
    assert {row["not_sealed"]["value"] for row in sealed} == {requests.dollars("0.00")["value"]}
    assert found["stock"]["closing"] == found["stock"]["in_accounts"] == ties["1400"]["in_stock"]


def test_a_batch_is_had_as_csv_and_as_a_workbook(client_of: ClientOf) -> None:
    accounts = client_of("accounts")
    put_accounts(accounts, warehouse="=1+1")
    post(accounts, "journal-batches", booked_until="2026-03-02")
    text = accounts.get(f"{ROOT}/journal-batches/1/file.csv").content.decode("utf-8-sig")
    rows = list(csv.DictReader(io.StringIO(text)))
    assert {row["account"] for row in rows} == {"'=1+1", "1400", "2000"}
    book = load_workbook(io.BytesIO(accounts.get(f"{ROOT}/journal-batches/1/file.xlsx").content))
    sheet = [[cell.value for cell in row] for row in book.active.iter_rows()]
    assert sheet[0] == ["batch", "line", "booked until", "account", "job", "debit", "credit", "currency"]
    assert sum(row[5] - row[6] for row in sheet[1:]) == pytest.approx(0, abs=1e-9)
    assert accounts.get(f"{ROOT}/journal-batches/1/file.pdf").status_code == 404


def test_a_bill_changes_what_its_goods_cost(client_of: ClientOf) -> None:
    save_party(code="mill", name="Mill", is_supplier=True)
    accounts, stores = client_of("accounts"), client_of("stores")
    receipt = requests.a_receipt() | {"source": "supplier:mill"}
    assert post(stores, "entries", **receipt).status_code == 201
    unbilled = assert_answer(
        "list_unbilled_receipts", accounts.get(f"{ROOT}/unbilled-receipts?until=2026-03-02")
    )["results"]
    mill = [row["accrued"]["value"] for row in unbilled if row["supplier"] == "mill"]
    assert mill == ["612.505"]
    bill = {
        "id": str(uuid4()),
        "occurred_at": requests.AT,
        "supplier": "mill",
        "number": "B-1",
        "invoice_date": "2026-03-02",
        "currency": "USD",
        "lines": [
            {
                "receipt": receipt["id"],
                "material": "fluid",
                "amount": requests.gallons("55"),
                "price": requests.dollars("600"),
            }
        ],
        "charges": [{"name": "freight", "amount": requests.dollars("22.505"), "share_by": "weight"}],
    }
    taken = assert_answer("record_invoice", post(accounts, "invoices", **bill))
    assert taken["lines"][0]["difference"]["value"] == "10.00"
    assert assert_answer("record_invoice", post(accounts, "invoices", **bill)) == taken
    listed = assert_answer("list_invoices", accounts.get(f"{ROOT}/invoices?from=2026-03-01"))["results"]
    assert listed == [taken]


@pytest.mark.parametrize(
    ("changed", "pointer"),
    [
        ({"currency": "ZZZ"}, "/currency"),
        ({"currency": "EUR"}, "/lines/0/price/currency"),
        ({"rate": "1.5"}, "/rate"),
        ({"supplier": "nobody"}, "/supplier"),
        ({"lines": []}, "/lines"),
    ],
)
def test_a_bill_that_cannot_be_taken_names_the_fault(
    client_of: ClientOf, changed: dict[str, Any], pointer: str
) -> None:
    save_party(code="mill", name="Mill", is_supplier=True)
    receipt = requests.a_receipt() | {"source": "supplier:mill"}
    post(client_of("stores"), "entries", **receipt)
    line = {
        "receipt": receipt["id"],
        "material": "fluid",
        "amount": requests.gallons("55"),
        "price": requests.dollars("600"),
    }
    bill = {
        "id": str(uuid4()),
        "occurred_at": requests.AT,
        "supplier": "mill",
        "number": "B-1",
        "invoice_date": "2026-03-02",
        "currency": "USD",
        "lines": [line],
    }
    refused = post(client_of("accounts"), "invoices", **{**bill, **changed})
    assert refused.status_code == 400
    assert refused.json()["errors"][0]["pointer"] == pointer
    assert not SupplierInvoice.objects.exists()


def test_freight_known_at_receipt_is_part_of_what_goods_cost(client_of: ClientOf) -> None:
    charges = [{"name": "freight", "amount": requests.dollars("10"), "share_by": "value"}]
    receipt = requests.a_receipt() | {"charges": charges}
    made = post(client_of("stores"), "entries", **receipt)
    assert made.status_code == 201, made.content
    assert Entry.objects.get(uuid=receipt["id"]).movements.get().value == 622_505_000


def test_a_price_with_too_many_decimals_is_refused(client_of: ClientOf) -> None:
    body = {
        "id": str(uuid4()),
        "occurred_at": requests.AT,
        "supplier": "mill",
        "number": "B-1",
        "invoice_date": "2026-03-02",
        "currency": "USD",
        "lines": [
            {
                "receipt": str(uuid4()),
                "material": "fluid",
                "amount": requests.gallons("1"),
                "price": requests.dollars("1.1234567"),
            }
        ],
    }
    refused = post(client_of("accounts"), "invoices", **body)
    assert_refusal(refused, 400, "bad_input", "/lines/0/price/value")


def test_stock_accounts_are_told_for_any_day(client_of: ClientOf, office: Office) -> None:
    accounts = client_of("accounts")
    rows = assert_answer("list_stock_at", accounts.get(f"{ROOT}/stock-at?date=2026-03-02"))["results"]
    assert {row["place"] for row in rows} == {"main-yard", "truck-north", "truck-south"}
    address = f"{ROOT}/stock-at?date=2026-03-02&place=main-yard"
    yard = assert_answer("list_stock_at", accounts.get(address))["results"]
    assert {row["place"] for row in yard} == {"main-yard"}
    rolled = assert_answer("get_roll_forward", accounts.get(f"{ROOT}/roll-forward?last_date=2026-03-02"))
    [fluid] = [row for row in rolled["results"] if row["material"] == "fluid"]
    assert fluid["received"] == fluid["closing"]
    assert_refusal(accounts.get(f"{ROOT}/stock-at?date=soon"), 400, "bad_input", "date")


def test_a_write_down_names_the_lot_whose_cost_it_is(client_of: ClientOf, office: Office) -> None:
    ball = Material.objects.create(
        code="ball",
        name="Ball 10 mm",
        kind="projectile",
        stock_unit="1",
        nominal_diameter_mm=10.0,
        cost_formula="fifo",
    )
    office.world.loose(ball, each(10), cost=50)
    lot = CostPool.objects.get(lot__isnull=False, material=ball).lot
    assert lot is not None
    change = {"material": "ball", "place": "main-yard", "change": requests.dollars("-20")}
    body = {"id": str(uuid4()), "kind": "write_down", "occurred_at": requests.AT, "reason": "out of use"}
    accounts = client_of("accounts")
    refused = post(accounts, "second-words", **body, changes=[{**change, "lot": "nowhere"}])
    assert_refusal(refused, 400, "bad_input", "/changes/0/lot")
    asked = post(accounts, "second-words", **body, changes=[{**change, "lot": lot.label}])
    word = assert_answer("ask_for_second_word", asked)
    decided = post(client_of("admin"), f"second-words/{word['id']}/decision", is_granted=True)
    assert_answer("decide_second_word", decided)
    assert CostPool.objects.get(lot=lot).value == 30_000_000


def test_an_unbalanced_mapping_is_refused_and_nothing_goes_out(client_of: ClientOf, office: Office) -> None:
    accounts = client_of("accounts")
    twice = [{"place_kind": "job", "account": "5100"}, {"place_kind": "job", "account": "5200"}]
    refused = accounts.put(f"{ROOT}/accounts", {"accounts": twice}, format="json")
    assert_refusal(refused, 400, "bad_input", "/accounts/1")
    one_side = [{"place_kind": "warehouse", "account": "1400"}]
    assert accounts.put(f"{ROOT}/accounts", {"accounts": one_side}, format="json").status_code == 200
    body = assert_refusal(
        post(accounts, "journal-batches", booked_until="2026-03-02"), 409, "account_missing"
    )
    assert "supplier" in body["detail"]
    assert not JournalBatch.objects.exists()


def test_how_old_stock_is_told_for_any_day(client_of: ClientOf) -> None:
    accounts = client_of("accounts")
    rows = assert_answer("list_stock_ages", accounts.get(f"{ROOT}/stock-ages?date=2026-05-02"))["results"]
    [fluid] = [row["ages"] for row in rows if row["material"] == "fluid"]
    assert [(row["at_most_days"], row["quantity"]["value"]) for row in fluid] == [
        (30, "0.000000"), (90, "165.000000"), (180, "0.000000"), (365, "0.000000"), (None, "0.000000"),
    ]  # fmt: skip
    assert_refusal(accounts.get(f"{ROOT}/stock-ages"), 400, "bad_input", "date")


# The same in every process, since workers of the suite compare the names of tests.
NOWHERE = "6b2f0f4c-3ea1-4e23-9c74-6a593170d462"
SEES_WITH_STORES = (401, 200, 403, 200, 200, 403, 200)
READS: dict[str, tuple[int, ...]] = {
    "accounting-periods": SEES_WITH_STORES,
    "accounting-periods/check-list?last_date=2026-03-02": SEES_WITH_STORES,
    "accounting-periods/2026-03-02/job-costs": (401, 404, 403, 404, 404, 403, 404),
    "period-closings": SEES_WITH_STORES,
    f"period-closings/{NOWHERE}": (401, 404, 403, 404, 404, 403, 404),
    "second-words": (401, 200, 200, 200, 200, 200, 200),
    "accounts": SEES_WITH_STORES,
    "journal-batches": SEES_WITH_STORES,
    "invoices": SEES_WITH_STORES,
    "unbilled-receipts?until=2026-03-02": SEES_WITH_STORES,
    "stock-at?date=2026-03-02": SEES_WITH_STORES,
    "stock-ages?date=2026-03-02": SEES_WITH_STORES,
    "roll-forward?last_date=2026-03-02": SEES_WITH_STORES,
}


@pytest.mark.parametrize(("address", "statuses"), READS.items())
@pytest.mark.parametrize("role", ROLES)
def test_who_reads_the_accounts(
    client_of: ClientOf, address: str, statuses: tuple[int, ...], role: str
) -> None:
    assert client_of(role).get(f"{ROOT}/{address}").status_code == statuses[ROLES.index(role)]


@pytest.mark.parametrize("role", ROLES)
def test_who_keeps_the_accounts(client_of: ClientOf, role: str) -> None:
    client = client_of(role)
    may = role in ("accounts", "admin")
    refused = 401 if not role else 403
    assert put_accounts(client).status_code == (200 if may else refused)
    closing = post(client, "accounting-periods", id=str(uuid4()), last_date="2026-03-02", remark="x")
    assert closing.status_code == (202 if may else refused)
    exported = post(client, "journal-batches", booked_until="2026-03-02")
    assert exported.status_code == (201 if may else refused)
    assert SecondWord.objects.count() == 0
