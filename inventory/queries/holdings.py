"""What is where: holdings row by row, and summed up by place and material.

Each function asks the database a fixed number of times, however many rows there are.
"""

from collections import defaultdict
from collections.abc import Collection
from dataclasses import dataclass

from django.db.models import Count, Q, QuerySet, Sum

from inventory.models import Container, CostPool, Holding, Material, Party, Place


@dataclass
class OnHand:
    """How much of one owner's material a place has with its bins, and what it is worth (0 for others').

    Goods in transit are a place of their own: they are in no warehouse, and nobody can hand them out.
    """

    place: Place
    material: Material
    owner: Party
    quantity: int = 0
    value: int = 0
    # Rows of the book that make it up, and how many of them are vessels, reels or lots.
    holdings: int = 0
    containers: int = 0
    is_unsettled: bool = False

    @property
    def is_in_transit(self) -> bool:
        return self.place.kind == Place.Kind.TRANSIT


def list_holdings(
    *,
    place: Place | None = None,
    with_bins: bool = True,
    place_kinds: Collection[str] = Place.STOCK_KINDS,
    material: Material | None = None,
    owner: Party | None = None,
    kind: str | None = None,
    container: Container | None = None,
    is_loose: bool | None = None,
    is_unsettled: bool | None = None,
    with_empty: bool = False,
) -> QuerySet[Holding]:
    """Return holdings with all that a page or a wire form shows of them, in a fixed order.

    A place brings the bins in it. `kind` is the material's. Places of use and outside are left out unless
    `place_kinds` names their kinds; holdings that have become nothing, unless `with_empty`.
    """
    rows = Holding.objects.filter(place__kind__in=place_kinds)
    if place is not None:
        rows = rows.filter(place__in=list_bins(place) if with_bins else [place.pk])
    wanted = {
        "material": material,
        "owner": owner,
        "material__kind": kind,
        "container": container,
        "container__isnull": is_loose,
        "is_unsettled": is_unsettled,
    }
    rows = rows.filter(**{name: value for name, value in wanted.items() if value is not None})
    if not with_empty:
        rows = rows.exclude(quantity=0)
    rows = rows.select_related("place__parent", "material", "owner", "container__owner")
    return rows.order_by("place__code", "material__code", "owner__code", "container__label", "key")


def list_contents(containers: Collection[Container]) -> dict[int, list[Holding]]:
    """Return what each container holds, by its key; one that holds nothing has an empty list."""
    contents: dict[int, list[Holding]] = {container.pk: [] for container in containers}
    rows = Holding.objects.filter(container__in=contents).exclude(quantity=0)
    for row in rows.select_related("place", "material", "owner").order_by("place__code", "material__code"):
        assert row.container_id is not None
        contents[row.container_id].append(row)
    return contents


def list_empty_vessels(*, place: Place | None = None) -> QuerySet[Container]:
    """Return vessels that stand in stock and hold nothing, which no holding tells of."""
    held = Holding.objects.exclude(quantity=0).filter(container__isnull=False).values("container")
    rows = Container.objects.filter(place__kind__in=Place.STOCK_KINDS).exclude(state=Container.State.GONE)
    rows = rows.exclude(kind__in=[Container.Kind.LOT, Container.Kind.REEL]).exclude(pk__in=held)
    if place is not None:
        rows = rows.filter(place__in=list_bins(place))
    return rows.select_related("place__parent", "material", "owner")


def on_hand(
    *,
    place: Place | None = None,
    material: Material | None = None,
    owner: Party | None = None,
    kind: str | None = None,
) -> list[OnHand]:
    """Sum up what is on hand by place, material and owner; a bin counts to the place that it is in.

    Of one place, which may be a bin, only what is in it is summed.
    """
    areas = dict.fromkeys(list_bins(place), place) if place is not None else _find_areas()
    wanted = {"material": material, "owner": owner, "material__kind": kind, "place__in": place and areas}
    condition = Q(**{name: value for name, value in wanted.items() if value is not None})
    condition &= Q(place__kind__in=Place.STOCK_KINDS)
    found = _sum_holdings(condition, areas)
    pools = CostPool.objects.filter(condition).exclude(value=0)
    for place_id, material_id, owner_id, value in pools.values_list(
        "place_id", "material_id", "owner_id"
    ).annotate(worth=Sum("value")):
        row = found.get((areas[place_id].pk, material_id, owner_id))
        if row is not None:
            row.value += value
    return sorted(found.values(), key=lambda row: (row.place.code, row.material.code, row.owner.code))


def list_bins(place: Place) -> list[int]:
    """Return the keys of a place and of all bins in it, and in those."""
    inside: dict[int | None, list[int]] = defaultdict(list)
    for key, parent in Place.objects.filter(kind=Place.Kind.BIN).values_list("pk", "parent_id"):
        inside[parent].append(key)
    found = [place.pk]
    for key in found:
        # Grows while it is walked; a bin that lies in itself would walk for ever.
        found += [part for part in inside[key] if part not in found]
    return found


def _find_areas() -> dict[int, Place]:
    """For every stock place the one whose stock it is: a bin's is that of what it lies in.

    A truck keeps its own stock though it belongs to a warehouse: what is on it is not on the shelf.
    """
    places = Place.objects.filter(kind__in=Place.STOCK_KINDS).in_bulk()
    areas = {}
    for key, place in places.items():
        top = place
        while top.kind == Place.Kind.BIN and top.parent_id in places:
            top = places[top.parent_id]
        areas[key] = top
    return areas


def _sum_holdings(condition: Q, areas: dict[int, Place]) -> dict[tuple[int, int, int], OnHand]:
    sums = list(
        Holding.objects.filter(condition)
        .exclude(quantity=0)
        .values_list("place_id", "material_id", "owner_id")
        .annotate(
            total=Sum("quantity"),
            rows=Count("key"),
            boxes=Count("container"),
            unsettled=Count("key", filter=Q(is_unsettled=True)),
        )
        .order_by()
    )
    materials = Material.objects.in_bulk({row[1] for row in sums})
    owners = Party.objects.in_bulk({row[2] for row in sums})
    found: dict[tuple[int, int, int], OnHand] = {}
    for place_id, material_id, owner_id, total, rows, boxes, unsettled in sums:
        place = areas[place_id]
        key = (place.pk, material_id, owner_id)
        row = found.setdefault(key, OnHand(place, materials[material_id], owners[owner_id]))
        row.quantity += total
        row.holdings += rows
        row.containers += boxes
        row.is_unsettled = row.is_unsettled or bool(unsettled)
    return found
