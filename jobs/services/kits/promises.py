"""Promises of agreed kits: they follow the plan, so that what a sheet names is there in the morning."""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass

from inventory.models import Container, Material, Party, Place, Reservation
from inventory.services.posting import NotEnoughHeld, PromisedToAnother
from inventory.services.reservations import reserve, reserve_vessel
from jobs.models import CrewDay
from jobs.queries.kit_stock import Pick
from jobs.queries.kit_yard import find_warehouse_places
from jobs.queries.pull_sheet import PullSheet, make_pull_sheet

State = CrewDay.State
Kind = Container.Kind


@dataclass
class _Wish:
    """What one kit wants kept of one holding, or one empty vessel; several lines may want of it."""

    place: Place
    material: Material | None
    owner: Party | None
    container: Container | None
    quantity: int = 0


def refresh_promises(days: Iterable[CrewDay]) -> None:
    """Make the promises of agreed days anew from what their sheets say now, and lift those of all others.

    What a day has been promised stays its own while its sheet is made, so planning again takes nothing from
    it. Goods that went to somebody else meanwhile are left out: the sheet names them as short.
    """
    found = list(days)
    others = [day.requirement_reference for day in found if day.state != State.AGREED]
    Reservation.objects.filter(reference__in=others).delete()
    keys = [day.pk for day in found if day.state == State.AGREED]
    agreed = CrewDay.objects.filter(pk__in=keys).select_related("crew", "vehicle", "warehouse")
    for day in agreed.order_by("date", "crew__code"):
        promise_sheet(day, make_pull_sheet(day))


def promise_sheet(day: CrewDay, sheet: PullSheet) -> None:
    """Keep for a day what its sheet names in the warehouse, and nothing else."""
    reference, kept = day.requirement_reference, []
    own = find_warehouse_places(day.warehouse)
    for wish in _gather(_list_picks(sheet)):
        if wish.place.pk not in own:
            continue
        made = _keep(wish, day)
        if made is not None:
            kept.append(made.pk)
    Reservation.objects.filter(reference=reference).exclude(pk__in=kept).delete()


def _list_picks(sheet: PullSheet) -> list[Pick]:
    return [pick for line in sheet.lines for pick in [*line.picks, *line.there] if pick.counted_on]


def _gather(picks: Sequence[Pick]) -> list[_Wish]:
    """Look the names of the picks up, one query for each noun, and sum up what is wanted of one thing."""
    places = {row.code: row for row in Place.objects.filter(code__in={pick.place_code for pick in picks})}
    codes = {pick.material_code for pick in picks}
    materials = {row.code: row for row in Material.objects.filter(code__in=codes)}
    labels = {pick.container for pick in picks}
    containers = {row.label: row for row in Container.objects.filter(label__in=labels)}
    owners = {row.code: row for row in Party.objects.filter(code__in={pick.owner_code for pick in picks})}
    found: dict[tuple[str, str, str, int | None], _Wish] = {}
    for pick in picks:
        container = containers.get(pick.container)
        if container is not None and container.kind == Kind.LOT:
            # Goods of a lot can be parted among crews, so an amount is kept and not the lot.
            container = None
        material = materials.get(pick.material_code)
        key = (
            pick.place_code,
            pick.material_code,
            pick.owner_code,
            container.pk if container is not None else None,
        )
        wish = found.setdefault(
            key, _Wish(places[pick.place_code], material, owners.get(pick.owner_code), container)
        )
        wish.quantity += pick.counted_on
    return list(found.values())


def _keep(wish: _Wish, day: CrewDay) -> Reservation | None:
    try:
        if wish.material is None:
            assert wish.container is not None
            return reserve_vessel(
                holder=day.crew.holder, reference=day.requirement_reference, container=wish.container
            )
        if wish.owner is None:
            return None
        return reserve(
            holder=day.crew.holder,
            reference=day.requirement_reference,
            place=wish.place,
            material=wish.material,
            owner=wish.owner,
            quantity=wish.quantity,
            container=wish.container,
        )
    except (NotEnoughHeld, PromisedToAnother):
        return None
