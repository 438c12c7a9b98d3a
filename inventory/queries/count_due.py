"""Which goods of a warehouse are in which count class, and when each is due to be counted."""

from dataclasses import dataclass
from datetime import date, datetime, timedelta
from fractions import Fraction
from zoneinfo import ZoneInfo

from django.db.models import F, Sum

from inventory.calc.counting import CountedItem, count_classes
from inventory.models import CostPool, CountPlan, CountRule, Holding, Material, Movement, Place
from inventory.queries.company import get_company
from inventory.queries.holdings import list_bins
from inventory.queries.supply_areas import find_supply_areas
from inventory.units import MILLION

DAYS_PER_YEAR = 365


@dataclass(frozen=True)
class DueCount:
    """A holding, its class and when it is due; without a date the plan never asks for it."""

    holding: Holding
    rule: CountRule
    due_date: date | None
    unit_cost: int

    @property
    def count_class(self) -> str:
        return self.rule.letter


def list_due_counts(plan: CountPlan, *, as_of: date) -> list[DueCount]:
    """Return every holding of the plan's warehouse and bins by when it is due, the dearest class first.

    What was never counted is due. The number of queries does not grow with the holdings.
    """
    zone = ZoneInfo(get_company().time_zone)
    holdings = list(
        Holding.objects.filter(place__in=list_bins(plan.place), quantity__gt=0)
        .select_related("place", "material", "owner", "container")
        .order_by("place__code", "material__code", "key")
    )
    costs = find_costs_of_materials({row.material_id for row in holdings})
    classes = _classify(plan, {row.material for row in holdings}, costs, as_of)
    rows = []
    for holding in holdings:
        rule = classes[holding.material_id]
        rows.append(
            DueCount(holding, rule, _due_date(holding, rule, as_of, zone), costs.get(holding.material_id, 0))
        )
    return sorted(rows, key=lambda row: (row.due_date or date.max, row.count_class))


def find_costs_of_materials(material_ids: set[int]) -> dict[int, int]:
    """What a unit of each material costs on average over all stock, else its standard; millionths."""
    standards = Material.objects.filter(pk__in=material_ids, standard_unit_cost__isnull=False)
    costs = {row.pk: row.standard_unit_cost or 0 for row in standards}
    pools = (
        CostPool.objects.filter(
            material__in=material_ids, is_kept=True, owner__is_company=True, quantity__gt=0
        )
        .order_by()
        .values_list("material")
        .annotate(whole=Sum("quantity"), worth=Sum("value"))
    )
    for material, quantity, worth in pools:
        if worth:
            costs[material] = round(Fraction(worth * MILLION, quantity))
    return costs


def _classify(
    plan: CountPlan, materials: set[Material], costs: dict[int, int], as_of: date
) -> dict[int, CountRule]:
    rules = list(plan.rules.order_by("letter"))
    use = _use_of(plan, materials, as_of)
    items = {
        str(material.pk): CountedItem(Fraction(use.get(material.pk, 0), MILLION), costs.get(material.pk, 0))
        for material in sorted(materials, key=lambda row: row.code)
    }
    limits = [Fraction(rule.upto_share, MILLION) for rule in rules[:-1]]
    if not limits:
        return {material.pk: rules[0] for material in materials}
    found = count_classes(items=items, limits=limits).classes
    by_letter = dict(zip("ABCDEFGHIJ", rules, strict=False))
    return {int(key): by_letter[letter] for key, letter in found.items()}


def _use_of(plan: CountPlan, materials: set[Material], as_of: date) -> dict[int, int]:
    """What work took out of the warehouse's area, by material, less what came back."""
    area = list(find_supply_areas(plan.place))
    since = datetime.combine(as_of - timedelta(days=plan.days_of_use), datetime.min.time())
    moved = Movement.objects.filter(
        material__in=materials,
        effective_at__gte=since.replace(tzinfo=ZoneInfo(get_company().time_zone)),
        quantity__gt=0,
    )
    taken = moved.filter(source_place__in=area, target_place__kind__in=Place.USE_KINDS)
    returned = moved.filter(target_place__in=area, source_place__kind__in=Place.USE_KINDS)
    use: dict[int, int] = {}
    for rows, sign in ((taken, 1), (returned, -1)):
        for material, total in rows.order_by().values_list("material").annotate(total=Sum(F("quantity"))):
            use[material] = use.get(material, 0) + sign * total
    return {material: max(0, total) for material, total in use.items()}


def _due_date(holding: Holding, rule: CountRule, as_of: date, zone: ZoneInfo) -> date | None:
    if not rule.counts_per_year:
        return None
    if holding.counted_at is None:
        return as_of
    last = holding.counted_at.astimezone(zone).date()
    return last + timedelta(days=DAYS_PER_YEAR // rule.counts_per_year)
