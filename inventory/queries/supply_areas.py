"""Which stock serves which warehouse: its own, and that of the bins, vehicles and sites that belong to it."""

from collections import defaultdict

from django.db.models import Q

from inventory.models import Container, Holding, Place
from inventory.models.container import UNIT_OF_ANY_FLUID
from inventory.units import conversion_factor


def find_supply_areas(place: Place | None = None) -> dict[int, Place]:
    """Return, for every stock place in a warehouse's area, that warehouse; of one warehouse or of all."""
    places = Place.objects.filter(kind__in=Place.STOCK_KINDS).in_bulk()
    areas = {}
    for key, row in places.items():
        top = row
        while top.kind != Place.Kind.WAREHOUSE and top.parent_id in places:
            top = places[top.parent_id]
        if place is None or top.pk == place.pk:
            areas[key] = top
    return areas


def select_materials(materials: tuple[int, int] | None, path: str = "material") -> Q:
    """Condition that the material, or the fresh one whose need it serves, has its key in this range."""
    if materials is None:
        return Q()
    return Q(**{f"{path}__pk__range": materials, f"{path}__recovered_from__isnull": True}) | Q(
        **{f"{path}__recovered_from__pk__range": materials}
    )


def sum_usable_stock(
    areas: dict[int, Place], materials: tuple[int, int] | None = None
) -> dict[tuple[int, int, int], int]:
    """Return what can be used by (warehouse, material, owner); recovered fluid counts as the fresh one.

    Leaves out what is held back or spent, recovered fluid that is not yet fit for use, and the heel that no
    pump lifts out of a drum.
    """
    rows = (
        Holding.objects.filter(select_materials(materials), place__in=areas, quantity__gt=0)
        .exclude(container__state=Container.State.HELD)
        .exclude(container__contents_state=Container.ContentsState.SPENT)
        .filter(
            Q(material__recovered_from__isnull=True)
            | Q(container__contents_state=Container.ContentsState.FIT)
        )
        .values_list(
            "place_id", "material_id", "material__stock_unit", "material__recovered_from_id",
            "material__recovered_from__stock_unit", "owner_id", "quantity", "container__heel",
            "container__material__stock_unit",
        )
    )  # fmt: skip
    stock: dict[tuple[int, int, int], int] = defaultdict(int)
    for place_id, material_id, unit, fresh_id, fresh_unit, owner_id, quantity, heel, heel_unit in rows:
        lifted = (
            quantity - heel * conversion_factor(heel_unit or UNIT_OF_ANY_FLUID, unit) if heel else quantity
        )
        usable = max(0, lifted) * conversion_factor(unit, fresh_unit or unit)
        stock[areas[place_id].pk, fresh_id or material_id, owner_id] += round(usable)
    return stock
