"""Where the goods are that others furnished for a job: what they brought, what is left and what went back."""

from collections import defaultdict
from collections.abc import Collection, Iterable, Mapping
from dataclasses import dataclass

from django.db.models import Sum

from inventory.models import Holding, Movement, Party, Place
from jobs.models import Job

# Where goods of others come from and go back to.
OUTSIDE = (Place.Kind.CUSTOMER, Place.Kind.SUPPLIER)
# Material and owner.
Key = tuple[int, int]


@dataclass(frozen=True)
class Reconciliation:
    """One material of one owner, in millionths of the stock unit, up to now.

    An owner furnishes for all of its jobs together, so what lies in stock may serve any of them. `otherwise`
    is what went to no job and not back: count differences, waste, conversion.
    """

    delivered: int
    with_job: int
    with_other_jobs: int
    returned_to_owner: int
    still_held: int
    otherwise: int

    @property
    def ties(self) -> bool:
        """Whether all that was delivered is found again; the sums come from movements and from holdings."""
        found = self.with_job + self.with_other_jobs + self.returned_to_owner + self.still_held
        return self.delivered == found + self.otherwise


def reconcile_furnished(job: Job, charged: Mapping[Key, int]) -> dict[Key, Reconciliation]:
    """By material and owner: what was charged to the job (what stays there), and what its owners hold here.

    Left out is what was brought and is neither charged here nor held nor handed back: other jobs' goods.
    """
    keys = charged.keys() | _list_brought(job, {owner for _material, owner in charged})
    if not keys:
        return {}
    by_kind, outside = _sum_holdings(keys)
    delivered, returned = _sum_deliveries(keys, outside)
    found = {}
    for key in keys:
        kinds, with_job = by_kind[key], charged.get(key, 0)
        row = Reconciliation(
            delivered=delivered[key],
            with_job=with_job,
            with_other_jobs=_sum(kinds, Place.USE_KINDS) - with_job,
            returned_to_owner=returned[key],
            still_held=_sum(kinds, Place.STOCK_KINDS),
            otherwise=sum(kinds.values()) - _sum(kinds, {*Place.USE_KINDS, *Place.STOCK_KINDS, *OUTSIDE}),
        )
        if key in charged or row.still_held or row.returned_to_owner:
            found[key] = row
    return found


def _sum(kinds: Mapping[str, int], wanted: Iterable[str]) -> int:
    return sum(kinds.get(kind, 0) for kind in wanted)


def _list_brought(job: Job, owners: set[int]) -> set[Key]:
    """What the job's customer, the owner of its fibre and other owners brought, whatever it is for."""
    known = owners | {key for key in (job.customer_id, job.fibre_owner_id) if key is not None}
    places = Place.objects.filter(kind=Place.Kind.CUSTOMER, code__in=_codes(known))
    rows = Holding.objects.filter(place__in=list(places.values_list("pk", flat=True)), owner__in=known)
    return set(rows.filter(owner__is_company=False).order_by().values_list("material", "owner").distinct())


def _codes(owners: set[int]) -> list[str]:
    codes = Party.objects.filter(pk__in=owners).values_list("code", flat=True)
    return [f"{Place.Kind.CUSTOMER.value}:{code}" for code in codes]


def _sum_holdings(keys: Collection[Key]) -> tuple[dict[Key, dict[str, int]], set[int]]:
    """What lies where by kind of place, and the outside places that it came from."""
    by_kind: dict[Key, dict[str, int]] = defaultdict(lambda: defaultdict(int))
    outside: set[int] = set()
    materials, owners = {material for material, _owner in keys}, {owner for _material, owner in keys}
    holdings = Holding.objects.filter(material__in=materials, owner__in=owners).order_by()
    rows = holdings.values_list("material", "owner", "place", "place__kind")
    for material, owner, place, kind, quantity in rows.annotate(Sum("quantity")):
        by_kind[material, owner][kind] += int(quantity)
        if kind in OUTSIDE:
            outside.add(place)
    return by_kind, outside


def _sum_deliveries(keys: Collection[Key], outside: set[int]) -> tuple[dict[Key, int], dict[Key, int]]:
    """Delivered and handed back. A receipt's reversal takes from what was delivered."""
    materials, owners = {material for material, _owner in keys}, {owner for _material, owner in keys}
    delivered: dict[Key, int] = defaultdict(int)
    returned: dict[Key, int] = defaultdict(int)
    for end, sign in (("source_place", 1), ("target_place", -1)):
        movements = Movement.objects.filter(
            **{f"{end}__in": outside}, material__in=materials, owner__in=owners
        ).order_by()
        rows = movements.values_list("material", "owner", "purpose").annotate(Sum("quantity"))
        for material, owner, purpose, quantity in rows:
            if purpose == Movement.Purpose.RECEIVED:
                delivered[material, owner] += sign * int(quantity)
            else:
                returned[material, owner] -= sign * int(quantity)
    return delivered, returned
