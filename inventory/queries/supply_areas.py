"""Which stock serves which warehouse: its own, and that of the bins, vehicles and sites that belong to it."""

from collections import defaultdict
from collections.abc import Mapping
from dataclasses import dataclass

from django.db.models import Q

from inventory.models import Container, Holding, Material, Place
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


@dataclass(frozen=True)
class MaterialRange:
    """The fresh materials whose keys lie in a range, with what is recovered of them, whatever its keys."""

    first: int
    last: int
    recovered: frozenset[int] = frozenset()
    others_recovered: frozenset[int] = frozenset()

    @classmethod
    def of(cls, first: int, last: int, forms: Mapping[int, tuple[int, float]]) -> "MaterialRange":
        """`forms` as by `find_recovered_forms`."""
        serves = {key: first <= fresh <= last for key, (fresh, _factor) in forms.items()}
        return cls(
            first,
            last,
            frozenset(key for key, is_in in serves.items() if is_in),
            frozenset(key for key, is_in in serves.items() if not is_in and first <= key <= last),
        )

    def __contains__(self, material: int) -> bool:
        return self.first <= material <= self.last


def find_recovered_forms() -> dict[int, tuple[int, float]]:
    """By key of a recovered material, that of the fresh one it serves as and how many of its units one is."""
    rows = Material.objects.filter(recovered_from__isnull=False).select_related("recovered_from")
    return {
        row.pk: (
            row.recovered_from.pk,
            float(conversion_factor(row.stock_unit, row.recovered_from.stock_unit)),
        )
        for row in rows
        if row.recovered_from is not None
    }


Chosen = MaterialRange | frozenset[int] | None


def select_materials(materials: Chosen) -> Q:
    """Condition on the key of a row's material alone, which an index can serve, without a join."""
    if materials is None:
        return Q()
    if isinstance(materials, frozenset):
        return Q(material__in=materials)
    chosen = Q(material__gte=materials.first, material__lte=materials.last)
    if materials.others_recovered:
        chosen &= ~Q(material__in=materials.others_recovered)
    return chosen | Q(material__in=materials.recovered) if materials.recovered else chosen


def sum_usable_stock(
    areas: dict[int, Place], materials: MaterialRange | None = None
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
