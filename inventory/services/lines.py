"""What the services that move goods have in common: a line, its owner, its checks."""

from collections.abc import Callable, Collection, Sequence
from dataclasses import dataclass
from datetime import datetime
from uuid import UUID

from inventory.errors import BadInput, Fault
from inventory.models import Actor, Container, Entry, Material, Movement, Party, Place
from inventory.queries.company import get_company_party
from inventory.services.posting import REST, ContainerWish, End, Flow, Posting, Rest, post
from inventory.units import Amount, naming_the_amount, to_millionths


class WrongPlace(BadInput):
    """Goods cannot go that way: the place is of another kind than this act needs."""

    code = "wrong_place"


class OwnersDiffer(BadInput):
    """Goods of one owner would be put into a container of another."""

    code = "owners_differ"


class BadLine(BadInput):
    """A line says nothing, or less than nothing."""

    code = "bad_line"


@dataclass(frozen=True)
class Line:
    """So much of a material from one end to the other; `REST` takes whatever is there."""

    material: Material
    amount: Amount | Rest
    source: End
    target: End
    purpose: Movement.Purpose | None = None
    cause: str = ""


def owner_at(*ends: End, company: Party | None = None) -> Party:
    """Return whose goods these are: the containers say so, loose goods are the company's.

    Whoever asks for many lines gives the company, so that it is read once.
    """
    containers = {end.container.owner_id: end.container for end in ends if end.container is not None}
    if len(containers) > 1:
        names = " and ".join(sorted(container.owner.name for container in containers.values()))
        raise OwnersDiffer(f"These containers belong to {names}. Goods stay with their owner.")
    company = company or get_company_party()
    for owner_id, container in containers.items():
        return company if owner_id == company.pk else container.owner
    return company


def quantity_of(amount: Amount | Rest, material: Material, *, pointer: str) -> int | Rest:
    """Return the amount in millionths of the material's stock unit; nothing and less are refused."""
    if isinstance(amount, Rest):
        return amount
    quantity = stored_quantity(amount, material.stock_unit, pointer=pointer)
    if quantity <= 0:
        message = "must be more than nothing; leave the line out, or reverse the entry that was wrong"
        raise BadLine.of([Fault(pointer, str(amount), message)])
    return quantity


def stored_quantity(amount: Amount, stock_unit: str, *, pointer: str) -> int:
    """Return the amount in millionths of the stock unit; what cannot be is named by its pointer."""
    with naming_the_amount(pointer, str(amount)):
        return to_millionths(amount, stock_unit)


def require_kind(place: Place, kinds: Collection[str], *, pointer: str) -> None:
    """Refuse a place of a kind that this act does not know."""
    if place.kind not in kinds:
        wanted = ", ".join(sorted(Place.Kind(kind).label for kind in kinds))
        message = f"is a {place.get_kind_display()}; this needs a {wanted}"
        raise WrongPlace.of([Fault(pointer, str(place), message)])


def _require_two_ends(line: Line, *, pointer: str) -> None:
    """Refuse a line that leaves goods where they are, or pours a vessel into itself."""
    box = line.source.container
    if box != line.target.container:
        return
    if line.source.place == line.target.place:
        message = "goes from where it is to where it is; leave the line out"
    elif box is not None and box.stands_somewhere:
        message = "stays in its container; move the container instead"
    else:
        return
    raise BadLine.of([Fault(pointer, str(box or line.source.place), message)])


def post_lines(
    *,
    id: UUID,
    kind: Entry.Kind,
    by: Actor,
    occurred_at: datetime,
    lines: Sequence[Line],
    purpose: Movement.Purpose,
    source_kinds: Collection[str],
    target_kinds: Collection[str],
    wishes: tuple[ContainerWish, ...] = (),
    is_plan: bool,
    holder: str = "",
    reason: str = "",
    document: str = "",
    check: Callable[[Entry], None] | None = None,
) -> Entry:
    """Check every line's ends and amounts, then post them as one entry."""
    flows = []
    company = get_company_party()
    for number, line in enumerate(lines):
        pointer = f"/lines/{number}"
        require_kind(line.source.place, source_kinds, pointer=f"{pointer}/source")
        require_kind(line.target.place, target_kinds, pointer=f"{pointer}/target")
        _require_two_ends(line, pointer=pointer)
        flows.append(
            Flow(
                material=line.material,
                quantity=quantity_of(line.amount, line.material, pointer=f"{pointer}/amount"),
                source=line.source,
                target=line.target,
                purpose=line.purpose or purpose,
                owner=owner_at(line.source, line.target, company=company),
                cause=line.cause,
                entered=None if isinstance(line.amount, Rest) else line.amount,
            )
        )
    if not flows and not wishes:
        raise BadLine("There is nothing to move; give at least one line or container.")
    posting = Posting(
        uuid=id,
        kind=kind,
        occurred_at=occurred_at,
        by=by,
        flows=tuple(flows),
        wishes=wishes,
        is_plan=is_plan,
        holder=holder,
        reason=reason,
        document=document,
        check=check,
    )
    return post(posting)


__all__ = [
    "REST",
    "BadLine",
    "Container",
    "End",
    "Line",
    "OwnersDiffer",
    "Rest",
    "WrongPlace",
    "owner_at",
    "post_lines",
    "quantity_of",
    "require_kind",
    "stored_quantity",
]
