"""What comes in: goods received from a supplier, or furnished by a customer."""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime
from uuid import UUID

from inventory.errors import Fault
from inventory.models import Actor, Container, Entry, Material, Movement, Party, Place
from inventory.queries.company import get_company_party
from inventory.services.lines import BadLine, owner_at, quantity_of, require_kind
from inventory.services.posting import End, Flow, Posting, post
from inventory.units import Amount


@dataclass(frozen=True)
class ReceiptLine:
    """So much of a material put to an end, for its whole cost in millionths of the currency.

    An unsaved container (a new drum, reel or lot) is saved with the entry. Goods of others cost nothing.
    """

    material: Material
    amount: Amount
    target: End
    cost: int
    lot: Container | None = None


def receive(
    *,
    id: UUID,
    by: Actor,
    occurred_at: datetime,
    source: Place,
    lines: Sequence[ReceiptLine],
    empties: Sequence[Container] = (),
    reason: str = "",
    document: str = "",
) -> Entry:
    """Record what came, with the containers it came in; `empties` are new containers that hold nothing."""
    require_kind(source, {Place.Kind.SUPPLIER, Place.Kind.CUSTOMER}, pointer="/source")
    flows = []
    company = get_company_party()
    for number, line in enumerate(lines):
        require_kind(line.target.place, Place.STOCK_KINDS, pointer=f"/lines/{number}/target")
        owner = owner_at(line.target, company=company)
        quantity = quantity_of(line.amount, line.material, pointer=f"/lines/{number}/amount")
        _check_cost_and_lot(line, owner, pointer=f"/lines/{number}")
        flows.append(
            Flow(
                material=line.material,
                quantity=quantity,
                source=End(source),
                target=line.target,
                purpose=Movement.Purpose.RECEIVED,
                owner=owner,
                value=line.cost if owner.is_company else 0,
                lot=line.lot,
                entered=line.amount,
            )
        )
    named = [line.target.container for line in lines] + [line.lot for line in lines] + list(empties)
    fresh = {
        container.label: container for container in named if container is not None and container._state.adding
    }
    posting = Posting(
        uuid=id,
        kind=Entry.Kind.RECEIPT,
        occurred_at=occurred_at,
        by=by,
        flows=tuple(flows),
        new_containers=tuple(fresh.values()),
        reason=reason,
        document=document,
        extra={"empties": " ".join(sorted(container.label for container in empties))},
    )
    return post(posting)


def _check_cost_and_lot(line: ReceiptLine, owner: Party, *, pointer: str) -> None:
    """Refuse a cost below nothing, and a layer in which these goods could not lie."""
    if line.cost < 0:
        raise BadLine.of([Fault(f"{pointer}/cost", str(line.cost), "cannot be less than nothing")])
    lot = line.lot
    if lot is None:
        return
    if lot.kind != Container.Kind.LOT:
        message = f"is a {lot.get_kind_display()}, not a lot; name it as the container that the goods are in"
    elif lot.material_id != line.material.pk:
        message = f"is a lot of {lot.material}, not of {line.material}"
    elif lot.owner_id != owner.pk:
        message = f"is a lot of {lot.owner}, and these goods are of {owner}"
    else:
        return
    raise BadLine.of([Fault(f"{pointer}/lot", str(lot), message)])
