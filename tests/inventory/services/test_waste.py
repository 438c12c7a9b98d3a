"""Waste is gathered since a date and leaves under a manifest that is used once."""

from datetime import date
from uuid import uuid4

import pytest

from inventory.errors import BadInput
from inventory.models import Container, WasteDrum, WasteManifest
from inventory.queries.recovered_fluid import list_waste_due
from inventory.queries.verification import verify_ledger
from inventory.services.posting import EntryConflict
from inventory.services.waste import ManifestTaken, hand_over_waste, start_waste_drum
from tests.factories.inventory import World, at, held, make_world

pytestmark = pytest.mark.django_db


@pytest.fixture
def world() -> World:
    return make_world()


def test_start_waste_drum_keeps_the_earlier_date(world: World) -> None:
    drum = world.drum("W1", 5)
    start_waste_drum(container=drum, by=world.actor, occurred_at=at(24), day_limit=90)
    start_waste_drum(container=drum, by=world.actor, occurred_at=at(72))
    row = WasteDrum.objects.get()
    assert (row.started_date, row.day_limit) == (date(2026, 3, 3), 90)
    with pytest.raises(BadInput, match="at least 1"):
        start_waste_drum(container=drum, by=world.actor, occurred_at=at(0), day_limit=0)


def test_list_waste_due_leads_with_what_nobody_limited(world: World) -> None:
    for label, limit in (("W1", 30), ("W2", 10), ("W3", None)):
        start_waste_drum(container=world.drum(label, 5), by=world.actor, occurred_at=at(0), day_limit=limit)
    due = list_waste_due(WasteDrum.objects.all(), on_date=date(2026, 3, 15))
    assert [(row.drum.container.label, row.due_date, row.days_left) for row in due] == [
        ("W3", None, None),
        ("W2", date(2026, 3, 12), -3),
        ("W1", date(2026, 4, 1), 17),
    ]


def test_hand_over_waste_closes_the_drum_and_takes_its_contents_out(world: World) -> None:
    drum, other = world.drum("W1", 5, cost=10), world.drum("W2", 7)
    start_waste_drum(container=drum, by=world.actor, occurred_at=at(0), day_limit=30)
    id = uuid4()
    for _time in range(2):
        manifest = hand_over_waste(
            id=id,
            by=world.actor,
            occurred_at=at(5),
            containers=[Container.objects.get(pk=box.pk) for box in (drum, other)],
            number="MF-0001",
            receiver="Carrier (invented)",
        )
    assert WasteManifest.objects.count() == 1
    assert held(world.waste, world.fluid) == 12_000_000
    drum.refresh_from_db()
    assert drum.state == "gone"
    assert WasteDrum.objects.get().manifest == manifest
    assert list_waste_due(WasteDrum.objects.all(), on_date=date(2026, 3, 15)) == []
    assert manifest.entry.document == "MF-0001"
    assert list(verify_ledger()) == []


def test_hand_over_waste_keeps_a_vessel_that_was_only_emptied(world: World) -> None:
    drum = world.drum("W1", 5)
    hand_over_waste(
        id=uuid4(),
        by=world.actor,
        occurred_at=at(5),
        containers=[drum],
        number="MF-1",
        receiver="Carrier (invented)",
        keeps_vessels=True,
    )
    drum.refresh_from_db()
    assert drum.state == "open"


def test_hand_over_waste_refuses_what_no_manifest_says(world: World) -> None:
    drum = world.drum("W1", 5)
    common = {"by": world.actor, "occurred_at": at(5), "containers": [drum]}
    with pytest.raises(BadInput) as refusal:
        hand_over_waste(id=uuid4(), number=" ", receiver="", **common)
    assert [fault.pointer for fault in refusal.value.faults] == ["/number", "/receiver"]
    id = uuid4()
    hand_over_waste(id=id, number="MF-1", receiver="Carrier", **common)
    with pytest.raises(EntryConflict):
        hand_over_waste(id=id, number="MF-2", receiver="Carrier", **common)
    other = {**common, "containers": [world.drum("W2", 5)]}
    with pytest.raises(ManifestTaken, match="MF-1 was used on 2026-03-02"):
        hand_over_waste(id=uuid4(), number="MF-1", receiver="Carrier", **other)
    assert held(world.waste, world.fluid) == 5_000_000
