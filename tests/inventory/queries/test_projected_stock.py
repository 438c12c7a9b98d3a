"""The four parts of what is foreseen of a stock: mean and band, receipts, planned steps, reorder point."""

from datetime import date, timedelta

import numpy as np
import pytest
from scipy import stats

from inventory.models import Order
from inventory.queries.projected_stock import ProjectedStock, project_stock
from tests.factories.inventory import World, make_world
from tests.inventory.queries.test_restock import MONDAY, need, ordered, use

pytestmark = pytest.mark.django_db


def project(world: World) -> ProjectedStock:
    found = project_stock(as_of=MONDAY, place=world.warehouse, material=world.fluid, horizon_days=14)
    assert found is not None
    return found


@pytest.mark.outside_check(
    "standard normal table: nine in ten lie within 1.6449 spreads; how known: from memory of the table"
)
def test_project_stock_has_a_band_of_nine_in_ten_around_its_mean() -> None:
    world = make_world()
    world.drum("D1", 100)
    need(world, world.fluid, 4, 45, variance=100.0)
    days = project(world).days
    assert [day.level for day in days[:4]] == [100, 100, 55, 55]
    assert [(day.low, day.high) for day in days[:2]] == [(100, 100)] * 2
    assert (days[3].low, days[3].high) == pytest.approx((55 - 16.449, 55 + 16.449), abs=1e-3)


def test_project_stock_shows_planned_steps_and_what_comes_back_on_their_days() -> None:
    world = make_world()
    world.drum("D1", 100)
    back = {
        "returned_material": world.recovered,
        "returned_mean": 25_000_000,
        "returned_date": date(2026, 3, 4),
    }
    need(world, world.fluid, 4, 30, **back)
    need(world, world.fluid, 9, 12)
    days = {day.day.day: day for day in project(world).days}
    assert {key: day.scheduled_out for key, day in days.items() if day.scheduled_out} == {4: 30, 9: 12}
    assert {key: day.scheduled_back for key, day in days.items() if day.scheduled_back} == {5: 25}
    assert [days[key].level for key in (3, 4, 5, 9)] == [100, 70, 95, 83]


def test_project_stock_weighs_receipts_by_the_chance_that_they_have_come() -> None:
    world = make_world()
    need(world, world.fluid, 15, 5)
    order = ordered(world, world.fluid, 55, date(2026, 3, 6))
    found = project(world)
    [receipt] = found.receipts
    assert (receipt.day, receipt.quantity, receipt.reference) == (date(2026, 3, 6), 55, order.reference)
    assert receipt.doubt == ""
    # Three days of lead time without a spread stated: three quarters of a day around its day.
    come = stats.truncnorm(a=(-1 - 4) / 0.75, b=np.inf, loc=4, scale=0.75).cdf(np.arange(13))
    assert [day.level for day in found.days[:13]] == pytest.approx(55 * come)
    wide = [day.high - day.low for day in found.days[:13]]
    assert wide == pytest.approx(2 * 1.6449 * 55 * np.sqrt(come * (1 - come)), abs=1e-2)
    Order.objects.filter(pk=order.pk).update(promised_date=MONDAY - timedelta(days=2))
    assert [row.doubt for row in project(world).receipts] == ["overdue"]


def test_project_stock_tells_the_point_at_which_to_order() -> None:
    world = make_world()
    use(world, world.fluid, 30, 14)
    found = project(world)
    # Nobody offers it: a fortnight and a week at two gallons a day, and more for bad days.
    assert found.reorder_point > 21 * 2
    assert found.rate_per_week == pytest.approx(14)
    assert found.line is not None
    assert found.line.run_out_date == MONDAY


def test_project_stock_foresees_nothing_of_what_nobody_needs_or_uses() -> None:
    world = make_world()
    assert project_stock(as_of=MONDAY, place=world.warehouse, material=world.fluid) is None
