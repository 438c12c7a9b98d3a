"""Cost sheets through their doors: read, opened to entries, printed, issued."""

import csv
import io
import json
import re
from collections.abc import Callable
from typing import Any
from uuid import uuid4

import pytest
from django.db import connection
from django.test import Client
from openpyxl import load_workbook
from pypdf import PdfReader
from rest_framework.test import APIClient

from inventory.models import Container, Material, Movement, Place
from inventory.models.triggers import drop_triggers, make_triggers
from inventory.services.goods import draw
from inventory.services.lines import Line
from inventory.services.parties import make_outside_places
from inventory.services.posting import End
from inventory.services.receipts import ReceiptLine, receive
from jobs.models import EstimateLine, IssuedSheet, JobEstimate
from tests.api.published import assert_answer, assert_refusal
from tests.api.rest import requests
from tests.api.rest.test_balances import reported  # noqa: F401
from tests.factories.accounts import Office
from tests.factories.core import sell_core
from tests.factories.inventory import at, feet, gal

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
    address = f"{ADDRESS}/cost-sheet/entries"
    assert_refusal(accounts.get(f"{address}?material=fluid"), 400, "bad_input", "owner")
    for narrowed, count in (("span=S1", 1), ("run=R1", 0), ("month=2026-03", 1), ("month=2026-04", 0)):
        found = accounts.get(f"{address}?material=fluid&owner=own&{narrowed}")
        assert len(assert_answer("list_cost_entries", found)["results"]) == count, narrowed
    wrong = accounts.get(f"{address}?material=fluid&owner=own&span=S1&run=R1&month=soon")
    assert_refusal(wrong, 400, "bad_input", "run", "month")


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
    by, material, stays, cost = (rows[0].index(name) for name in ("by", "material", "stays", "cost"))
    assert [(row[by], row[cost]) for row in rows[1:]] == [
        ("material", 50),
        ("total", 50),
        ("span", 50),
        ("crew", 50),
        ("month", 50),
        ("cable size", 50),
    ]
    told = ("Extraction fluid", 5, 50)
    assert [(row[material], row[stays], row[cost]) for row in rows[3:6]] == [told] * 3
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
    drop_triggers(connection)
    IssuedSheet.objects.update(content=shown["as_issued"] | {"cost": money("49.00")})
    make_triggers(connection)
    changed: Any = assert_answer("get_issued_sheet", accounts.get(f"{ADDRESS}/issued-sheets/1"))
    assert changed["faults"] == ["Its content is not what was issued: the hash differs."]
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


@pytest.fixture
def sold(drawn: Office) -> Office:
    """The job drew 50.00; its own core fetched 12.34, another lot's 5.00 are owed to the customer."""
    world = drawn.world
    name = "=cmd|' /C calc'!A0"
    sell_core(name, world.actor, proceeds=12_340_000, jobs={drawn.job: (world.company, 10)})
    sell_core("L-2", world.actor, proceeds=5_000_000, jobs={drawn.job: (world.customer, 10)})
    return drawn


def test_core_that_was_sold_is_a_line_of_its_own_over_rest_and_graphql(
    client_of: ClientOf, sold: Office
) -> None:
    accounts = client_of("accounts")
    sheet = assert_answer("get_cost_sheet", accounts.get(f"{ADDRESS}/cost-sheet"))
    assert (sheet["cost"], sheet["scrap_credit"]) == (money("50.00"), money("12.34"))
    assert sheet["cost_less_scrap"] == sheet["cost_as_known_now"] == money("37.66")
    told = [
        (row["owner"]["code"], row["weighed"]["value"], row["credited"], row["owed"])
        for row in sheet["scrap"]
    ]
    assert told == [
        ("own", "8000.000000", money("12.34"), money("0.00")),
        ("network", "8000.000000", money("0.00"), money("5.00")),
    ]
    statement = assert_answer("get_statement", accounts.get(f"{ADDRESS}/statement"))
    assert (statement["scrap"], statement["cost_less_scrap"]) == (sheet["scrap"], money("37.66"))
    question = (
        '{ statement(job: "J-north") { scrap { credited { value } } scrapCredit { value } '
        "costLessScrap { value } } }"
    )
    asked = accounts.post("/graphql", {"query": question}, format="json").json()["data"]["statement"]
    assert asked == {
        "scrap": [{"credited": {"value": "12.34"}}, {"credited": {"value": "0.00"}}],
        "scrapCredit": {"value": "12.34"},
        "costLessScrap": {"value": "37.66"},
    }
    hidden = assert_answer("get_statement", client_of("crew").get(f"{ADDRESS}/statement"))
    assert "scrap" not in hidden
    asked = client_of("crew").post("/graphql", {"query": question}, format="json").json()["data"]["statement"]
    assert asked == {"scrap": None, "scrapCredit": None, "costLessScrap": None}


def test_core_that_was_sold_is_on_the_printed_sheet_the_workbook_and_the_picture(
    client_of: ClientOf, sold: Office
) -> None:
    accounts = client_of("accounts")
    printed = accounts.get(f"{ADDRESS}/cost-sheet/file.pdf")
    text = "\n".join(page.extract_text() for page in PdfReader(io.BytesIO(printed.content)).pages)
    for said in (
        "Core sold, a by-product",
        "-12.34",
        "Cost less core sold",
        "37.66",
        "5.00 to Network Owner",
    ):
        assert said in text, said
    book = load_workbook(io.BytesIO(accounts.get(f"{ADDRESS}/cost-sheet/file.xlsx").content))
    rows = [[cell.value for cell in row] for row in book.active.iter_rows()]
    at_cost = rows[0].index("cost")
    assert [row[at_cost] for row in rows[1:6]] == [50, 50, -12.34, 0, 37.66]
    picture = assert_answer("get_cost_picture", accounts.get(f"{ADDRESS}/cost-sheet/picture"))
    last = [(row["stage"], row["change"], row["level"]) for row in picture["table"]["rows"]][-2:]
    assert last == [("Core sold", "-12.34", "37.66"), ("Actual", "", "37.66")]


def test_no_cell_of_a_sheet_can_be_taken_for_a_formula(client_of: ClientOf, sold: Office) -> None:
    Material.objects.filter(code="fluid").update(name="=1+1")
    sold.world.company.name = "@SUM(A1)"
    sold.world.company.save()
    accounts = client_of("accounts")
    text = accounts.get(f"{ADDRESS}/cost-sheet/file.csv").content.decode("utf-8-sig")
    cells = [cell for row in csv.reader(io.StringIO(text)) for cell in row]
    assert {"'=1+1", "'@SUM(A1)"} <= set(cells)
    formulas = [cell for cell in cells if cell[:1] and cell[0] in "=+@-"]
    assert {cell for cell in formulas if not re.fullmatch(r"-\d+\.\d+", cell)} == set()
    book = load_workbook(io.BytesIO(accounts.get(f"{ADDRESS}/cost-sheet/file.xlsx").content))
    assert [cell for row in book.active.iter_rows() for cell in row if cell.data_type == "f"] == []


def test_what_cannot_be_accounted_for_stands_on_every_form_with_its_interval(
    client_of: ClientOf,
    reported: Office,  # noqa: F811
) -> None:
    accounts = client_of("accounts")
    closed = client_of("crew").post("/api/v1/crew-days/north/2026-03-02/balance")
    [day] = assert_answer("close_crew_day", closed)["fluids"]
    sheet = assert_answer("get_cost_sheet", accounts.get(f"{ADDRESS}/cost-sheet"))
    [fluid] = sheet["unaccounted"]
    interval = day["unaccounted_interval"]
    assert fluid["quantity"] == day["unaccounted"]
    assert fluid["interval"] == [interval["low"], interval["high"]]
    assert float(interval["low"]["value"]) < float(interval["high"]["value"])
    text = accounts.get(f"{ADDRESS}/cost-sheet/file.csv").content.decode("utf-8-sig")
    rows = [row for row in csv.DictReader(io.StringIO(text)) if row["unaccounted"]]
    [row] = [row for row in rows if row["by"] == "material"]
    shown = (row["unaccounted at least"], row["unaccounted at most"])
    assert shown == (interval["low"]["value"], interval["high"]["value"])
    printed = accounts.get(f"{ADDRESS}/cost-sheet/file.pdf")
    pages = "\n".join(page.extract_text() for page in PdfReader(io.BytesIO(printed.content)).pages)
    assert "Fluid that cannot be accounted for" in pages
    # The fluid cost 10.00 a gallon when it was drawn.
    for ends in (
        (fluid["quantity"], fluid["cost"]),
        *zip(interval.values(), fluid["cost_interval"], strict=False),
    ):
        assert float(ends[1]["value"]) == pytest.approx(10 * float(ends[0]["value"]), abs=1e-5)
    ways = {"span", "run", "crew", "month"}
    for by in ways:
        of_it = [cut for cut in sheet["unaccounted_parts"] if cut["by"] == by]
        for word in ("quantity", "cost"):
            total = sum(float(cut[word]["value"]) for cut in of_it)
            assert total == pytest.approx(float(fluid[word]["value"]), abs=1e-5), (by, word)
    assert {cut["name"] for cut in sheet["unaccounted_parts"] if cut["by"] == "crew"} == {"north"}
    assert {row["by"] for row in rows} == {"material", *(f"unaccounted by {by}" for by in ways)}
    assert row["unaccounted cost"] == f"{float(fluid['cost']['value']):.6f}"
    page = Client()
    page.force_login(reported.users["accounts"])
    assert f"{float(fluid['cost']['value']):,.2f} USD" in page.get("/jobs/J-north/cost").content.decode()


def test_goods_of_others_are_reconciled_apart_and_cost_nothing(client_of: ClientOf, office: Office) -> None:
    world = office.world
    make_outside_places(world.customer)
    source = Place.objects.get(code="customer:network")
    reel = Container(
        label="F-1", kind="reel", material=world.fibre, owner=world.customer, place=world.warehouse
    )
    line = ReceiptLine(world.fibre, feet(1000), End(world.warehouse, reel), 0)
    receive(id=uuid4(), by=world.actor, occurred_at=at(0), source=source, lines=[line])
    yard, run = End(world.warehouse, reel), End(office.run.place)
    lines = [
        Line(world.fibre, feet(700), yard, run, purpose=Movement.Purpose.INSTALLED),
        Line(world.fibre, feet(50), yard, run, purpose=Movement.Purpose.LOST, cause="damage_by_others"),
    ]
    draw(id=uuid4(), by=world.actor, occurred_at=at(1), lines=lines)
    sheet = assert_answer("get_cost_sheet", client_of("accounts").get(f"{ADDRESS}/cost-sheet"))
    [line] = sheet["furnished"]
    amounts = {word: float(line[word]["value"]) for word in ("drawn", "installed", "lost", "used", "stays")}
    assert amounts == {"drawn": 750, "installed": 700, "lost": 50, "used": 0, "stays": 750}
    assert (line["owner"], sheet["cost"], sheet["lines"]) == ("network", money("0.00"), [])
    found = {word: amount for word, amount in line["reconciliation"].items() if word != "ties"}
    assert {word: float(amount["value"]) for word, amount in found.items()} == {
        "delivered": 1000,
        "with_job": 750,
        "with_other_jobs": 0,
        "returned_to_owner": 0,
        "still_held": 250,
        "otherwise": 0,
    }
    assert line["reconciliation"]["ties"] is True
    [part] = sheet["parts"]
    assert "cost" not in part["materials"][0]
    printed = client_of("accounts").get(f"{ADDRESS}/cost-sheet/file.pdf")
    pages = "\n".join(page.extract_text() for page in PdfReader(io.BytesIO(printed.content)).pages)
    for said in ("Still held", "250 ft", "Back to owner"):
        assert said in pages, said
    text = client_of("accounts").get(f"{ADDRESS}/cost-sheet/file.csv").content.decode("utf-8-sig")
    [row] = [row for row in csv.DictReader(io.StringIO(text)) if row["delivered"]]
    assert (row["still held"], row["lost"], row["lost cost"]) == ("250.000000", "50.000000", "")


@pytest.fixture
def worn(client_of: ClientOf, office: Office) -> Office:
    """From a drum at 10.00 a gallon: five used and two spilt on the span, one to the job itself."""
    world = office.world
    drum = End(world.warehouse, Container.objects.get(label="D-1"))
    lines = [
        Line(world.fluid, gal(5), drum, End(office.span.place)),
        Line(world.fluid, gal(2), drum, End(office.span.place), purpose=Movement.Purpose.LOST, cause="spill"),
        Line(world.fluid, gal(1), drum, End(office.job.place)),
    ]
    draw(id=uuid4(), by=world.actor, occurred_at=at(1), lines=lines)
    return office


def test_each_word_has_quantity_and_money_by_material_and_part_at_both_doors(
    client_of: ClientOf, worn: Office
) -> None:
    accounts = client_of("accounts")
    sheet = assert_answer("get_cost_sheet", accounts.get(f"{ADDRESS}/cost-sheet"))
    [line] = sheet["lines"]
    assert {word: line["values"][word] for word in ("drawn", "used", "lost", "returned")} == {
        "drawn": money("80.00"),
        "used": money("60.00"),
        "lost": money("20.00"),
        "returned": money("0.00"),
    }
    assert (line["lost_by_cause"]["spill"]["value"], line["lost_values_by_cause"]) == (
        "2.000000",
        {"spill": money("20.00")},
    )
    for groups in (sheet["parts"], sheet["months"], sheet["crews"]):
        materials = [material for group in groups for material in group["materials"]]
        assert sum(float(row["stays"]["value"]) for row in materials) == 8
        assert sum(float(row["values"]["lost"]["value"]) for row in materials) == 20
        assert sum(float(row["cost"]["value"]) for row in materials) == 80
    assert [(row["cable_size"] is None, row["cost"]) for row in sheet["cable_sizes"]] == [
        (False, money("70.00")),
        (True, money("10.00")),
    ]
    question = """{ costSheet(job: "J-north") { cost { value } lines { material lostValuesByCause
        values { lost { value } } } parts { kind cost { value } materials { material stays { value unit }
        cost { value } } } cableSizes { cableSize cost { value } } } }"""
    asked = accounts.post("/graphql", {"query": question}, format="json").json()["data"]["costSheet"]
    assert asked["cost"] == {"value": "80.00"}
    [told] = asked["lines"]
    assert (told["values"], json.loads(told["lostValuesByCause"])) == (
        {"lost": {"value": "20.00"}},
        line["lost_values_by_cause"],
    )
    assert [(part["kind"], part["materials"][0]["stays"]["value"]) for part in asked["parts"]] == [
        ("job", "1.000000"),
        ("span", "7.000000"),
    ]
    assert [row["cost"]["value"] for row in asked["cableSizes"]] == ["70.00", "10.00"]


def test_files_say_what_was_lost_by_cause_in_quantity_and_money(client_of: ClientOf, worn: Office) -> None:
    accounts = client_of("accounts")
    text = accounts.get(f"{ADDRESS}/cost-sheet/file.csv").content.decode("utf-8-sig")
    rows = list(csv.DictReader(io.StringIO(text)))
    [lost] = [row for row in rows if row["by"] == "cause of loss"]
    assert (lost["name"], lost["lost"], lost["lost cost"]) == ("spill", "2.000000", "20.000000")
    for by in ({"material"}, {"job", "run", "span"}, {"crew"}, {"month"}, {"cable size"}):
        assert sum(float(row["cost"]) for row in rows if row["by"] in by) == 80, by
    printed = accounts.get(f"{ADDRESS}/cost-sheet/file.pdf")
    pages = "\n".join(page.extract_text() for page in PdfReader(io.BytesIO(printed.content)).pages)
    for said in ("What became of it", "20.00", "no size", "the job itself"):
        assert said in pages, said
