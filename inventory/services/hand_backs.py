"""Goods of others going back to their owner."""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import datetime
from uuid import UUID

from inventory.errors import BadInput, Fault
from inventory.models import Actor, Container, Entry, Material, Movement, Party, Place
from inventory.services.lines import BadLine, quantity_of
from inventory.services.posting import ContainerWish, End, Flow, Posting, Rest, post
from inventory.units import Amount


class NotFurnished(BadInput):
    """Only what somebody else owns is handed back to an owner."""

    code = "not_furnished"


@dataclass(frozen=True)
class HandedPart:
    """So much out of a container that stays here; `REST` takes all that is in it."""

    material: Material
    amount: Amount | Rest
    container: Container


def hand_back(
    *,
    id: UUID,
    by: Actor,
    occurred_at: datetime,
    containers: Sequence[Container] = (),
    parts: Sequence[HandedPart] = (),
    reason: str = "",
    document: str = "",
) -> Entry:
    """Give owners back what they furnished: whole containers, which are gone then, or part of what is in one.

    Each goes to the outside place of its owner, so that what was delivered ties to what is with jobs, held
    and back. What cannot be there is refused.

    Raises
    ------
    NotFurnished
        If a container is the company's own, or its owner is neither customer nor supplier.
    BadLine
        If there is nothing to hand back, a container is named twice or is not in our hands.
    NotEnoughHeld
        If a container holds less than a part says.
    """
    named = [(f"/containers/{number}", box) for number, box in enumerate(containers)]
    named += [(f"/parts/{number}/container", part.container) for number, part in enumerate(parts)]
    if not named:
        raise BadLine("There is nothing to hand back; name a container or a part of one.")
    owners = find_owner_places(named)
    if not Entry.objects.filter(uuid=id).exists():
        _refuse_not_here(named, {box.pk for box in containers})
    flows = []
    for number, part in enumerate(parts):
        place = part.container.place
        assert place is not None
        flows.append(
            Flow(
                material=part.material,
                quantity=quantity_of(part.amount, part.material, pointer=f"/parts/{number}/amount"),
                source=End(place, part.container),
                target=End(owners[part.container.owner_id]),
                purpose=Movement.Purpose.RETURNED,
                owner=part.container.owner,
                entered=None if isinstance(part.amount, Rest) else part.amount,
            )
        )
    return post(
        Posting(
            uuid=id,
            kind=Entry.Kind.RETURN,
            occurred_at=occurred_at,
            by=by,
            flows=tuple(flows),
            wishes=tuple(
                ContainerWish(
                    box,
                    place=owners[box.owner_id],
                    state=Container.State.GONE,
                    purpose=Movement.Purpose.RETURNED,
                )
                for box in containers
            ),
            is_plan=True,
            reason=reason or "back to the owner",
            document=document,
        )
    )


def find_owner_places(named: Iterable[tuple[str, Container]]) -> dict[int, Place]:
    """By owner, the outside place that goods in these containers go back to."""
    faults, found = [], {}
    for pointer, box in named:
        owner: Party = box.owner
        if owner.is_company:
            message = "is the company's own; what was bought goes back by a return to its supplier"
            faults.append(Fault(pointer, str(box), message))
            continue
        places = Place.objects.filter(code__in=(f"customer:{owner.code}", f"supplier:{owner.code}"))
        place = places.order_by("code").first()
        if place is None:
            message = f"belongs to {owner.name}, which is neither customer nor supplier; make it one first"
            faults.append(Fault(pointer, str(box), message))
        else:
            found[owner.pk] = place
    if faults:
        raise NotFurnished.of(faults)
    return found


def _refuse_not_here(named: Sequence[tuple[str, Container]], whole: set[int]) -> None:
    faults: list[Fault] = []
    seen: set[int] = set()
    for pointer, box in named:
        is_part = not pointer.startswith("/containers")
        if box.place is None or not box.place.is_stock:
            faults.append(Fault(pointer, str(box), f"is at {box.place or 'no place'}, not in our hands"))
        elif box.pk in (whole if is_part else seen):
            faults.append(Fault(pointer, str(box), "is named twice; it goes back whole or in part"))
        if not is_part:
            seen.add(box.pk)
    if faults:
        raise BadLine.of(faults)
