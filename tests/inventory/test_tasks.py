"""Tasks find what is to be done in the tables and are safe to run twice."""

from datetime import timedelta
from uuid import uuid4

import pytest

from api.config.celery import SCHEDULE
from inventory.models import Container, DomainEvent, FluidRelease, Material, Quarantine, TaggedFitting
from inventory.queries.company import get_today
from inventory.services.fluids.releasing import release_same_day
from inventory.services.quarantining import open_quarantine
from inventory.services.tagged_fittings import register_fitting, set_fitting_limits
from inventory.services.waste import start_waste_drum
from inventory.tasks import watch_fluid, watch_limits
from tests.factories.fluids import allow_same_day, catch, inject, make_vessel, pour
from tests.factories.inventory import at, make_world

pytestmark = pytest.mark.django_db


def test_watch_fluid_ends_passes_and_holds_what_was_poured_since() -> None:
    world = make_world()
    drum, vessel, pail = world.drum("D1", 50), make_vessel(world, "C1"), make_vessel(world, "P1")
    inject(world, drum, 20, hours=1)
    catch(world, vessel, 10, hours=2)
    allow_same_day(world)
    Container.objects.filter(pk=vessel.pk).update(contents_state="strained")
    release_same_day(id=uuid4(), by=world.actor, occurred_at=at(3), container=vessel)
    other = world.drum("D2", 20)
    open_quarantine(id=uuid4(), by=world.actor, occurred_at=at(3), container=other, reason="rust")
    pour(world, other, pail, 5, hours=4)
    assert watch_fluid() == 2
    assert watch_fluid() == 0
    vessel.refresh_from_db()
    assert vessel.contents_state == "strained"
    assert FluidRelease.objects.get().ended_at is not None
    held = set(Quarantine.objects.get().holds.values_list("container__label", flat=True))
    assert held == {"D2", "P1"}


def test_watch_limits_withdraws_fittings_and_tells_of_waste_once() -> None:
    world, today = make_world(), get_today()
    pin = Material.objects.create(
        code="pin-500", name="Pin connector", kind="fitting", stock_unit="1", fitting_role="pressure_end"
    )
    set_fitting_limits(most_uses=10, longest_age_days=100, inspection_holds_days=1)
    for tag, uses, age in (("PF-new", 1, 5), ("PF-used", 10, 5), ("PF-old", 1, 101)):
        register_fitting(
            tag=tag,
            material=pin,
            place=world.warehouse,
            made_by="A",
            checked_by="B",
            made_date=today - timedelta(days=age),
            uses=uses,
        )
    for label, limit, started in (("W-due", 30, 30), ("W-soon", 30, 29), ("W-none", None, 1)):
        box = make_vessel(world, label)
        drum = start_waste_drum(container=box, by=world.actor, occurred_at=at(0), day_limit=limit)
        drum.started_date = today - timedelta(days=started)
        drum.save()
    assert watch_limits() == 4
    states = dict(TaggedFitting.objects.values_list("tag", "state"))
    assert states == {"PF-new": "in_service", "PF-used": "withdrawn", "PF-old": "withdrawn"}
    told = {row.body["container"]: (row.kind, row.body["to"]) for row in DomainEvent.objects.all()}
    assert told == {"W-due": ("waste_due", "safety"), "W-none": ("waste_without_limit", "safety")}
    assert watch_limits() == 0
    assert DomainEvent.objects.count() == 2


@pytest.mark.parametrize(
    "task",
    [
        "inventory.tasks.watch_fluid",
        "inventory.tasks.watch_limits",
        "jobs.tasks.refresh_recovery",
        "jobs.tasks.close_days",
    ],
)
def test_what_watches_fluid_is_on_the_schedule(task: str) -> None:
    assert task in {entry["task"] for entry in SCHEDULE.values()}


def test_watch_limits_does_nothing_before_there_is_a_company() -> None:
    assert watch_limits() == 0


def test_watch_fluid_does_nothing_before_there_is_a_company() -> None:
    assert watch_fluid() == 0
