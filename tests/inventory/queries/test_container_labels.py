"""What a label says follows from what is in the container."""

from datetime import date

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext

from inventory.models import Container, Material
from inventory.queries.access import NotFound, Viewer, find_containers
from inventory.queries.container_labels import make_labels
from inventory.services.waste import start_waste_drum
from inventory.short_codes import make_short_code
from tests.factories.fluids import catch, inject, make_vessel
from tests.factories.inventory import at, make_world

pytestmark = pytest.mark.django_db


def test_make_labels_of_fresh_recovered_waste_and_held_back() -> None:
    world = make_world()
    Material.objects.filter(pk=world.fluid.pk).update(is_hazardous=True)
    drum, vessel, waste = world.drum("D-1", 50), make_vessel(world, "C-1"), make_vessel(world, "W-1")
    inject(world, drum, 20, hours=1)
    catch(world, vessel, 10, hours=2)
    start_waste_drum(container=waste, by=world.actor, occurred_at=at(3))
    held = world.drum("D-2", 5)
    Container.objects.filter(pk=held.pk).update(state="held")
    known = Container.objects.select_related("material", "owner", "filled_from")
    rows = list(known.filter(label__in=["D-1", "C-1", "W-1", "D-2"]).order_by("label"))
    with CaptureQueriesContext(
        connection,
    ) as few:
        caught, fresh, back, spent = make_labels(rows)
    assert (fresh.short_code, fresh.contents, fresh.says) == (
        make_short_code(drum.pk),
        ("Extraction fluid",),
        "",
    )
    assert fresh.is_hazardous
    assert any("Safety data sheet" in words for words in fresh.cautions)
    assert any("drain" in words for words in fresh.cautions)
    assert (caught.contents, caught.says) == (("Recovered fluid",), "recovered, caught")
    assert back.says == "held back, not to be used"
    assert (spent.says, spent.dated, spent.on_date) == ("waste", "waste since", date(2026, 3, 2))
    assert any("local codes" in words for words in spent.cautions)
    for number in range(8):
        world.drum(f"E-{number}", 5)
    more = list(known.all())
    with CaptureQueriesContext(connection) as many:
        make_labels(more)
    assert len(many) == len(few)


def test_find_containers_tells_nothing_of_what_may_not_be_seen() -> None:
    world = make_world()
    world.drum("D-1", 5)
    everything = Viewer(places=None, own_places=None, postable=frozenset(), may_see_money=False)
    assert [row.label for row in find_containers(everything, ["D-1", "D-1"])] == ["D-1"]
    elsewhere = frozenset({world.second_warehouse.pk})
    blind = Viewer(places=elsewhere, own_places=None, postable=frozenset(), may_see_money=False)
    for viewer, names in ((blind, ["D-1"]), (everything, ["D-1", "D-9"])):
        with pytest.raises(NotFound):
            find_containers(viewer, names)
