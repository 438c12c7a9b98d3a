"""Stock sheets for tests: written as people write them, from invented goods."""

from datetime import datetime
from pathlib import Path
from typing import Any

import pytest

from inventory.errors import Fault
from inventory.models import Actor
from inventory.services.company import set_up_company
from inventory.services.stock_sheet import StockImport, import_stock
from inventory.sheets import FaultySheet
from tests.factories.inventory import at

# Every kind of goods and every kind of container; what each costs can be followed by hand.
OPENING = """\
material,name,kind,stock unit,density,diameter (mm),cable size,role,reusable,outside diameter (mm),fibres,place,place kind,inside,container,container kind,capacity,tare,owner,received,outer mark,inner mark,quantity,unit,unit cost,supplier,lead time,unit price,pack
fluid,Extraction fluid,fluid,gal,1020,,,,,,,Main yard,warehouse,,D-1,drum,57,22 kg,,2026-02-01,,,55,gal,12.50,chem,10,12.10,55
fluid,,,,,,,,,,,Main yard,,,D-2,drum,57 gal,,,,,,200,L,3.30,,,,
proj-12,Projectile 12 mm,projectile,,,12,,,,,,Shelf 1,bin,Main yard,,,,,,,,,40,,2.25,,,,
union-500,Union .500,fitting,each,,,0.5,union,no,,,Shelf 1,,,,,,,,,,,25,each,18.40,,,,
fibre-48,Fibre cable 48,fibre,ft,,,,,,8.1,48,Main yard,,,R-7,reel,,,Network,,12500 ft,500 ft,12000,ft,,,,,
duct-16,Duct 16 mm,duct,m,,,,,,16,,Truck 1,vehicle,,LOT-3,lot,,,,,,,150.5,m,0.80,,,,
,,,,,,,,,,,Main yard,,,E-1,drum,208.2 L,,,,,,0,,,,,,
"""  # noqa: E501 - a row of the sheet is a line


def set_up() -> Actor:
    """An installation that is set up and holds nothing."""
    set_up_company(code="own", name="Trench Company", currency="USD", time_zone="America/Chicago")
    return Actor.objects.create(code="stores", name="Stores", kind="person")


def take(
    folder: Path, text: str, *, by: Actor, moment: datetime | None = None, **options: Any
) -> StockImport:
    """Import a sheet given as text."""
    path = folder / "stock.csv"
    path.write_text(text, encoding="utf-8")
    return import_stock(path=path, by=by, occurred_at=moment or at(0), document="take 1", **options)


def refuse(folder: Path, text: str, *, by: Actor) -> list[Fault]:
    """Import a sheet that is refused, and return its faults."""
    with pytest.raises(FaultySheet) as caught:
        take(folder, text, by=by)
    return list(caught.value.faults)
