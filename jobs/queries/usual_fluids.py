"""The fluid that the company injects, where nobody says which."""

from collections.abc import Collection, Sequence

from django.db.models import Sum

from inventory.models import Holding, Material
from jobs.models import SpanAttempt
from jobs.queries.jobs import get_policy


def find_usual_fluids(
    fluids: Sequence[Material], vehicles: Collection[int]
) -> tuple[dict[int, Material | None], bool]:
    """The usual one among all fluids, by the keys of vehicles, and whether that is only likely.

    Where the company has several and names none, it is the one the truck carries most of, else the one the
    company has most of, else the one it injected last; None only where no fluid is on record.
    """
    policy = get_policy()
    fresh = [each for each in fluids if each.recovered_from_id is None]
    chosen = [each for each in fresh if each.pk == policy.fluid_id and not each.is_withdrawn]
    only = chosen or [each for each in fresh if not each.is_withdrawn] or fresh
    if len(only) == 1:
        return dict.fromkeys(vehicles, only[0]), False
    return _find_most_held({each.pk: each for each in only}, vehicles), len(only) > 1


def _find_most_held(fluids: dict[int, Material], vehicles: Collection[int]) -> dict[int, Material | None]:
    rows = Holding.objects.filter(material__in=fluids, quantity__gt=0, is_kept=True).order_by()
    held: dict[int, int] = {}
    aboard: dict[tuple[int, int], int] = {}
    for material, place, quantity in rows.values_list("material", "place").annotate(Sum("quantity")):
        held[material] = held.get(material, 0) + quantity
        aboard[place, material] = quantity
    if not held:
        return dict.fromkeys(vehicles, _find_last_injected(fluids))
    found: dict[int, Material | None] = {}
    for vehicle in vehicles:
        ranked = [
            (-aboard.get((vehicle, key), 0), -sum_, fluids[key].code, key) for key, sum_ in held.items()
        ]
        found[vehicle] = fluids[min(ranked)[-1]]
    return found


def _find_last_injected(fluids: dict[int, Material]) -> Material | None:
    """What the company injected last, else the first by its code."""
    attempts = SpanAttempt.objects.filter(fluid__in=fluids, injected__gt=0, report__is_undone=False)
    last = attempts.order_by("-report__occurred_at", "-pk").values_list("fluid", flat=True).first()
    if last is not None:
        return fluids[last]
    return min(fluids.values(), key=lambda each: each.code, default=None)
