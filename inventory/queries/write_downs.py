"""What of write-downs still stands, by place and, where cost goes by lot, by lot."""

from collections import defaultdict
from collections.abc import Hashable, Iterable, Iterator
from fractions import Fraction

from django.db.models import Q, QuerySet, Sum

from inventory.calc.write_downs import GoodsStep, standing_write_downs
from inventory.models import Material, Movement, Place

# A place and the lot whose cost it is, None under an average.
Heap = tuple[int, int | None]


def find_standing_write_downs(*, material: Material, lots: Iterable[int | None]) -> dict[Hashable, Fraction]:
    """By place and lot, in millionths of the currency; only of these lots, None for goods without any.

    Reads the movements of the goods from their first write-down on, one by one.
    """
    wanted = set(lots)
    of_lots = Q(lot__in=[lot for lot in wanted if lot is not None])
    if None in wanted:
        of_lots |= Q(lot__isnull=True)
    moved = Movement.objects.filter(of_lots, material=material, owner__is_company=True).order_by()
    told = Q(target_place__kind=Place.Kind.WRITE_DOWN) | Q(source_place__kind=Place.Kind.WRITE_DOWN)
    first = moved.filter(told, quantity=0).order_by("entry").first()
    if first is None:
        return {}
    before, since = moved.filter(entry__lt=first.entry_id), moved.filter(entry__gte=first.entry_id)
    return standing_write_downs(opening=_sum_held(before), steps=_list_steps(since))


def _sum_held(moved: QuerySet[Movement]) -> dict[Hashable, int]:
    held: dict[Hashable, int] = defaultdict(int)
    for sign, end in ((1, "target_place"), (-1, "source_place")):
        kept = moved.filter(**{f"{end}__kind__in": Place.STOCK_KINDS | Place.USE_KINDS})
        for place, lot, quantity in kept.values_list(end, "lot").annotate(Sum("quantity")):
            held[place, lot] += sign * int(quantity)
    return held


def _list_steps(moved: QuerySet[Movement]) -> Iterator[GoodsStep]:
    rows = moved.order_by("entry", "line").values_list(
        "source_place", "source_place__kind", "target_place", "target_place__kind", "lot", "quantity", "value"
    )
    for source, source_kind, target, target_kind, lot, quantity, value in rows.iterator():
        ends = (_heap(source, source_kind, lot), _heap(target, target_kind, lot))
        if quantity:
            yield GoodsStep(*ends, quantity=quantity)
        elif target_kind == Place.Kind.WRITE_DOWN:
            yield GoodsStep(ends[0], written_down=value)
        elif source_kind == Place.Kind.WRITE_DOWN:
            yield GoodsStep(ends[1], written_down=-value)


def _heap(place: int, kind: str, lot: int | None) -> Heap | None:
    return (place, lot) if kind in Place.STOCK_KINDS | Place.USE_KINDS else None
