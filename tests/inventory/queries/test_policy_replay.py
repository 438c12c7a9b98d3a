"""The company's own past, lived through again."""

from datetime import date, timedelta

import pytest

from inventory.errors import BadInput
from inventory.models import DemandWeek, SupplyTerms
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
    # Four to six a week over two weeks: about ten, and a little more is always enough.
    assert row.policy.fill_rate >= 0.95
    assert 0 < row.policy.stock_value < 12 * 2_000_000
    assert row.policy.orders == 14
    assert row.policy.cost > 0
    SupplyTerms.objects.update(lead_time_days=14)
    [slower] = replay_policy(until=MONDAY, learnt_weeks=26, judged_weeks=14).classes
    assert slower.policy.stock_value != row.policy.stock_value


@pytest.mark.parametrize(
    "wrong", [{"learnt_weeks": 3}, {"judged_weeks": 0}, {"target": 1.0}, {"judged_weeks": 999}]
)
def test_replay_policy_refuses_what_cannot_be_judged(wrong: dict[str, float]) -> None:
    make_world()
    with pytest.raises(BadInput):
        replay_policy(until=MONDAY, **wrong)  # type: ignore[arg-type]
