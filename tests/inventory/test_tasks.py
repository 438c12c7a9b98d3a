"""Tasks find what is to be done in the tables and are safe to run twice."""

from uuid import uuid4

import pytest

from inventory.models import Container, FluidRelease, Quarantine
from inventory.services.fluids.releasing import release_same_day
from inventory.services.quarantining import open_quarantine
from inventory.tasks import watch_fluid
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


def test_watch_fluid_does_nothing_before_there_is_a_company() -> None:
    assert watch_fluid() == 0
