"""The company's own past, lived through again."""

from datetime import UTC, date, datetime, timedelta

import pytest

from inventory.errors import BadInput
from inventory.models import DemandWeek, StockPolicy, SupplierTerms, SupplyTerms
from inventory.queries.policy_replay import replay_policy
from tests.factories.inventory import make_world
from tests.inventory.queries.test_restock import terms

pytestmark = pytest.mark.django_db
MONDAY = date(2026, 3, 2)


def test_replay_policy_judges_the_last_weeks_and_leaves_out_what_was_not_used_before() -> None:
    world = make_world()
    terms(world, world.projectile, lead_time_days=7)
    for weeks_ago in range(1, 41):
        DemandWeek.objects.create(
            place=world.warehouse,
            material=world.projectile,
            owner=world.company,
            week_date=MONDAY - timedelta(weeks=weeks_ago),
            used=(4 + weeks_ago % 3) * 1_000_000,
        )
    for material, owner in ((world.fibre, world.company), (world.fluid, world.customer)):
        DemandWeek.objects.create(
            place=world.warehouse,
            material=material,
            owner=owner,
            week_date=MONDAY - timedelta(weeks=2),
            used=5_000_000,
        )
    report = replay_policy(until=MONDAY, learnt_weeks=26, judged_weeks=14)
    [row] = report.classes
    assert (row.demand_class, row.materials, report.without_use) == ("smooth", 1, 1)
    assert (row.is_fill_rate, row.target) == (False, 0.95)
    # Four to six a week over two weeks: a reorder point of about ten, an order on top, is always enough.
    assert (row.policy.fill_rate, row.policy.weeks_met) == (1.0, 1.0)
    assert row.policy.orders < 14
    dear = row.policy.stock_value
    SupplierTerms.objects.update(order_cost=0)
    SupplyTerms.objects.update(line_cost=0, pack=1_000_000)
    [row] = replay_policy(until=MONDAY, learnt_weeks=26, judged_weeks=14).classes
    # Where an order costs nothing a week's use is ordered week by week.
    assert 0 < row.policy.stock_value < 12 * 2_000_000 < dear
    assert 7 < row.policy.orders <= 14
    assert row.policy.cost > 0
    SupplyTerms.objects.update(lead_time_days=14)
    [slower] = replay_policy(until=MONDAY, learnt_weeks=26, judged_weeks=14).classes
    assert slower.policy.stock_value != row.policy.stock_value
    StockPolicy.objects.create(
        key=f"0:{world.projectile.pk}", material=world.projectile, target="fill_rate", target_share=0.9,
        set_by=world.actor, set_at=datetime(2026, 1, 1, tzinfo=UTC),
    )  # fmt: skip
    [aimed] = replay_policy(until=MONDAY, learnt_weeks=26, judged_weeks=14).classes
    # What the company aims at for a material is what its replay aims at.
    assert (aimed.is_fill_rate, aimed.target) == (True, 0.9)
    assert aimed.policy.stock_value < slower.policy.stock_value


@pytest.mark.parametrize(
    "wrong", [{"learnt_weeks": 3}, {"judged_weeks": 0}, {"target": 1.0}, {"judged_weeks": 999}]
)
def test_replay_policy_refuses_what_cannot_be_judged(wrong: dict[str, float]) -> None:
    make_world()
    with pytest.raises(BadInput):
        replay_policy(until=MONDAY, **wrong)  # type: ignore[arg-type]
