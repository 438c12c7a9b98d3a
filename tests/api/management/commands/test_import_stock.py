"""A stock sheet taken from the command line, the installation set up for it, and the book verified after."""

import json
from io import StringIO
from pathlib import Path

import pytest
from django.core.management import call_command

from inventory.models import Company, Entry, Holding, Seal, Unsealed
from tests.inventory.services.stock_sheet.sheets import OPENING

pytestmark = pytest.mark.django_db


def run(*arguments: str) -> tuple[int, str, str]:
    out, err, code = StringIO(), StringIO(), 0
    try:
        call_command(*arguments, stdout=out, stderr=err)
    except SystemExit as stop:
        code = int(stop.code or 0)
    return code, out.getvalue(), err.getvalue()


def set_up() -> tuple[int, str, str]:
    return run("set_up", "--name", "Trench Company", "--currency", "USD", "--time-zone", "America/Chicago")


@pytest.fixture
def sheet(tmp_path: Path) -> str:
    path = tmp_path / "stock.csv"
    path.write_text(OPENING, encoding="utf-8")
    return str(path)


def test_set_up_makes_the_company_once() -> None:
    assert "Set up for Trench Company, USD" in set_up()[1]
    code, out, _ = run(
        "set_up", "--name", "Other", "--currency", "EUR", "--time-zone", "Europe/Madrid", "--format", "json"
    )
    assert (code, json.loads(out)["code"], json.loads(out)["is_new"]) == (0, "trench-company", False)
    assert Company.objects.get().currency == "USD"


def test_set_up_refuses_a_time_zone_that_is_none() -> None:
    code, _, err = run("set_up", "--name", "Trench", "--currency", "USD", "--time-zone", "Chicagoland")
    assert (code, Company.objects.count()) == (1, 0)
    assert "Chicagoland" in err


def test_import_stock_on_an_installation_that_is_not_set_up_says_so(sheet: str) -> None:
    code, out, err = run("import_stock", sheet)
    assert (code, out) == (1, "")
    assert "set_up" in err


def test_import_stock_shows_what_it_did_and_seals_it(sheet: str) -> None:
    set_up()
    code, out, _ = run("import_stock", sheet, "--at", "2026-03-02T17:00")
    assert code == 0
    assert "as of Mon 02 Mar 2026 17:00 CST" in out
    assert "Extraction fluid, in 2 rows  107.83 gal  1,347.50 USD" in out
    assert "2,017.90 USD" in out
    assert max(map(len, out.splitlines())) <= 80
    # One entry, and the event that tells other systems of the import.
    assert (Entry.objects.count(), Seal.objects.count(), Unsealed.objects.count()) == (1, 2, 0)


def test_import_stock_counts_the_second_time(sheet: str) -> None:
    set_up()
    run("import_stock", sheet, "--at", "2026-03-02T17:00")
    text = OPENING.replace(",55,gal", ",50,gal").replace(",12000,ft", ",12100,ft")
    Path(sheet).write_text(text, encoding="utf-8")
    _, out, _ = run("import_stock", sheet, "--at", "2026-03-03T17:00-06:00")
    assert "Counted: 4 as the book says, 2 not" in out
    assert "50 gal found, 55 gal in the book: 5 gal less, -62.48 USD" in out
    assert "12100 ft found, 12000 ft in the book: 100 ft more\n" in out
    _, out, _ = run("import_stock", sheet, "--at", "2026-03-03T17:00-06:00")
    assert "taken before as of this moment" in out


def test_import_stock_answers_in_json(sheet: str) -> None:
    set_up()
    code, out, _ = run("import_stock", sheet, "--dry-run", "--format", "json")
    answer = json.loads(out)
    assert (code, answer["is_dry_run"], Entry.objects.count()) == (0, True, 0)
    assert answer["introduced"]["places"] == ["Main yard", "Shelf 1", "Truck 1"]
    assert {row["material"]: row["value"]["value"] for row in answer["openings"]} == {
        "fluid": "1347.50",
        "proj-12": "90.00",
        "union-500": "460.00",
        "duct-16": "120.40",
        "fibre-48": "0.00",
    }


def test_import_stock_lists_every_fault(sheet: str) -> None:
    set_up()
    Path(sheet).write_text(OPENING.replace(",55,gal", ",5x,gal").replace(",0.80,", ",0.80000001,"))
    code, out, err = run("import_stock", sheet)
    assert (code, out) == (1, "")
    assert "2 faults" in err
    assert "line 2, quantity ('5x')" in err
    assert "line 7, unit cost ('0.80000001')" in err


def test_verify_ledger_finds_the_imported_book_whole(sheet: str) -> None:
    set_up()
    run("import_stock", sheet)
    code, out, _ = run("verify_ledger")
    assert code == 0
    assert "The book is whole." in out
    assert "1 entry, 6 movements, 2 seals" in out


def test_verify_ledger_lists_differences_and_exits_with_one(sheet: str) -> None:
    set_up()
    run("import_stock", sheet)
    Holding.objects.filter(container__label="D-1").update(quantity=1)
    code, out, _ = run("verify_ledger")
    assert code == 1
    assert "1 difference in the book." in out
    assert "movements say 55000000" in " ".join(out.split())
    code, out, _ = run("verify_ledger", "--format", "json")
    answer = json.loads(out)
    assert (code, answer["is_whole"], answer["difference_count"]) == (1, False, 1)
    assert answer["differences"][0]["subject"] == "holding"


def test_verify_ledger_seals_nothing(sheet: str) -> None:
    set_up()
    run("import_stock", sheet)
    before = Seal.objects.count()
    run("verify_ledger")
    assert Seal.objects.count() == before


def test_import_stock_again_does_not_tell_the_opening_stock_as_news(sheet: str) -> None:
    set_up()
    for _time in range(2):
        code, out, _ = run("import_stock", sheet, "--at", "2026-03-02T17:00")
    assert code == 0
    assert "taken before as of this moment" in out
    assert "It then opened 6" in out
    assert "Opening stock" not in out


def test_import_stock_marks_a_difference_that_is_more_likely_a_slip(sheet: str, tmp_path: Path) -> None:
    set_up()
    run("import_stock", sheet, "--at", "2026-03-02T17:00")
    again = tmp_path / "count.csv"
    again.write_text(OPENING.replace(",,,55,gal", ",,,5,gal"), encoding="utf-8")
    arguments = ("import_stock", str(again), "--at", "2026-03-03T17:00", "--dry-run")
    assert "Count again: " in run(*arguments)[1]
    answer = json.loads(run(*arguments, "--format", "json")[1])
    assert [row["is_large"] for row in answer["differences"]] == [True]
