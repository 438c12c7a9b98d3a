"""Promises: a container, or an amount in a place, kept for one holder."""

from collections.abc import Sequence

from django.db import transaction

from inventory.errors import BadInput, Fault
from inventory.models import Container, Holding, Material, Party, Place, Reservation
from inventory.services.posting import NotEnoughHeld, PromisedToAnother
from inventory.services.posting.keys import HeadKey
from inventory.services.posting.locking import lock_heads
from inventory.services.posting.rows import Statement, one_of
from inventory.units import format_millionths


@transaction.atomic
def reserve(
    *,
    holder: str,
    reference: str,
    place: Place,
    material: Material,
    owner: Party,
    quantity: int,
    container: Container | None = None,
) -> Reservation:
    """Promise goods to a holder (a crew) under a reference (its kit).

    A container goes to one holder at a time; an amount as far as so much is there, in whatever container,
    that is not promised. The same reference asked again replaces its promise.
    """
    if quantity <= 0:
        message = "must be more than nothing; release a promise to lift it"
        raise BadInput.of([Fault("/quantity", str(quantity), message)])
    # The lock of the goods themselves, so that a promise and a draw cannot both count on the same ones.
    lock_heads(frozenset({HeadKey(place.pk, material.pk, owner.pk)}), {place.pk: place})
    promises = Reservation.objects.filter(place=place, material=material, owner=owner)
    promises.filter(reference=reference, container=container).delete()
    others = [row for row in promises.filter(container=container) if row.holder != holder]
    if container is not None and others:
        raise PromisedToAnother(f"{container} is promised to {others[0].holder}. Choose another.")
    holdings = dict(
        Holding.objects.filter(place=place, material=material, owner=owner).values_list(
            "container", "quantity"
        )
    )
    containers = set(promises.exclude(container=None).values_list("container", flat=True))
    if container is not None:
        _refuse_more(place, material, quantity, holdings.get(container.pk, 0), 0)
        containers.add(container.pk)
    # Amounts are promised out of whatever is there, save for containers that are promised whole.
    free = sum(amount for pk, amount in holdings.items() if pk not in containers)
    promised = sum(row.quantity for row in promises.filter(container=None))
    _refuse_more(place, material, 0 if container is not None else quantity, free, promised)
    return Reservation.objects.create(
        holder=holder,
        reference=reference,
        place=place,
        material=material,
        owner=owner,
        container=container,
        quantity=quantity,
    )


def _refuse_more(place: Place, material: Material, quantity: int, on_hand: int, promised: int) -> None:
    if on_hand - promised < quantity:
        unit = material.stock_unit
        raise NotEnoughHeld(
            f"{place} has {format_millionths(on_hand, unit)} of {material} to promise, "
            f"{format_millionths(promised, unit)} of it promised already; "
            f"{format_millionths(quantity, unit)} more cannot be."
        )


def release(*, reference: str) -> int:
    """Lift every promise under a reference; return how many there were."""
    lifted, _by_model = Reservation.objects.filter(reference=reference).delete()
    return lifted


@transaction.atomic
def reserve_vessel(*, holder: str, reference: str, container: Container) -> Reservation:
    """Promise an empty vessel to a holder under a reference; it goes to one holder at a time.

    The promise is written as of what the vessel is meant for, or the first fluid there is: the book has no
    holding of nothing. The vessel itself is the lock.
    """
    vessel = Container.objects.select_for_update(of=("self",)).select_related("place").get(pk=container.pk)
    standing = list(Reservation.objects.filter(container=vessel))
    for row in standing:
        if row.holder != holder:
            raise PromisedToAnother(f"{vessel} is promised to {row.holder}. Choose another.")
    own = next((row for row in standing if row.reference == reference), None)
    if own is not None:
        return own
    material = vessel.material or Material.objects.filter(kind=Material.Kind.FLUID).order_by("code").first()
    if material is None or vessel.place is None:
        raise NotEnoughHeld(f"{vessel} stands nowhere, or there is no fluid that it could be kept for.")
    return Reservation.objects.create(
        holder=holder,
        reference=reference,
        place=vessel.place,
        material=material,
        owner_id=vessel.owner_id,
        container=vessel,
        quantity=vessel.capacity_for(material) or 1,
    )


def forget_reservations(references: Sequence[str]) -> Statement:
    """A statement that lifts what was promised under some references, for whoever writes more at once."""
    return Statement(f"DELETE FROM inventory_reservation WHERE reference IN {one_of(references)}", references)
