"""What a unit of what is held cost, for many holdings at once."""

from collections import defaultdict
from collections.abc import Iterable
from fractions import Fraction

from inventory.models import CostPool, Holding
from inventory.units import MILLION

# Place, material and owner: goods of one such pool are not told apart by their cost here.
PoolName = tuple[int, int, int]


def find_unit_costs(holdings: Iterable[Holding]) -> dict[PoolName, int | None]:
    """Average cost of a unit, in millionths of the currency, by place, material and owner.

    None where the goods are someone else's: they have no cost, which is not the same as costing nothing.
    Over all lots, since loose goods and part-drums are not tied to one. One query however many are asked.
    """
    wanted = {(row.place_id, row.material_id, row.owner_id) for row in holdings}
    sums: dict[PoolName, list[int]] = defaultdict(lambda: [0, 0])
    pools = CostPool.objects.filter(
        place__in={name[0] for name in wanted},
        material__in={name[1] for name in wanted},
        owner__in={name[2] for name in wanted},
        owner__is_company=True,
    )
    for pool in pools:
        total = sums[(pool.place_id, pool.material_id, pool.owner_id)]
        total[0] += pool.quantity
        total[1] += pool.value
    return {name: _average(*sums[name]) if name in sums else None for name in wanted}


def _average(quantity: int, value: int) -> int | None:
    return round(Fraction(value * MILLION, quantity)) if quantity > 0 else None
