"""What is where, material by material: for a person who asks for one thing and wants to walk to it.

A search finds by what is known: a material, a label, a short code, a place. Pages go by the material's code.
The database is asked a fixed number of times however much there is.
"""

from collections import defaultdict
from contextlib import suppress
from dataclasses import dataclass, field

from django.db.models import Q

from inventory.models import Holding, Material, Place
from inventory.queries.access import Viewer, visible_holdings
from inventory.short_codes import WrongShortCode, read_short_code

PAGE = 20
# Of one material; whoever has more of it in more places asks for a place.
MOST_ROWS = 400


@dataclass
class PlaceStock:
    """What of one material lies in one place, vessel by vessel and loose."""

    place: Place
    quantity: int = 0
    rows: list[Holding] = field(default_factory=list)


@dataclass
class MaterialStock:
    """Where a material is, and how much of it in all that was found. Amounts in its stock unit."""

    material: Material
    quantity: int = 0
    places: list[PlaceStock] = field(default_factory=list)
    is_unsettled: bool = False


@dataclass(frozen=True)
class Whereabouts:
    """A page of materials; `next_after` is the code after which the next page goes on, empty at the end."""

    materials: list[MaterialStock]
    next_after: str


def find_whereabouts(
    viewer: Viewer, *, search: str = "", kind: str = "", place: str = "", after: str = "", size: int = PAGE
) -> Whereabouts:
    """Find what of which material lies where, of all that the viewer sees into.

    Parameters
    ----------
    search: part of a material's code or name, of a label or of a place's name, or a whole short code.
    kind: a kind of material, or empty for all of them.
    place: code of a place, with the bins in it; empty for all.
    after: code of the material after which to go on.
    """
    rows = visible_holdings(viewer).filter(_matches(search.strip()))
    if kind:
        rows = rows.filter(material__kind=kind)
    if place:
        rows = rows.filter(Q(place__code=place) | Q(place__parent__code=place))
    codes = rows.filter(material__code__gt=after).order_by("material__code")
    found = list(codes.values_list("material__code", flat=True).distinct()[: size + 1])
    shown = found[:size]
    related = ("place__parent", "material", "owner", "container__material")
    held = rows.filter(material__code__in=shown).select_related(*related)
    held = held.order_by("material__code", "place__name", "container__label", "key")
    stocks: dict[str, MaterialStock] = {}
    for row in held[: size * MOST_ROWS]:
        _add(stocks.setdefault(row.material.code, MaterialStock(row.material)), row)
    return Whereabouts(list(stocks.values()), shown[-1] if len(found) > size else "")


def list_kinds_held(viewer: Viewer) -> list[str]:
    """The kinds of material of which the viewer sees anything."""
    kinds = visible_holdings(viewer).order_by().values_list("material__kind", flat=True).distinct()
    return [kind for kind in Material.Kind.values if kind in set(kinds)]


def list_holders(viewer: Viewer) -> dict[str, list[Place]]:
    """Places in which the viewer sees anything lie, bins under their warehouse's name, by kind of place."""
    held = visible_holdings(viewer).order_by().values("place")
    found: dict[str, list[Place]] = defaultdict(list)
    for place in Place.objects.filter(pk__in=held).select_related("parent").order_by("name"):
        outer = place.parent if place.kind == Place.Kind.BIN and place.parent is not None else place
        if outer not in found[outer.kind]:
            found[outer.kind].append(outer)
    return dict(found)


def _matches(search: str) -> Q:
    if not search:
        return Q()
    found = Q()
    for path in ("material__code", "material__name", "container__label", "place__code", "place__name"):
        found |= Q(**{f"{path}__icontains": search})
    with suppress(WrongShortCode):
        found |= Q(container=read_short_code(search))
    return found


def _add(stock: MaterialStock, row: Holding) -> None:
    if not stock.places or stock.places[-1].place.pk != row.place_id:
        stock.places.append(PlaceStock(row.place))
    stock.places[-1].rows.append(row)
    stock.places[-1].quantity += row.quantity
    stock.quantity += row.quantity
    stock.is_unsettled = stock.is_unsettled or row.is_unsettled
