"""Who sees and moves what, without any door."""

import pytest

from inventory.errors import NotFound
from inventory.models import Entry, Place
from inventory.queries.access import (
    NotAllowed,
    Viewer,
    get_container,
    get_material,
    get_place,
    require_may_post,
    visible_containers,
    visible_entries,
    visible_holdings,
    visible_places,
)
from tests.factories.inventory import World, make_world

pytestmark = pytest.mark.django_db
GOODS = frozenset({Entry.Kind.TRANSFER, Entry.Kind.RECEIPT, Entry.Kind.COUNT})


@pytest.fixture
def world() -> World:
    made = make_world()
    made.drum("D-1", 55)
    made.drum("D-2", 55, place=made.vehicle)
    return made


def _viewer(*places: Place, own: tuple[Place, ...] = (), kinds: frozenset[str] = GOODS) -> Viewer:
    return Viewer(
        places=frozenset(place.pk for place in places),
        own_places=frozenset(place.pk for place in own),
        postable=kinds,
        may_see_money=False,
    )


def test_viewer_sees_what_lies_in_its_places_and_in_their_parts(world: World) -> None:
    shelf = Place.objects.create(code="shelf", name="Shelf", kind="bin", parent=world.warehouse)
    world.drum("D-3", 5, place=shelf)
    viewer = _viewer(world.warehouse)
    assert {row.place for row in visible_holdings(viewer)} == {world.warehouse, shelf}
    assert {row.label for row in visible_containers(viewer)} == {"D-1", "D-3"}
    assert visible_entries(viewer).count() == 2
    assert get_place(viewer, "shelf") == shelf


def test_viewer_names_vehicles_and_sites_without_seeing_into_them(world: World) -> None:
    viewer = _viewer()
    assert {place.kind for place in visible_places(viewer)} == {"vehicle", "site"}
    assert not visible_holdings(viewer).exists()
    assert not visible_containers(viewer).exists()
    assert not visible_entries(viewer).exists()


def test_what_is_not_seen_is_answered_like_what_is_not_there(world: World) -> None:
    viewer = _viewer(world.vehicle)
    for get, hidden in ((get_place, "main-yard"), (get_container, "D-1")):
        with pytest.raises(NotFound) as of_hidden:
            get(viewer, hidden)
        with pytest.raises(NotFound) as of_none:
            get(viewer, "unheard-of")
        assert of_hidden.value.message == of_none.value.message
    assert get_material(viewer, "fluid") == world.fluid


def test_goods_leave_only_places_in_ones_charge(world: World) -> None:
    viewer = _viewer(world.vehicle, own=(world.vehicle,))
    require_may_post(viewer, "transfer", [(world.vehicle, world.warehouse)])
    require_may_post(viewer, "transfer", [(world.site, world.vehicle)])
    require_may_post(viewer, "receipt", [(world.supplier, world.vehicle)])
    for kind, source, target in (
        ("transfer", world.warehouse, world.vehicle),
        ("transfer", world.site, world.warehouse),
        ("receipt", world.supplier, world.warehouse),
        ("count", world.warehouse, None),
        ("draw", world.vehicle, world.span),
    ):
        with pytest.raises(NotAllowed):
            require_may_post(viewer, kind, [(source, target)])


def test_bin_is_in_charge_of_who_keeps_its_warehouse(world: World) -> None:
    shelf = Place.objects.create(code="shelf", name="Shelf", kind="bin", parent=world.warehouse)
    viewer = _viewer(world.warehouse, own=(world.warehouse,))
    require_may_post(viewer, "transfer", [(shelf, world.vehicle)])
    assert viewer.may_move_goods
    assert not _viewer(kinds=frozenset({"revaluation"})).may_move_goods
