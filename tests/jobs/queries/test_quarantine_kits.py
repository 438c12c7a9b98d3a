"""Which kits are short of what is held back: the same goods, where the crew is served from, while it stands.

The small day needs 12.0027 gal of fluid: 1.2 times the bore of 1000 ft, and a set-up.
"""

from datetime import timedelta
from uuid import uuid4

import pytest

from inventory.models import Container, Quarantine
from inventory.services.quarantining import lift_quarantine, open_quarantine
from jobs.models import CrewDay
from jobs.queries.quarantine_kits import ShortKit, list_short_kits
from tests.factories.inventory import at
from tests.factories.jobs import DAY
from tests.factories.kits import SmallDay, make_small_day

pytestmark = pytest.mark.django_db
GALLON = 1_000_000


@pytest.fixture
def day() -> SmallDay:
    return make_small_day()


def hold(day: SmallDay, label: str) -> Quarantine:
    return open_quarantine(
        id=uuid4(),
        by=day.world.actor,
        occurred_at=at(1),
        container=Container.objects.get(label=label),
        reason="smells wrong",
    )


def short_of(quarantine: Quarantine) -> list[ShortKit]:
    return list_short_kits(
        quarantine, CrewDay.objects.select_related("crew", "vehicle", "warehouse"), as_of=DAY
    )


def test_kit_is_short_of_the_drum_that_is_held(day: SmallDay) -> None:
    day.drum("D-1", 20, heel=2)
    (kit,) = short_of(hold(day, "D-1"))
    assert (kit.crew_day, kit.containers) == (day.crew_day, ["D-1"])
    assert kit.line.material_code == "fluid"
    assert kit.held == 18 * GALLON
    assert kit.short_by_it == kit.line.short > 12 * GALLON


def test_kit_that_another_drum_serves_is_not_short(day: SmallDay) -> None:
    day.drum("D-1", 20)
    day.drum("D-2", 55)
    assert short_of(hold(day, "D-1")) == []


def test_kit_is_short_by_no_more_than_is_held(day: SmallDay) -> None:
    day.drum("D-1", 5)
    (kit,) = short_of(hold(day, "D-1"))
    assert (kit.held, kit.short_by_it) == (5 * GALLON, 5 * GALLON)
    assert kit.line.short > 12 * GALLON


def test_drum_on_the_truck_counts_and_one_elsewhere_does_not(day: SmallDay) -> None:
    day.drum("D-1", 20, on_truck=True)
    day.drum("D-2", 20, place=day.world.second_warehouse)
    assert [kit.containers for kit in short_of(hold(day, "D-1"))] == [["D-1"]]
    assert short_of(hold(day, "D-2")) == []


@pytest.mark.parametrize(("state", "is_short"), [("fit", True), ("caught", False), ("spent", False)])
def test_recovered_fluid_counts_where_it_was_fit(day: SmallDay, state: str, is_short: bool) -> None:
    day.drum("D-1", 20, material=day.world.recovered)
    Container.objects.filter(label="D-1").update(contents_state=state)
    assert bool(short_of(hold(day, "D-1"))) is is_short


def test_lifted_quarantine_and_days_past_or_settled_make_nothing_short(day: SmallDay) -> None:
    day.drum("D-1", 20)
    quarantine = hold(day, "D-1")
    rows = CrewDay.objects.select_related("crew", "vehicle", "warehouse")
    assert list_short_kits(quarantine, rows, as_of=DAY + timedelta(days=1)) == []
    assert list_short_kits(quarantine, rows, as_of=DAY - timedelta(days=15)) == []
    CrewDay.objects.update(state=CrewDay.State.SETTLED)
    assert short_of(quarantine) == []
    CrewDay.objects.update(state=CrewDay.State.AGREED)
    assert len(short_of(quarantine)) == 1
    lift_quarantine(
        id=uuid4(), by=day.world.other_actor, occurred_at=at(2), quarantine=quarantine, reason="tested"
    )
    quarantine.refresh_from_db()
    assert short_of(quarantine) == []


def test_goods_of_another_owner_serve_no_line(day: SmallDay) -> None:
    day.drum("D-1", 20, owner=day.world.customer)
    assert short_of(hold(day, "D-1")) == []
