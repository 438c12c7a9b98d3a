"""Who may see and move what: the only way in which a door gets at the rows of inventory.

A `Viewer` says what one reader may do; it is built above inventory, which knows no users and no roles.
What a viewer may not see is answered like what is not there.
"""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from uuid import UUID

from django.db.models import Exists, OuterRef, Prefetch, Q, QuerySet

from inventory.errors import NotFound, SpanstockError
from inventory.models import (
    Container,
    ContainerChange,
    CountReading,
    Entry,
    Holding,
    Material,
    Movement,
    Party,
    Place,
    Recipe,
    SecondWord,
)

# That a vehicle or a site exists is no secret, since goods are handed over and dropped there; what lies in
# them is.
NAMED_TO_ALL = frozenset({Place.Kind.VEHICLE, Place.Kind.SITE})
# Bins lie in warehouses, spans in runs in jobs: no place lies deeper.
LEVELS = ("", "__parent", "__parent__parent")


class NotAllowed(SpanstockError):
    """The asker may see this, but may not do it."""

    code = "not_allowed"


@dataclass(frozen=True, kw_only=True)
class Viewer:
    """What one reader may see and do. `None` stands for all places.

    A place stands for itself and what lies in it: a job's place for those of its runs and spans, a
    warehouse for its bins. `own_places` are those whose goods the reader answers for; `postable` are the
    kinds of entries that the reader may make at all. `actor` is the key of whom the ledger names for the
    reader, who sees the entries it made. `tells_past` is set for a request that tells of what happened, in
    which a container may be named that has left since; `is_repeat` for one that was taken before.
    """

    places: frozenset[int] | None
    own_places: frozenset[int] | None
    postable: frozenset[str]
    may_see_money: bool
    actor: int | None = None
    tells_past: bool = False
    is_repeat: bool = False
    may_keep_instruments: bool = False

    @property
    def may_move_goods(self) -> bool:
        """Whether any entry that moves goods is open to the reader."""
        return bool(self.postable - {Entry.Kind.REVALUATION})


def lies_within(roots: frozenset[int] | None, path: str) -> Q:
    """Condition that the place at `path` is one of the roots or lies in one."""
    if roots is None:
        return Q()
    found = Q()
    for level in LEVELS:
        found |= Q(**{f"{path}{level}__in": roots})
    return found


def visible_places(viewer: Viewer) -> QuerySet[Place]:
    """Places the viewer may name: those it sees into, vehicles and sites."""
    places = Place.objects.select_related("parent__parent__parent")
    if viewer.places is None:
        return places
    own = Q()
    for path in ("pk", "parent", "parent__parent"):
        own |= Q(**{f"{path}__in": viewer.places})
    return places.filter(own | Q(kind__in=NAMED_TO_ALL))


def visible_materials(viewer: Viewer) -> QuerySet[Material]:
    """Every material: what exists is no secret, what it costs is withheld where it is written out."""
    return Material.objects.all()


def visible_parties(viewer: Viewer) -> QuerySet[Party]:
    """Every owner of goods, for the same reason."""
    return Party.objects.all()


def visible_recipes(viewer: Viewer) -> QuerySet[Recipe]:
    """Every recipe, for the same reason."""
    return Recipe.objects.all()


def visible_containers(viewer: Viewer) -> QuerySet[Container]:
    """Containers that stand in a place the viewer sees into, and lots of which something lies there.

    And what was left at a site out of such a place, since whoever left it there may pick it up again.
    """
    containers = Container.objects.all()
    if viewer.places is None:
        return containers
    held = Holding.objects.filter(
        lies_within(viewer.places, "place"), container=OuterRef("pk"), quantity__gt=0
    )
    dropped = ContainerChange.objects.filter(
        lies_within(viewer.places, "source_place"), container=OuterRef("pk"), target_place=OuterRef("place")
    )
    is_left_at_site = Q(place__kind=Place.Kind.SITE) & Q(Exists(dropped))
    return containers.filter(lies_within(viewer.places, "place") | Exists(held) | is_left_at_site)


def nameable_containers(viewer: Viewer) -> QuerySet[Container]:
    """Containers that a request may name: those the viewer sees and, in a tale of the past, those it had.

    A report may come after the drum that it tells of was handed over, and is not refused for that.
    """
    if viewer.places is None or not viewer.tells_past:
        return visible_containers(viewer)
    here = lies_within(viewer.places, "place")
    was_held = Holding.objects.filter(here, container=OuterRef("pk"))
    has_left = ContainerChange.objects.filter(
        lies_within(viewer.places, "source_place"), container=OuterRef("pk")
    )
    return Container.objects.filter(here | Exists(was_held) | Exists(has_left))


def visible_holdings(viewer: Viewer) -> QuerySet[Holding]:
    """What lies in stock places the viewer sees into."""
    held = Holding.objects.filter(place__kind__in=Place.STOCK_KINDS, quantity__gt=0)
    return held.filter(lies_within(viewer.places, "place"))


def visible_movements(viewer: Viewer) -> QuerySet[Movement]:
    """Movements with an end in a place the viewer sees into; those of value alone for who sees money."""
    ends = lies_within(viewer.places, "source_place") | lies_within(viewer.places, "target_place")
    movements = Movement.objects.filter(ends)
    return movements if viewer.may_see_money else movements.filter(quantity__gt=0)


def visible_changes(viewer: Viewer) -> QuerySet[ContainerChange]:
    """Changes of containers that stood or stand in a place the viewer sees into."""
    ends = lies_within(viewer.places, "source_place") | lies_within(viewer.places, "target_place")
    return ContainerChange.objects.filter(ends)


def visible_readings(viewer: Viewer) -> QuerySet[CountReading]:
    """Counts in places the viewer sees into."""
    return CountReading.objects.filter(lies_within(viewer.places, "place"))


def visible_entries(viewer: Viewer) -> QuerySet[Entry]:
    """Entries of which the viewer sees at least one line, and those it made.

    A revaluation is about money, and what is written in it as its reason tells of money too.
    """
    entries = Entry.objects.all()
    if not viewer.may_see_money:
        entries = entries.exclude(kind=Entry.Kind.REVALUATION)
    if viewer.places is None:
        return entries
    parts: tuple[QuerySet[Movement] | QuerySet[ContainerChange] | QuerySet[CountReading], ...] = (
        visible_movements(viewer),
        visible_changes(viewer),
        visible_readings(viewer),
    )
    seen = Q(actor=viewer.actor) if viewer.actor is not None else Q()
    for part in parts:
        seen |= Q(Exists(part.filter(entry=OuterRef("pk"))))
    return entries.filter(seen)


def with_lines(entries: QuerySet[Entry], viewer: Viewer) -> QuerySet[Entry]:
    """The same entries with their visible lines, in a number of queries that does not grow with them."""
    movements = visible_movements(viewer).select_related(
        "material", "owner", "source_place", "source_container", "target_place", "target_container", "lot"
    )
    changes = visible_changes(viewer).select_related("container", "source_place", "target_place")
    readings = visible_readings(viewer).select_related("place", "material", "owner", "container")
    return entries.select_related("actor", "reverses", "reversed_by").prefetch_related(
        Prefetch("movements", movements.order_by("line")),
        Prefetch("container_changes", changes.order_by("pk")),
        Prefetch("readings", readings.order_by("pk")),
    )


def require_may_keep_instruments(viewer: Viewer) -> None:
    """Refuse whoever does not answer for what is measured with."""
    if not viewer.may_keep_instruments:
        raise NotAllowed("Instruments are kept by stores, safety and admin.")


def require_may_post(
    viewer: Viewer, kind: str, ends: Iterable[tuple[Place | None, Place | None]] = ()
) -> None:
    """Refuse an entry that the viewer may not make; `ends` are sources and targets of its lines.

    One rule for all kinds: goods are taken only out of places one answers for, or off a site, and put
    anywhere one may name. Where goods come from outside or from work, it is the target one answers for.
    What was taken before is not weighed again: it is answered by what it made, or as a conflict.
    """
    if viewer.is_repeat:
        return
    if kind not in viewer.postable:
        raise NotAllowed(f"Your role may not make an entry of kind {Entry.Kind(kind).label}.")
    for source, target in ends:
        place = source if source is not None and source.is_stock else target
        is_off_site = place is source and place is not None and place.kind == Place.Kind.SITE
        if is_off_site and target is not None and target.is_stock:
            place = target
        if place is not None and place.is_stock and not _is_own(viewer, place):
            # Not by its name: the sender may have named a drum only, and would learn where it stands.
            raise NotAllowed("Goods there are not in your charge; they are moved by others.")


def require_may_take_stock_sheet(viewer: Viewer) -> None:
    """Refuse whoever may not open and count stock with its cost wherever it lies: a sheet names any place."""
    kinds = {Entry.Kind.RECEIPT, Entry.Kind.COUNT}
    if viewer.own_places is not None or not viewer.may_see_money or not kinds <= viewer.postable:
        raise NotAllowed("A stock sheet is taken by whoever keeps all warehouses.")


def require_may_reverse(viewer: Viewer, entry: Entry) -> None:
    """Refuse to undo an entry that the viewer could not have made."""
    ends: list[tuple[Place | None, Place | None]] = [
        (row.source_place, row.target_place)
        for row in entry.movements.select_related(
            "source_place__parent__parent", "target_place__parent__parent"
        )
    ]
    ends += [
        (row.source_place, row.target_place)
        for row in entry.container_changes.select_related(
            "source_place__parent__parent", "target_place__parent__parent"
        )
    ]
    ends += [(None, row.place) for row in entry.readings.select_related("place__parent__parent")]
    require_may_post(viewer, entry.kind, ends)


def require_sees_accounts(viewer: Viewer) -> None:
    """Refuse who may not see what all goods of the company are worth."""
    if not viewer.may_see_money or viewer.places is not None:
        raise NotAllowed("Your role does not see the accounts.")


def require_may_account(viewer: Viewer) -> None:
    """Refuse who does not keep the accounts: closing, bills, export, deciding about requests."""
    if Entry.Kind.REVALUATION not in viewer.postable:
        raise NotAllowed("Your role does not keep the accounts.")


def require_may_ask(viewer: Viewer, kind: str) -> None:
    """Refuse a request for a second word by who may not do such a thing at all."""
    if kind != SecondWord.Kind.WRITE_OFF:
        require_may_account(viewer)
    elif Entry.Kind.DISPOSAL not in viewer.postable:
        raise NotAllowed("Your role does not dispose of goods.")


def visible_second_words(viewer: Viewer) -> QuerySet[SecondWord]:
    """Every request for who sees the accounts, their own for others."""
    words = SecondWord.objects.select_related("asked_by", "decided_by")
    if viewer.may_see_money and viewer.places is None:
        return words
    return words.filter(asked_by=viewer.actor) if viewer.actor is not None else words.none()


def may_name(viewer: Viewer, place: Place) -> bool:
    """Whether this place, loaded with those it lies in, is among the visible ones."""
    if viewer.places is None or place.kind in NAMED_TO_ALL:
        return True
    above = place.parent.parent_id if place.parent else None
    return bool({place.pk, place.parent_id, above} & viewer.places)


def get_entry(viewer: Viewer, uuid: UUID) -> Entry:
    """One entry with its visible lines."""
    entry = with_lines(visible_entries(viewer), viewer).filter(uuid=uuid).first()
    if entry is None:
        raise NotFound("There is no entry of that id.")
    return entry


def get_place(viewer: Viewer, code: str) -> Place:
    place = visible_places(viewer).filter(code=code).first()
    if place is None:
        raise NotFound("There is no place of that code.")
    return place


def get_material(viewer: Viewer, code: str) -> Material:
    material = visible_materials(viewer).filter(code=code).select_related("recovered_from").first()
    if material is None:
        raise NotFound("There is no material of that code.")
    return material


def get_container(viewer: Viewer, label: str) -> Container:
    container = visible_containers(viewer).filter(label=label).first()
    if container is None:
        raise NotFound("There is no container of that label.")
    return container


def find_containers(viewer: Viewer, labels: Sequence[str]) -> list[Container]:
    """The containers of some labels in their order, each once; refused where one is not there to be seen."""
    rows = visible_containers(viewer).filter(label__in=labels)
    found = {row.label: row for row in rows.select_related("material", "owner", "filled_from")}
    if any(label not in found for label in labels):
        raise NotFound("There is no container of one of these labels.")
    return [found[label] for label in dict.fromkeys(labels)]


def _is_own(viewer: Viewer, place: Place) -> bool:
    if viewer.own_places is None:
        return True
    here: Place | None = place
    while here is not None:
        if here.pk in viewer.own_places:
            return True
        here = here.parent
    return False
