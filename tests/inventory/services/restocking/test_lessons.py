"""Weeks gone by teach once, and restocking follows what its replay follows."""

from datetime import date, timedelta

import numpy as np
import pytest

from inventory.calc.live_policy import LivePolicy
from inventory.models import DemandWeek, Material, SpreadLesson
from inventory.queries.policy_histories import load_policy_histories
from inventory.queries.restock_facts import Scope, load_facts
from inventory.queries.restock_plans import plan_materials
from inventory.queries.spread_factors import load_spread_factors, weeks_since_classed
from inventory.queries.stock_policies import load_aims
from inventory.queries.supply_areas import find_supply_areas
from inventory.services.restocking import lessons
from inventory.services.restocking.lessons import TAUGHT_WEEKS, learn_from_weeks
from tests.factories.inventory import World, make_world
from tests.inventory.queries.test_restock import terms

pytestmark = pytest.mark.django_db
MONDAY = date(2026, 3, 2)
WEEKS, COUNT = 60, 40


@pytest.fixture
def world() -> World:
    """Forty materials by the piece, used every week for sixty weeks, with a week to wait for them."""
    world = make_world()
    made = Material.objects.bulk_create(
        Material(
            code=f"seal-{number}", name="Seal", kind=Material.Kind.SUPPLY, stock_unit="1",
            standard_unit_cost=2_000_000,
        )
        for number in range(COUNT)
    )  # fmt: skip
    for material in made:
        terms(world, material, lead_time_days=7, lead_time_sd_days=0.0)
    used = np.random.default_rng(3).poisson(6, (COUNT, WEEKS)) + 1
    DemandWeek.objects.bulk_create(
        DemandWeek(
            place=world.warehouse,
            material=material,
            owner=world.company,
            week_date=MONDAY - timedelta(weeks=WEEKS - week),
            used=int(used[row, week]) * 1_000_000,
        )
        for row, material in enumerate(made)
        for week in range(WEEKS)
    )
    return world


def plan(day: date) -> np.ndarray:
    facts = load_facts(Scope(find_supply_areas(), day, 1, load_aims(service=0.95), {}))
    return plan_materials(facts).levels.reorder_point


def test_learn_from_weeks_teaches_each_week_once(world: World) -> None:
    assert learn_from_weeks(as_of=MONDAY, service=0.95) == TAUGHT_WEEKS
    assert learn_from_weeks(as_of=MONDAY, service=0.95) == 0
    told = SpreadLesson.objects.filter(factor__isnull=False)
    # Weeks long gone teach too, but no factor stood in them.
    assert {row.week_date for row in told} == {MONDAY - timedelta(weeks=1)}
    assert load_spread_factors(MONDAY).keys() == {("smooth", False)}
    assert load_spread_factors(MONDAY - timedelta(days=1)) == {}
    next_week = MONDAY + timedelta(weeks=1)
    assert learn_from_weeks(as_of=next_week, service=0.95) == 1
    assert {row.week_date for row in told.all()} == {MONDAY - timedelta(weeks=1), MONDAY}


def test_what_stood_is_held_against_what_came(world: World) -> None:
    learn_from_weeks(as_of=MONDAY, service=0.95)
    for material in Material.objects.filter(code__startswith="seal"):
        for weeks_on in range(3):
            DemandWeek.objects.create(
                place=world.warehouse, material=material, owner=world.company,
                week_date=MONDAY + timedelta(weeks=weeks_on), used=30_000_000,
            )  # fmt: skip
    learn_from_weeks(as_of=MONDAY + timedelta(weeks=3), service=0.95)
    rows = SpreadLesson.objects.filter(demand_class="smooth", is_fill_rate=False, stood_wanted__gt=0)
    # A lead time of a week and the week between looks: what stood on the last Sunday is told two weeks on.
    first = min(row.week_date for row in rows)
    assert first == MONDAY + timedelta(weeks=1)
    assert all(row.stood_over == pytest.approx(0.95 * COUNT) for row in rows.filter(week_date=first))
    before, after = load_spread_factors(MONDAY), load_spread_factors(MONDAY + timedelta(weeks=3))
    assert after["smooth", False] > before["smooth", False]


def test_restocking_takes_the_factor_that_was_learnt(world: World) -> None:
    untaught = plan(MONDAY)
    learn_from_weeks(as_of=MONDAY, service=0.95)
    SpreadLesson.objects.filter(factor__isnull=False).update(factor=3.0)
    assert (plan(MONDAY) > untaught).all()
    # What was learnt since is not known to a list of an earlier day.
    week_before = MONDAY - timedelta(weeks=1)
    earlier = plan(week_before)
    SpreadLesson.objects.all().delete()
    assert (plan(week_before) == earlier).all()


def test_restocking_and_its_replay_are_one_policy(world: World) -> None:
    """The reorder points of tonight are those that the replay has for today, to the piece."""
    learn_from_weeks(as_of=MONDAY, service=0.95)
    histories = load_policy_histories(before=MONDAY, service=0.95)
    weeks = histories.used.shape[1]
    policy = LivePolicy(
        history=histories.used,
        lead_time=np.ones(COUNT, dtype=int),
        # Its record begins after tonight: no factor stood in the weeks that are over.
        learnt=weeks + 2,
        share=histories.share,
        is_fill_rate=histories.is_fill_rate,
        is_whole=histories.is_whole,
        sizes=histories.sizes,
        weights=histories.weights,
        pool=histories.pool,
        since_classed=lambda period: weeks_since_classed(MONDAY - timedelta(weeks=weeks - period - 1)),
    )
    # Weeks before those were not taught.
    policy._lessons.update({period: {} for period in range(weeks - TAUGHT_WEEKS)})
    points, sizes = policy(weeks - 1)
    assert policy.factors[weeks - 1] == pytest.approx(load_spread_factors(MONDAY))
    facts = load_facts(Scope(find_supply_areas(), MONDAY, 1, load_aims(service=0.95), {}))
    plans = plan_materials(facts)
    assert plans.levels.reorder_point.tolist() == points.tolist()
    assert plans.order_quantity.tolist() == sizes.tolist()


def test_a_large_stock_is_taught_from_by_parts(world: World, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(lessons, "MATERIALS_A_WEEK", 10)
    learn_from_weeks(as_of=MONDAY, service=0.95)
    seen = SpreadLesson.objects.filter(demand_class="smooth", is_fill_rate=False).values_list(
        "seen", flat=True
    )
    assert max(seen) <= 10
    assert sum(seen) > 100


def test_learn_from_weeks_of_nothing_used_is_done_too() -> None:
    make_world()
    assert learn_from_weeks(as_of=MONDAY, service=0.95) == TAUGHT_WEEKS
    assert learn_from_weeks(as_of=MONDAY, service=0.95) == 0
    assert load_spread_factors(MONDAY) == {}


@pytest.mark.parametrize(
    ("day", "weeks"),
    [(date(2026, 1, 4), 51), (date(2026, 1, 5), 0), (date(2026, 1, 12), 1), (date(2026, 3, 4), 8)],
)
def test_weeks_since_classed_counts_from_the_first_monday_of_the_year(day: date, weeks: int) -> None:
    assert weeks_since_classed(day) == weeks
