"""The picture of a stock shows its mean and band, receipts, planned steps and reorder point."""

from datetime import date, timedelta
from xml.etree import ElementTree

import pytest

from api.wire.pictures.drawing import Picture
from api.wire.pictures.projected_stock import draw_projected_stock
from inventory.models import Order, OrderLine, SupplyTerms
from inventory.queries.projected_stock import project_stock
from tests.factories.inventory import World, make_world
from tests.inventory.queries.test_restock import MONDAY, need, ordered, use

pytestmark = pytest.mark.django_db
SVG = "{http://www.w3.org/2000/svg}"


def drawn(world: World) -> Picture:
    stock = project_stock(as_of=MONDAY, place=world.warehouse, material=world.fluid, horizon_days=21)
    assert stock is not None
    return draw_projected_stock(stock)


def texts(picture: Picture) -> str:
    return " | ".join(part.text or "" for part in ElementTree.fromstring(picture.svg).iter(f"{SVG}text"))


@pytest.fixture
def world() -> World:
    found = make_world()
    found.drum("D1", 90)
    use(found, found.fluid, 30, 14)
    need(found, found.fluid, 4, 30, variance=16.0)
    need(found, found.fluid, 9, 12)
    ordered(found, found.fluid, 55, date(2026, 3, 11))
    return found


def test_draw_projected_stock_shows_its_four_parts(world: World) -> None:
    picture = drawn(world)
    root = ElementTree.fromstring(picture.svg)
    paths = list(root.iter(f"{SVG}path"))
    # The band closes, the mean does not.
    assert sorted((path.get("d") or "").rstrip().endswith("Z") for path in paths) == [False, True]
    hints = [part.text for part in root.iter(f"{SVG}title")]
    assert "Wed 04 Mar: 30 gal planned to be taken" in hints
    assert "Mon 09 Mar: 12 gal planned to be taken" in hints
    assert "+55 gal" in texts(picture)
    assert "order at " in texts(picture)
    rows = {row["day"]: row for row in picture.table.rows}
    assert (rows["Wed 04 Mar"]["taken"], rows["Wed 11 Mar"]["order"]) == ("30", "55")
    assert float(rows["Wed 04 Mar"]["low"]) < float(rows["Wed 04 Mar"]["stock"])


def test_draw_projected_stock_writes_what_comes_on_one_day_one_below_the_other(world: World) -> None:
    first = OrderLine.objects.get()
    OrderLine.objects.create(
        order=first.order, position=2, material=world.fluid, quantity=5_000_000, unit_cost=1
    )
    root = ElementTree.fromstring(drawn(world).svg)
    lines = {part.text: part.get("y") for part in root.iter(f"{SVG}text")}
    assert lines["+55 gal"] != lines["+5 gal"]


def test_draw_projected_stock_says_where_the_day_of_a_receipt_is_a_guess(world: World) -> None:
    Order.objects.update(promised_date=MONDAY - timedelta(days=6))
    assert "+55 gal, overdue" in texts(drawn(world))
    SupplyTerms.objects.all().delete()
    Order.objects.update(promised_date=None)
    assert "+55 gal, day not known" in texts(drawn(world))
