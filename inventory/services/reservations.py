"""Promises: a container, or an amount in a place, kept for one holder."""

from django.db import transaction

from inventory.models import Container, Holding, Material, Party, Place, Reservation
from inventory.services.posting import NotEnoughHeld, PromisedToAnother
from inventory.services.posting.book import lock_heads
from inventory.services.posting.keys import HeadKey
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

    A container goes to one holder at a time; loose goods as far as they are there and not promised. The
    same reference asked again replaces its promise.
    """
    # The lock of the goods themselves, so that a promise and a draw cannot both count on the same ones.
    lock_heads(frozenset({HeadKey(place.pk, material.pk, owner.pk)}), {place.pk: place})
    promises = Reservation.objects.filter(place=place, material=material, owner=owner)
    promises.filter(reference=reference, container=container).delete()
    held = Holding.objects.filter(place=place, material=material, owner=owner, container=container).first()
    on_hand = held.quantity if held else 0
    others = [row for row in promises.filter(container=container) if row.holder != holder]
    if container is not None and others:
        raise PromisedToAnother(f"{container} is promised to {others[0].holder}. Choose another.")
    promised = sum(row.quantity for row in promises.filter(container=container))
    if on_hand - promised < quantity:
        unit = material.stock_unit
        raise NotEnoughHeld(
            f"{place} holds {format_millionths(on_hand, unit)} of {material}, "
            f"{format_millionths(promised, unit)} of it promised; "
            f"{format_millionths(quantity, unit)} more cannot be."
        )
    return Reservation.objects.create(
        holder=holder,
        reference=reference,
        place=place,
        material=material,
        owner=owner,
        container=container,
        quantity=quantity,
    )


def release(*, reference: str) -> int:
    """Lift every promise under a reference; return how many there were."""
    lifted, _by_model = Reservation.objects.filter(reference=reference).delete()
    return lifted
