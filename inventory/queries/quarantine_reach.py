"""Where the contents of a lot or container went: vessels, loose goods, spans, and what came back of those.

Read off the movements, so that a pour reported later is found too. Like `parentage`, but on through the
spans: what comes back from one has been with what went in.
"""

from collections.abc import Collection
from dataclasses import dataclass, field
from datetime import datetime

from inventory.models import Container, CostPool, Holding, Material, Movement, Place
from inventory.queries.parentage import list_links, real_movements

Purpose = Movement.Purpose


@dataclass
class UseReached:
    """How much went into a job, run or span, and when first."""

    place: Place
    material: Material
    quantity: int
    first_at: datetime


@dataclass(frozen=True)
class LooseGoods:
    """Goods of a lot that lie in no vessel and so cannot be held back one by one: somebody must look."""

    place: Place
    material: Material
    quantity: int


@dataclass
class Reach:
    """All that a lot or container has to do with, itself included."""

    containers: dict[int, Container] = field(default_factory=dict)
    uses: dict[tuple[int, int], UseReached] = field(default_factory=dict)
    loose: list[LooseGoods] = field(default_factory=list)
    # What left the house: to waste, suppliers or customers.
    left: list[UseReached] = field(default_factory=list)

    @property
    def use_places(self) -> list[Place]:
        return list({row.place.pk: row.place for row in self.uses.values()}.values())


def find_reach(container: Container) -> Reach:
    """Return where everything from a container, or of a lot, has gone by now."""
    reach = Reach({container.pk: container})
    frontier: dict[int, datetime | None] = {container.pk: None}
    if container.kind == Container.Kind.LOT:
        frontier |= _start_with_lot(container, reach)
    seen = dict(frontier)
    places_seen: dict[int, datetime] = {}
    while frontier:
        reached, places = _follow_pours(frontier, reach)
        back = _follow_recovery(places, places_seen)
        frontier = {}
        for target, at in [*reached, *back]:
            reach.containers.setdefault(target.pk, target)
            bound = seen.get(target.pk, at)
            if target.pk not in seen or (bound is not None and at < bound):
                seen[target.pk] = frontier[target.pk] = at
    return reach


def _start_with_lot(lot: Container, reach: Reach) -> dict[int, datetime | None]:
    """Vessels filled from the lot, or into which its cost layer was put, and what of it lies loose."""
    found: dict[int, datetime | None] = {}
    for vessel in Container.objects.filter(filled_from=lot).select_related("place"):
        reach.containers[vessel.pk] = vessel
        found[vessel.pk] = None
    for row in real_movements().filter(lot=lot).order_by("effective_at", "pk"):
        if row.target_container is not None and row.target_container_id != lot.pk:
            reach.containers.setdefault(row.target_container.pk, row.target_container)
            found.setdefault(row.target_container.pk, row.effective_at)
        elif row.source_container_id is None and row.target_place.is_use:
            _note_use(reach, row)
    pools = CostPool.objects.filter(lot=lot, quantity__gt=0, place__kind__in=Place.STOCK_KINDS)
    for pool in pools.select_related("place", "material"):
        inside = Holding.objects.filter(
            place=pool.place, material=pool.material, owner=pool.owner, container__in=reach.containers
        ).exclude(container=lot)
        loose = pool.quantity - sum(inside.values_list("quantity", flat=True))
        if loose > 0:
            reach.loose.append(LooseGoods(pool.place, pool.material, loose))
    return found


def _follow_pours(
    frontier: dict[int, datetime | None], reach: Reach
) -> tuple[list[tuple[Container, datetime]], dict[int, datetime]]:
    """One step on: into which vessels, and into which places of use."""
    vessels: list[tuple[Container, datetime]] = []
    places: dict[int, datetime] = {}
    counted: set[int] = set()
    for link in list_links(frontier, is_backward=False):
        since = frontier[link.near.source_container_id or 0]
        at, far = link.near.effective_at, link.far
        if since is not None and at < since:
            continue
        if far.target_container is not None:
            vessels.append((far.target_container, at))
        elif far.target_place.is_use and far.pk not in counted:
            counted.add(far.pk)
            _note_use(reach, far)
        elif far.target_place.kind in {Place.Kind.WASTE, Place.Kind.SUPPLIER, Place.Kind.CUSTOMER}:
            reach.left.append(UseReached(far.target_place, far.material, far.quantity, at))
        if far.target_place.is_use:
            places[far.target_place_id] = min(at, places.get(far.target_place_id, at))
    return vessels, places


def _note_use(reach: Reach, row: Movement) -> None:
    key = (row.target_place_id, row.material_id)
    known = reach.uses.get(key)
    if known is None:
        reach.uses[key] = UseReached(row.target_place, row.material, row.quantity, row.effective_at)
    else:
        known.quantity += row.quantity
        known.first_at = min(known.first_at, row.effective_at)


def _follow_recovery(
    places: dict[int, datetime], seen: dict[int, datetime]
) -> list[tuple[Container, datetime]]:
    """Vessels into which fluid came back from these places afterwards, or from the runs they are part of."""
    new = {place: at for place, at in places.items() if place not in seen or at < seen[place]}
    seen.update(new)
    if not new:
        return []
    runs = dict(Place.objects.filter(pk__in=new, parent__isnull=False).values_list("pk", "parent"))
    since = dict(new)
    for place, run in runs.items():
        assert run is not None
        since[run] = min(new[place], since.get(run, new[place]))
    rows = real_movements().filter(source_place__in=since, purpose=Purpose.RECOVERED)
    taken = [row for row in rows if row.effective_at >= since[row.source_place_id]]
    # What went in recovered comes back as itself, without a conversion between.
    direct = [(row.target_container, row.effective_at) for row in taken if row.target_container is not None]
    return [*direct, *_list_catches({row.entry_id for row in taken})]


def _list_catches(entries: Collection[int]) -> list[tuple[Container, datetime]]:
    if not entries:
        return []
    rows = real_movements().filter(
        entry__in=entries, source_place__kind=Place.Kind.PROCESS, target_container__isnull=False
    )
    return [(row.target_container, row.effective_at) for row in rows if row.target_container is not None]
