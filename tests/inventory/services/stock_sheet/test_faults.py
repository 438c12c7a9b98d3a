"""Every fault is named by line, column and value, with what to do about it."""

from pathlib import Path

import pytest

from inventory.services.stock_sheet.rows import fold_code
from tests.factories.inventory import at
from tests.inventory.services.stock_sheet.sheets import OPENING, refuse, set_up, take

pytestmark = pytest.mark.django_db

HEADER = (
    "material,kind,stock unit,density,diameter,role,outside diameter,recovered from,place,place kind,inside,"
    "container,container kind,capacity,heel,owner,quantity,unit,unit cost,supplier,unit price,lead time,"
    "cost formula"
)
COLUMNS = HEADER.split(",")
FLUID = "material=fluid kind=fluid stock_unit=gal density=1020 place=Yard place_kind=warehouse"
COUNTED = f"{FLUID} quantity=5 unit_cost=1"


def row(cells: str) -> str:
    """One row of the sheet from `column=value` words; an underscore stands for a blank."""
    given = dict(cell.split("=", 1) for cell in cells.split())
    values = {column.replace("_", " "): value.replace("_", " ") for column, value in given.items()}
    assert set(values) <= set(COLUMNS)
    return ",".join(values.get(column, "") for column in COLUMNS)


def faults_of(folder: Path, *rows: str) -> list[tuple[int | None, str, str]]:
    text = "\n".join([HEADER, *(row(cells) for cells in rows)])
    return [(fault.line, fault.pointer, fault.value) for fault in refuse(folder, text, by=set_up())]


# What is wrong: rows, and (line, column, value) of each fault
CASES = {
    "a quantity below zero": ([COUNTED.replace("=5", "=-5")], [(2, "quantity", "-5")]),
    "a cost of its own for goods that are all alike": (
        [f"{COUNTED} cost_formula=specific"],
        [(2, "cost formula", "specific")],
    ),
    "a pressure for a volume": ([f"{COUNTED} unit=psi"], [(2, "quantity", "5")]),
    "a length for a volume in the cell": ([COUNTED.replace("=5", "=5_ft")], [(2, "quantity", "5 ft")]),
    "no unit where the row names none": (
        [FLUID, "material=fluid place=Yard quantity=5 unit_cost=1"],
        [(3, "quantity", "5")],
    ),
    "a unit cost with too many decimals": (
        [COUNTED.replace("cost=1", "cost=1.2345678")],
        [(2, "unit cost", "1.2345678")],
    ),
    "no unit cost at first sight": ([f"{FLUID} quantity=5"], [(2, "unit cost", "")]),
    "a cost of goods of others": (
        [f"{COUNTED} container=D container_kind=drum owner=Network"],
        [(2, "unit cost", "1")],
    ),
    "loose goods of others": (
        [f"{FLUID} quantity=5 owner=Network"],
        [(2, "owner", "Network")],
    ),
    "another kind on another row": (
        [COUNTED, "material=fluid kind=supply"],
        [(3, "kind", "supply")],
    ),
    "another unit on another row": (
        [COUNTED, "material=FLUID stock_unit=L"],
        [(3, "stock unit", "L")],
    ),
    "one drum in two places": (
        [
            f"{COUNTED} container=D container_kind=drum",
            "material=fluid place=Van place_kind=vehicle container=d quantity=5 unit=gal unit_cost=1",
        ],
        [(3, "container", "d")],
    ),
    "one drum with two materials": (
        [
            f"{COUNTED} container=D container_kind=drum",
            "material=other kind=fluid stock_unit=gal density=1000 place=Yard container=D quantity=5"
            " unit_cost=1",
        ],
        [(3, "container", "D")],
    ),
    "the same loose goods twice": (
        [COUNTED, "material=Fluid place=yard quantity=3 unit=gal unit_cost=1"],
        [(3, "material", "Fluid")],
    ),
    "a reel without material": (
        ["place=Yard place_kind=warehouse container=R container_kind=reel quantity=0"],
        [(2, "material", "")],
    ),
    "a drum with something nobody names": (
        ["place=Yard place_kind=warehouse container=D container_kind=drum quantity=5 unit=L"],
        [(2, "material", "")],
    ),
    "an empty cell for an empty drum": (
        [f"{FLUID} container=D container_kind=drum"],
        [(2, "quantity", "")],
    ),
    "more than the vessel takes": (
        [f"{COUNTED} container=D container_kind=drum capacity=4"],
        [(2, "quantity", "5")],
    ),
    "a heel above the capacity": (
        [f"{FLUID} container=D container_kind=drum capacity=4 heel=6 quantity=0"],
        [(2, "heel", "6")],
    ),
    "a fluid without density": (
        ["material=fluid kind=fluid stock_unit=gal"],
        [(2, "density", "")],
    ),
    "a density in pounds per gallon": (
        ["material=fluid kind=fluid stock_unit=gal density=8.5"],
        [(2, "density", "8.5")],
    ),
    "a fluid in pieces": (
        ["material=fluid kind=fluid stock_unit=each density=1000"],
        [(2, "stock unit", "each")],
    ),
    "a projectile without diameter": (["material=p kind=projectile"], [(2, "diameter", "")]),
    "a fitting without role": (["material=f kind=fitting"], [(2, "role", "")]),
    "a fibre without diameter and unit": (
        ["material=f kind=fibre"],
        [(2, "outside diameter", ""), (2, "stock unit", "")],
    ),
    "a role of a fluid": ([f"{COUNTED} role=union"], [(2, "role", "union")]),
    "a material of no kind": (
        ["material=x place=Yard place_kind=warehouse quantity=1 unit_cost=1"],
        [(2, "material", "x")],
    ),
    "a place of no kind": (
        ["material=fluid kind=fluid stock_unit=gal density=1020 place=Yard quantity=5 unit_cost=1"],
        [(2, "place", "Yard")],
    ),
    "a bin in no place": ([COUNTED.replace("warehouse", "bin")], [(2, "inside", "")]),
    "a bin in an unknown place": (
        [COUNTED.replace("warehouse", "bin") + " inside=Nowhere"],
        [(2, "inside", "Nowhere")],
    ),
    "bins in a circle": (
        ["place=A place_kind=bin inside=B", "place=B place_kind=bin inside=A"],
        [(3, "inside", "A")],
    ),
    "fluids recovered in a circle": (
        [
            "material=a kind=fluid stock_unit=L density=1000 recovered_from=b",
            "material=b kind=fluid stock_unit=L density=1000 recovered_from=a",
        ],
        [(3, "recovered from", "a")],
    ),
    "recovered from what is not there": (
        [f"{COUNTED} recovered_from=ghost"],
        [(2, "recovered from", "ghost")],
    ),
    "terms without supplier": ([f"{COUNTED} unit_price=3 lead_time=4"], [(2, "supplier", "")]),
    "terms without lead time": ([f"{COUNTED} unit_price=3 supplier=chem"], [(2, "lead time", "")]),
    "two prices of one supplier": (
        [
            f"{COUNTED} supplier=chem unit_price=3 lead_time=4",
            "material=fluid supplier=chem unit_price=4",
        ],
        [(3, "unit price", "4")],
    ),
    "goods in no place": (["material=p kind=projectile diameter=9_mm quantity=3"], [(2, "place", "")]),
    "goods of no name": (["place=Yard place_kind=warehouse quantity=3"], [(2, "material", "")]),
    "an amount past all bounds": (
        [COUNTED.replace("=5", "=600000000000"), "material=fluid place=Yard container=D container_kind=drum"
         " quantity=600000000000 unit=gal unit_cost=1"],
        [(3, "quantity", "600000000000"), (3, "unit cost", "1")],
    ),
}  # fmt: skip


@pytest.mark.parametrize("name", CASES)
def test_import_stock_refuses(tmp_path: Path, name: str) -> None:
    rows, expected = CASES[name]
    assert faults_of(tmp_path, *rows) == expected


def test_import_stock_names_the_faults_of_all_rows_in_one_go(tmp_path: Path) -> None:
    rows = [
        COUNTED.replace("=5", "=lots"),
        "material=x place=Yard quantity=1 unit_cost=1",
        "material=fluid place=Yard quantity=5_psi",
        "material=p kind=projectile diameter=9_mm quantity=3 place=Ghost unit_cost=1",
    ]
    # Row 2 would have introduced fluid and Yard: that they are missing is not told again.
    assert faults_of(tmp_path, *rows) == [
        (2, "quantity", "lots"),
        (3, "material", "x"),
        (4, "quantity", "5 psi"),
        (5, "place", "Ghost"),
    ]


KNOWN = {
    "another density": ("material,density\nfluid,1100\n", ("density", "1100"), "has 1020 kg/m3 on file"),
    "another unit": ("material,stock unit\nfluid,L\n", ("stock unit", "L"), "leave it empty or write gal"),
    "another diameter": ("material,diameter (in)\nproj-12,0.5\n", ("diameter (in)", "0.5"), "12 mm on file"),
    "a size where none is on file": ("material,size\nproj-12,.5\n", ("size", ".5"), "leave the cell empty"),
    "another kind of place": ("place,place kind\nMain yard,site\n", ("place kind", "site"), "warehouse"),
    "a place that holds no stock": ("place\nopening-stock\n", ("place", "opening-stock"), "is a supplier"),
    "another owner of a drum": (
        "place,container,owner,quantity\nMain yard,E-1,Network,0\n",
        ("owner", "Network"),
        "container E-1 has own on file",
    ),
    "another material in a lot": (
        "material,place,container,quantity,unit,unit cost\nfibre-48,Truck 1,LOT-3,3,m,0\n",
        ("material", "fibre-48"),
        "lot LOT-3 is of duct-16",
    ),
    "another price": (
        "material,supplier,unit price\nfluid,chem,13\n",
        ("unit price", "13"),
        "supply of fluid from chem has 12.1 on file",
    ),
}


@pytest.mark.parametrize("name", KNOWN)
def test_import_stock_refuses_what_contradicts_the_file(tmp_path: Path, name: str) -> None:
    text, (column, value), remedy = KNOWN[name]
    by = set_up()
    take(tmp_path, OPENING, by=by)
    (fault,) = refuse(tmp_path, text, by=by)
    assert (fault.line, fault.pointer, fault.value) == (2, column, value)
    assert remedy in fault.message


def test_import_stock_takes_known_attributes_in_any_unit(tmp_path: Path) -> None:
    by = set_up()
    take(tmp_path, OPENING, by=by)
    text = (
        "material,stock unit,diameter,unit price,supplier,unit\n"
        "proj-12,ea,0.012 m,,,\nfluid,US gal,,12.10,chem,gal\n"
    )
    answer = take(tmp_path, text, by=by, moment=at(1))
    assert not any(answer.introduced.values())


def test_fold_code_makes_spellings_of_a_code_the_same() -> None:
    assert fold_code(" D-1 ") == fold_code("d-1")


def test_import_stock_names_what_else_is_wrong_with_a_row_it_cannot_read(tmp_path: Path) -> None:
    rows = [
        COUNTED,
        "material=fluid density=900 place=Ghost quantity=lots unit_cost=cheap",
        "material=p kind=projectile diameter=wide place=Yard quantity=3 unit_cost=1 role=union",
        "material=fluid place=Yard container=D-1 container_kind=barrel quantity=5_psi",
        "kind=paint quantity=5",
    ]
    assert faults_of(tmp_path, *rows) == [
        (3, "quantity", "lots"),
        (3, "unit cost", "cheap"),
        (3, "density", "900"),
        (3, "place", "Ghost"),
        (4, "diameter", "wide"),
        (4, "role", "union"),
        (5, "container kind", "barrel"),
        (6, "kind", "paint"),
        (6, "place", ""),
    ]
