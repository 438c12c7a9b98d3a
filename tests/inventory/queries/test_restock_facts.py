"""What the restock list takes for supply: what comes back, by when, and how sure that is."""

from datetime import date
from uuid import uuid4

import numpy as np
import pytest
from scipy import stats

from inventory.models import Container, StockPolicy
from inventory.queries.passing_shares import find_passing_shares
from inventory.queries.restock import list_restock, reckon_restock
from inventory.services.fluids.limits import Bounds, set_fluid_limit
from inventory.services.fluids.testing import Measured, record_test
from tests.factories.fluids import catch, inject, make_vessel
from tests.factories.inventory import World, at, make_world
from tests.inventory.queries.test_restock import MONDAY, need

pytestmark = pytest.mark.django_db


def lag(world: World, days: float, sd_days: float | None = None) -> None:
    StockPolicy.objects.update_or_create(
        key=f"0:{world.fluid.pk}",
        defaults={
            "material": world.fluid,
            "return_lag_days": days,
            "return_lag_sd_days": sd_days,
            "set_by": world.actor,
            "set_at": at(0),
        },
    )


@pytest.mark.outside_check(
    "normal distribution of the day of return, cut off this morning, by scipy.stats.truncnorm; how known: an "
    "implementation of its own"
)
def test_what_comes_back_is_spread_over_the_days_of_its_lag() -> None:
    world = make_world()
    world.drum("D1", 100)
    back = {
        "returned_material": world.recovered,
        "returned_mean": 25_000_000,
        "returned_variance": 4.0,
        "returned_date": date(2026, 3, 4),
    }
    need(world, world.fluid, 4, 30, **back)
    lag(world, 5.0, 0.0)
    sure = reckon_restock(as_of=MONDAY)
    lag(world, 5.0, 2.0)
    spread = reckon_restock(as_of=MONDAY)
    came = stats.truncnorm(a=(-1 - 7) / 2, b=np.inf, loc=7, scale=2).cdf(np.arange(14))
    assert sure.outlook.levels()[0, :14] == pytest.approx(
        100 - 30 * (np.arange(14) >= 2) + 25 * (np.arange(14) >= 7)
    )
    assert spread.outlook.levels()[0, :14] == pytest.approx(100 - 30 * (np.arange(14) >= 2) + 25 * came)
    # Its amount is uncertain once it is there, and until then whether it is.
    assert np.square(spread.outlook.spreads()[0, :14]) == pytest.approx(4 * came + 25**2 * came * (1 - came))


def caught(world: World) -> Container:
    """Forty gallons caught this morning, ten fresh ones at hand, thirty needed on the tenth."""
    drum, vessel = world.drum("D1", 50), make_vessel(world, "C1")
    inject(world, drum, 40, hours=1)
    catch(world, vessel, 40, hours=2)
    need(world, world.fluid, 12, 30)
    return vessel


def test_caught_fluid_is_supply_only_once_it_is_said_how_long_making_it_fit_takes() -> None:
    world = make_world()
    caught(world)
    [line] = list_restock(as_of=MONDAY).lines
    assert line.chance_short == 1
    lag(world, 2.0, 0.5)
    [line] = list_restock(as_of=MONDAY).lines
    # Nine vessels in ten pass; the tenth leaves the day without fluid.
    assert line.chance_short == pytest.approx(0.1, abs=1e-6)


def test_caught_fluid_comes_later_where_the_lag_is_longer_and_as_uncertain_as_it_is_said() -> None:
    world = make_world()
    caught(world)

    def chance(days: float, sd_days: float | None) -> float:
        lag(world, days, sd_days)
        return list_restock(as_of=MONDAY).lines[0].chance_short

    cut = stats.truncnorm(a=(-1 - 9) / 4, b=np.inf, loc=9, scale=4)
    assert chance(9.0, 4.0) == pytest.approx(1 - 0.9 * cut.cdf(10))
    # Without a spread it is that of a lead time of which none is stated, a quarter.
    cut = stats.truncnorm(a=(-1 - 9) / 2.25, b=np.inf, loc=9, scale=2.25)
    assert chance(9.0, None) == pytest.approx(1 - 0.9 * cut.cdf(10))
    assert chance(30.0, 1.0) == pytest.approx(1)


def test_caught_fluid_is_no_supply_while_it_is_held_back() -> None:
    world = make_world()
    vessel = caught(world)
    lag(world, 2.0, 0.5)
    Container.objects.filter(pk=vessel.pk).update(state=Container.State.HELD)
    assert list_restock(as_of=MONDAY).lines[0].chance_short == 1


@pytest.mark.outside_check(
    "beta distribution, mean (a + k) / (a + b + n); how known: any textbook, (9 + 1) / (10 + 4) by hand"
)
def test_find_passing_shares_learns_from_tests() -> None:
    world = make_world()
    vessel = caught(world)
    assert find_passing_shares().of(world.recovered.pk) == pytest.approx(0.9)
    set_fluid_limit(
        material=world.recovered,
        measured="water",
        unit="%",
        bounds=Bounds(highest=2.0),
        by=world.actor,
        occurred_at=at(0),
    )
    for hour, value in enumerate((1.0, 3.0, 4.0, 5.0)):
        record_test(
            id=uuid4(),
            by=world.actor,
            occurred_at=at(3 + hour),
            container=vessel,
            results=[Measured("water", value, "%")],
        )
    assert find_passing_shares().of(world.recovered.pk) == pytest.approx(10 / 14)
    assert find_passing_shares().of(world.fluid.pk) == pytest.approx(0.9)
