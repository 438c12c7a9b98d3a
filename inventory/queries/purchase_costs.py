"""What a unit of a material costs now, for estimates."""

from collections.abc import Iterable
from fractions import Fraction

from django.db.models import Min, Sum

from inventory.models import CostPool, Material, Place, SupplyTerms
from inventory.units import MILLION


def find_present_costs(materials: Iterable[Material]) -> dict[int, int | None]:
    """Cost of one unit, in millionths of the currency, by material; None where nothing tells.

    The average of the company's own stock, else the standard cost, else the cheapest supplier's price.
    """
    wanted = {material.pk: material for material in materials}
    held = CostPool.objects.filter(
        material__in=wanted, owner__is_company=True, place__kind__in=Place.STOCK_KINDS
    )
    sums = held.order_by().values_list("material").annotate(Sum("quantity"), Sum("value"))
    averages = {
        material: round(Fraction(int(value) * MILLION, int(quantity)))
        for material, quantity, value in sums
        if quantity > 0
    }
    terms = SupplyTerms.objects.filter(material__in=wanted).order_by().values_list("material")
    cheapest = dict(terms.annotate(Min("unit_cost")))
    found: dict[int, int | None] = {}
    for key, material in wanted.items():
        standard = material.standard_unit_cost
        found[key] = averages.get(key, standard if standard is not None else cheapest.get(key))
    return found
