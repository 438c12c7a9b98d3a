"""What goods are worth while several lines of one entry change it."""

from collections.abc import Collection

from inventory.models import CostPool
from inventory.queries.followed_goods import Heap


class Worth:
    """The value of the company's goods, taken off line by line as far as there is so much."""

    def __init__(self, heaps: Collection[Heap]) -> None:
        pools = CostPool.objects.filter(
            place__in={place for place, _material, _lot in heaps},
            material__in={material for _place, material, _lot in heaps},
            owner__is_company=True,
        )
        rows = pools.values_list("place", "material", "lot", "value")
        self._left = {(place, material, lot or 0): value for place, material, lot, value in rows}

    def change(self, heap: Heap, value: int) -> int:
        """Put value on, or take it off as far as there is so much; return what that came to."""
        going = max(value, -self._left.get(heap, 0))
        self._left[heap] = self._left.get(heap, 0) + going
        return going
