"""Stock-taking: what was found, at the moment it was found."""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime
from uuid import UUID

from inventory.errors import Fault
from inventory.models import Actor, Entry, Material, Party, Place
from inventory.services.lines import BadLine, owner_at, require_kind, stored_quantity
from inventory.services.posting import ContainerWish, CountLine, End, Posting, post
from inventory.services.write_off_limit import ask_afterwards
from inventory.units import Amount


@dataclass(frozen=True)
class Found:
    """How much of a material was found at an end; nothing is a finding too."""

    material: Material
    amount: Amount
    end: End
    owner: Party | None = None


def count(
    *,
    id: UUID,
    by: Actor,
    occurred_at: datetime,
    found: Sequence[Found],
    wishes: Sequence[ContainerWish] = (),
    reason: str = "",
    document: str = "",
) -> Entry:
    """Record a count. Differences go to variance; later events of earlier moments come out of them.

    `wishes` are what was seen of containers beside their contents: another state, an empty one's place.
    A loss above the write-off limit is booked, since it happened, and a second person is asked to look.
    """
    lines, faults = [], []
    for number, line in enumerate(found):
        require_kind(line.end.place, Place.STOCK_KINDS, pointer=f"/found/{number}/place")
        quantity = stored_quantity(line.amount, line.material.stock_unit, pointer=f"/found/{number}/amount")
        if quantity < 0:
            faults.append(Fault(f"/found/{number}/amount", str(line.amount), "cannot be less than nothing"))
        owner = line.owner or owner_at(line.end)
        if line.end.container is not None and line.end.container.owner_id != owner.pk:
            faults.append(Fault(f"/found/{number}/owner", str(owner), f"does not own {line.end.container}"))
        lines.append(CountLine(line.end, line.material, owner, quantity, line.amount))
    seen: set[tuple[int, int, int, int]] = set()
    for number, row in enumerate(lines):
        key = (row.end.place.pk, row.end.container_id, row.material.pk, row.owner.pk)
        if key in seen:
            faults.append(Fault(f"/found/{number}", str(row.material), "is counted twice; give one line"))
        seen.add(key)
    if faults:
        raise BadLine.of(faults)
    if not lines and not wishes:
        raise BadLine("A count needs at least one line.")
    posting = Posting(
        uuid=id,
        kind=Entry.Kind.COUNT,
        occurred_at=occurred_at,
        by=by,
        counts=tuple(lines),
        wishes=tuple(wishes),
        reason=reason,
        document=document,
        check=ask_afterwards,
    )
    return post(posting)
