"""A stock sheet taken whole: opening stock, counts, retries, and nothing at all where a row is wrong."""

from pathlib import Path
from uuid import uuid4

import openpyxl
import pytest
from django.apps import apps

from inventory.models import (
    Actor,
    Container,
    CostPool,
    Entry,
    Holding,
    Material,
    Party,
    Place,
    SupplyTerms,
)
from inventory.money import to_money_millionths
from inventory.queries.company import NotSetUp
from inventory.queries.references import find_by_reference, list_references
from inventory.queries.verification import verify_ledger
from inventory.services.posting import EntryConflict
from inventory.services.stock_sheet import import_stock
from inventory.sheets import FaultySheet
from tests.factories.inventory import at
from tests.inventory.services.stock_sheet.sheets import OPENING, refuse, set_up, take

pytestmark = pytest.mark.django_db


def held(label: str) -> int:
    return sum(Holding.objects.filter(container__label=label).values_list("quantity", flat=True))


def stock_value() -> int:
    places = Place.objects.filter(kind__in=Place.STOCK_KINDS)
    return sum(CostPool.objects.filter(place__in=places).values_list("value", flat=True))


def count_rows() -> dict[str, int]:
    return {model._meta.label: model._default_manager.count() for model in apps.get_models()}


def test_import_stock_opens_the_book_at_what_goods_cost(tmp_path: Path) -> None:
    answer = take(tmp_path, OPENING, by=set_up())
    # By hand: 55 gal * 12.50 + 200 L * 3.30 + 40 * 2.25 + 25 * 18.40 + 150.5 m * 0.80
    #          = 687.50 + 660.00 + 90.00 + 460.00 + 120.40; the network's fibre costs nothing here.
    assert stock_value() == to_money_millionths("2017.90")
    assert sum(row.value for row in answer.openings) == to_money_millionths("2017.90")
    # 200 L / 3.785411784 L per gal = 52.834410 gal
    assert (held("D-1"), held("D-2")) == (55_000_000, 52_834_410)
    assert (held("R-7"), held("LOT-3")) == (12_000_000_000, 150_500_000)
    assert list(verify_ledger()) == []


def test_import_stock_introduces_what_its_rows_name(tmp_path: Path) -> None:
    answer = take(tmp_path, OPENING, by=set_up())
    assert answer.introduced == {
        "materials": ["fluid", "proj-12", "union-500", "fibre-48", "duct-16"],
        "places": ["Main yard", "Shelf 1", "Truck 1"],
        "parties": ["chem", "Network"],
        "containers": ["D-1", "D-2", "R-7", "LOT-3", "E-1"],
        "supply": ["fluid from chem"],
    }
    union = Material.objects.get(code="union-500")
    assert (union.cable_size, union.fitting_role, union.stock_unit) == (".500", "union", "1")
    assert Material.objects.get(code="fibre-48").outside_diameter_mm == pytest.approx(8.1)
    assert Place.objects.get(code="Shelf 1").parent == Place.objects.get(code="Main yard")
    drum, reel = Container.objects.get(label="D-1"), Container.objects.get(label="R-7")
    assert (drum.capacity, drum.tare_kg, drum.state) == (57_000_000, 22.0, "sealed")
    assert (reel.owner, reel.outer_mark, reel.mark_unit) == (
        Party.objects.get(code="Network"),
        12_500_000_000,
        "[ft_i]",
    )
    empty = Container.objects.get(label="E-1")
    assert (empty.material, empty.state, empty.capacity) == (None, "clean", 208_200_000)
    terms = SupplyTerms.objects.get()
    assert (terms.unit_cost, terms.lead_time_days, terms.pack) == (12_100_000, 10.0, 55_000_000)


def test_import_stock_of_the_same_file_and_moment_is_the_same_import(tmp_path: Path) -> None:
    by = set_up()
    first = take(tmp_path, OPENING, by=by)
    before = count_rows()
    again = take(tmp_path, OPENING, by=by)
    assert count_rows() == before
    assert (again.id, again.openings, again.introduced) == (first.id, first.openings, first.introduced)
    assert (first.is_repeat, again.is_repeat) == (False, True)


def test_import_stock_under_an_id_used_for_another_sheet_is_a_conflict(tmp_path: Path) -> None:
    by, id = set_up(), uuid4()
    take(tmp_path, OPENING, by=by, id=id)
    with pytest.raises(EntryConflict):
        take(tmp_path, OPENING.replace(",55,gal", ",54,gal"), by=by, id=id)
    assert take(tmp_path, OPENING, by=by, id=id).is_repeat


def test_import_stock_later_is_a_count_whose_difference_is_posted(tmp_path: Path) -> None:
    by = set_up()
    take(tmp_path, OPENING, by=by)
    answer = take(tmp_path, OPENING.replace(",55,gal", ",50,gal"), by=by, moment=at(24))
    assert (answer.openings, answer.equal) == ((), 5)
    (difference,) = answer.differences
    assert (difference.container, difference.quantity) == (Container.objects.get(label="D-1"), -5_000_000)
    # By hand: 5 of 107.834410 gal worth 1,347.50 (55 * 12.50 + 200 * 3.30), at the weighted average.
    assert difference.value == -round(1_347_500_000 * 5_000_000 / 107_834_410)
    assert stock_value() == to_money_millionths("2017.90") + difference.value
    assert held("D-1") == 50_000_000
    assert Entry.objects.filter(kind="count").count() == 1
    assert list(verify_ledger()) == []


def test_import_stock_of_the_unchanged_sheet_finds_all_as_the_book_says(tmp_path: Path) -> None:
    by = set_up()
    take(tmp_path, OPENING, by=by)
    answer = take(tmp_path, OPENING, by=by, moment=at(24))
    assert (answer.differences, answer.equal, answer.moved) == ((), 6, ())
    assert stock_value() == to_money_millionths("2017.90")


def test_import_stock_moves_a_drum_that_was_found_elsewhere(tmp_path: Path) -> None:
    by = set_up()
    take(tmp_path, OPENING, by=by)
    count = "material,place,container,quantity,unit\nFLUID,truck 1,d-1,55,gal\n,truck 1,e-1,0,\n"
    answer = take(tmp_path, count, by=by, moment=at(5))
    assert [(row.container.label, row.target_place.code) for row in answer.moved if row.target_place] == [
        ("D-1", "Truck 1"),
        ("E-1", "Truck 1"),
    ]
    assert Container.objects.get(label="D-1").place == Place.objects.get(code="Truck 1")
    assert (answer.differences, answer.equal, held("D-1")) == ((), 1, 55_000_000)
    assert list(verify_ledger()) == []


def test_import_stock_takes_out_what_a_vessel_no_longer_holds(tmp_path: Path) -> None:
    by = set_up()
    take(tmp_path, OPENING, by=by)
    count = (
        "material,kind,stock unit,density,recovered from,place,container,contents state,quantity,unit cost\n"
        "spent,fluid,gal,1010,fluid,Main yard,D-1,caught,30 gal,0\n"
    )
    take(tmp_path, count, by=by, moment=at(5))
    assert dict(Holding.objects.filter(container__label="D-1").values_list("material__code", "quantity")) == {
        "fluid": 0,
        "spent": 30_000_000,
    }
    assert Container.objects.get(label="D-1").contents_state == "caught"
    assert Material.objects.get(code="spent").recovered_from == Material.objects.get(code="fluid")
    assert list(verify_ledger()) == []


def test_import_stock_updates_marks_and_states_as_read(tmp_path: Path) -> None:
    by = set_up()
    take(tmp_path, OPENING, by=by)
    count = (
        "place,container,container state,outer mark (ft),quantity\n"
        "Main yard,R-7,open,12000,11500 ft\nMain yard,E-1,held,,0\n"
    )
    answer = take(tmp_path, count, by=by, moment=at(5))
    reel = Container.objects.get(label="R-7")
    assert (reel.outer_mark, reel.inner_mark, reel.state) == (12_000_000_000, 500_000_000, "open")
    assert Container.objects.get(label="E-1").state == "held"
    assert [(row.quantity, row.value) for row in answer.differences] == [(-500_000_000, 0)]


def test_import_stock_takes_the_cost_of_known_goods_in_a_new_place_from_the_book(tmp_path: Path) -> None:
    by = set_up()
    take(tmp_path, OPENING, by=by)
    answer = take(tmp_path, "material,place,quantity\nproj-12,Truck 1,10\n", by=by, moment=at(5))
    assert [(row.quantity, row.value) for row in answer.openings] == [(10_000_000, 22_500_000)]


def test_import_stock_costs_each_lot_by_itself_first_in_first_out(tmp_path: Path) -> None:
    text = (
        "material,kind,stock unit,cost formula,outside diameter,place,place kind,container,container kind,"
        "received,quantity,unit cost\n"
        "duct,duct,m,fifo,16 mm,Yard,warehouse,LOT-A,lot,2026-01-05,100 m,1.00\n"
        "duct,,,,,Yard,,LOT-B,lot,2026-02-05,100 m,1.20\n"
        "duct,,,,,Van,vehicle,LOT-A,,,20 m,1.00\n"
    )
    take(tmp_path, text, by=set_up())
    pools = CostPool.objects.filter(lot__isnull=False).order_by("place__code", "lot__label")
    assert [(pool.place.code, str(pool.lot), pool.value) for pool in pools] == [
        ("Van", "LOT-A", 20_000_000),
        ("Yard", "LOT-A", 100_000_000),
        ("Yard", "LOT-B", 120_000_000),
    ]
    assert list(verify_ledger()) == []


def test_import_stock_dry_run_tells_all_and_stores_nothing(tmp_path: Path) -> None:
    by = set_up()
    before = count_rows()
    dry = take(tmp_path, OPENING, by=by, dry_run=True)
    assert count_rows() == before
    wet = take(tmp_path, OPENING, by=by)
    assert (dry.is_dry_run, dry.introduced) == (True, wet.introduced)
    assert [row.value for row in dry.openings] == [row.value for row in wet.openings]


def test_import_stock_that_is_refused_stores_nothing(tmp_path: Path) -> None:
    by = set_up()
    take(tmp_path, OPENING, by=by)
    before = count_rows()
    lines = OPENING.replace("D-", "N-").replace("R-7", "R-8").replace("LOT-3", "LOT-4").splitlines()
    refuse(tmp_path, "\n".join([*lines, lines[3].replace("40", "-1")]), by=by)
    assert count_rows() == before


def test_import_stock_before_the_company_is_set_up_says_so(tmp_path: Path) -> None:
    by = Actor.objects.create(code="stores", name="Stores", kind="person")
    with pytest.raises(NotSetUp, match="set_up"):
        take(tmp_path, OPENING, by=by)


def test_import_stock_posts_long_sheets_in_entries_of_a_hundred_rows(tmp_path: Path) -> None:
    rows = [f"proj,,,Bin {number},bin,Yard,{number},1" for number in range(1, 251)]
    header = "material,kind,diameter,place,place kind,inside,quantity,unit cost"
    text = "\n".join([header, "proj,projectile,12 mm,Yard,warehouse,,1,1", *rows])
    take(tmp_path, text, by=set_up())
    assert Entry.objects.count() == 3
    assert stock_value() == to_money_millionths(1 + 250 * 251 // 2)


def test_import_stock_of_goods_in_a_known_empty_drum_is_a_difference(tmp_path: Path) -> None:
    by = set_up()
    take(tmp_path, OPENING, by=by)
    count = "material,place,container,quantity\nfluid,Main yard,E-1,10 gal\n"
    answer = take(tmp_path, count, by=by, moment=at(5))
    assert answer.openings == ()
    # What came into it from somewhere in the house is worth what fluid last cost: 200 L for 660.00.
    last_cost = 660_000_000 * 10_000_000 / 52_834_410
    assert [(row.quantity, row.value) for row in answer.differences] == [(10_000_000, round(last_cost))]
    assert Container.objects.get(label="E-1").state == "open"
    assert list(verify_ledger()) == []


def test_import_stock_of_an_older_count_leaves_a_later_one_standing(tmp_path: Path) -> None:
    by = set_up()
    take(tmp_path, OPENING, by=by)
    count = "material,place,quantity\nproj-12,Shelf 1,{}\n"
    take(tmp_path, count.format(38), by=by, moment=at(48))
    answer = take(tmp_path, count.format(39), by=by, moment=at(24))
    assert [(row.quantity, row.value, row.is_posted) for row in answer.differences] == [
        (-1_000_000, 0, False)
    ]
    assert Holding.objects.get(material__code="proj-12", place__code="Shelf 1").quantity == 38_000_000


def test_import_stock_says_how_much_of_its_places_was_not_on_the_sheet(tmp_path: Path) -> None:
    by = set_up()
    take(tmp_path, OPENING, by=by)
    answer = take(tmp_path, "material,place,quantity\nproj-12,Shelf 1,40\n", by=by, moment=at(5))
    assert (answer.equal, answer.not_on_sheet) == (1, 1)


def test_import_stock_of_another_actor_is_another_import(tmp_path: Path) -> None:
    by = set_up()
    other = Actor.objects.create(code="other", name="Other", kind="person")
    first = take(tmp_path, OPENING, by=by)
    second = take(tmp_path, OPENING, by=other)
    assert first.id != second.id
    assert (second.is_repeat, second.differences, second.equal) == (False, (), 6)


# Files as they come


def test_import_stock_reads_semicolons_with_decimal_commas_and_a_byte_order_mark(tmp_path: Path) -> None:
    text = (
        "Material;Kind;Stock unit;Density (kg/m3);Place;Place kind;Container;Container kind;"
        "Quantity;Unit;Unit cost\r\n"
        "fluid;fluid;L;1.020,5;Yard;warehouse;D-1;drum;208,2;L;1.234,50\r\n"
    )
    path = tmp_path / "lager.csv"
    path.write_bytes(b"\xef\xbb\xbf" + text.encode())
    import_stock(path=path, by=set_up(), occurred_at=at(0), document="")
    assert Material.objects.get().density_kg_per_m3 == 1020.5
    assert (held("D-1"), stock_value()) == (208_200_000, to_money_millionths("257022.90"))


def test_import_stock_reads_names_in_the_encoding_of_windows(tmp_path: Path) -> None:
    text = (
        "material;name;kind;stock unit;place;place kind;quantity;unit cost\n"
        "köder;Köder für Rüssel;supply;each;Lager Süd;warehouse;3;1\n"
    )
    path = tmp_path / "lager.csv"
    path.write_bytes(text.encode("cp1252"))
    import_stock(path=path, by=set_up(), occurred_at=at(0), document="")
    assert Material.objects.get().name == "Köder für Rüssel"
    assert Place.objects.filter(code="Lager Süd").exists()
    path.write_bytes(text.replace("köder", "KÖDER").replace(";3;", ";4;").encode("cp1252"))
    answer = import_stock(path=path, by=Actor.objects.get(), occurred_at=at(1), document="")
    assert [row.quantity for row in answer.differences] == [1_000_000]


def test_import_stock_reads_a_workbook_with_typed_cells(tmp_path: Path) -> None:
    workbook = openpyxl.Workbook()
    sheet = workbook.active
    assert sheet is not None
    sheet.append(["Material", "Kind", "Role", "Cable size", "Place", "Place kind", "Quantity", "Unit cost"])
    sheet.append(["union-500", "fitting", "union", 0.5, "Yard", "warehouse", 25, 18.4])
    path = tmp_path / "stock.xlsx"
    workbook.save(path)
    import_stock(path=path, by=set_up(), occurred_at=at(0), document="")
    assert Material.objects.get().cable_size == ".500"
    assert stock_value() == to_money_millionths(460)


def test_import_stock_of_an_unsound_file_is_refused(tmp_path: Path) -> None:
    by = set_up()
    assert [fault.message for fault in refuse(tmp_path, "material,quantity\n", by=by)] == [
        "there are no rows below the header"
    ]
    with pytest.raises(FaultySheet, match="lead time"):
        take(tmp_path, "material,lead time (weeks)\nfluid,2\n", by=by)


REFERENCED = """\
material,kind,stock unit,density,place,place kind,container,container kind,quantity,unit,unit cost,\
material reference,container reference,reference system
fluid,fluid,gal,1020,Yard,warehouse,D-1,drum,55,gal,2,M-7,C-1,accounts
fluid,,,,Yard,,D-2,drum,0,,,M-7,C-2,accounts
FLUID,,,,Yard,,D-3,drum,5,gal,2,M-8,,
"""


def test_import_stock_keeps_what_other_systems_call_materials_and_containers(tmp_path: Path) -> None:
    actor = set_up()
    take(tmp_path, REFERENCED, by=actor)
    fluid = Material.objects.get()
    assert find_by_reference(system="accounts", model=Material, identifier="M-7") == fluid
    assert find_by_reference(system="design", model=Material, identifier="M-8") == fluid
    for identifier, label in (("C-1", "D-1"), ("C-2", "D-2")):
        found = find_by_reference(system="accounts", model=Container, identifier=identifier)
        assert found == Container.objects.get(label=label)
    take(tmp_path, REFERENCED.replace("M-7", "M-9"), by=actor, moment=at(1))
    assert [row.identifier for row in list_references(fluid)] == ["M-9", "M-8"]


@pytest.mark.parametrize(
    ("before", "after", "line", "column"),
    [
        ("C-2", "C-1", 3, "container reference"),
        (",M-7,C-2", ",M-6,C-2", 3, "material reference"),
        ("FLUID,,,,Yard,,D-3,drum,5,gal,2,M-8,", ",,,,Yard,,D-3,drum,0,,,M-8,", 4, "material"),
    ],
)
def test_import_stock_refuses_references_that_do_not_stand_for_one(
    tmp_path: Path, before: str, after: str, line: int, column: str
) -> None:
    actor = set_up()
    take(tmp_path, REFERENCED, by=actor)
    assert before in REFERENCED
    (fault,) = refuse(tmp_path, REFERENCED.replace(before, after), by=actor)
    assert (fault.line, fault.pointer) == (line, column)


def test_import_stock_refuses_what_is_called_so_elsewhere_in_the_book(tmp_path: Path) -> None:
    actor = set_up()
    take(tmp_path, REFERENCED, by=actor)
    text = "\n".join(REFERENCED.replace("C-2", "C-1").splitlines()[i] for i in (0, 2))
    (fault,) = refuse(tmp_path, text, by=actor)
    assert (fault.line, fault.pointer, fault.value) == (2, "container reference", "C-1")
    assert "calls another container already" in fault.message


def test_import_stock_makes_the_place_that_a_new_suppliers_goods_come_from(tmp_path: Path) -> None:
    by = set_up()
    take(tmp_path, OPENING, by=by)
    suppliers = Party.objects.filter(is_supplier=True)
    assert suppliers
    codes = {f"supplier:{party.code}" for party in suppliers}
    assert set(Place.objects.filter(kind="supplier").values_list("code", flat=True)) >= codes
