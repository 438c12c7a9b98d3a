"""From lines of the restock list to written orders."""

from collections.abc import Sequence
from datetime import date, datetime
from uuid import UUID

from inventory.errors import BadInput, Fault
from inventory.models import Actor, Order, Place
from inventory.queries.order_proposals import propose_orders
from inventory.queries.restock import list_restock
from inventory.services.orders.joint import Wanted, write_joint_orders

REASON_LENGTH = 500


def write_orders_from_list(
    *,
    id: UUID,
    by: Actor,
    occurred_at: datetime,
    as_of: date,
    place: Place | None,
    materials: Sequence[str] = (),
    suppliers: Sequence[str] = (),
    lines: Sequence[tuple[str, str]] = (),
    own_places: frozenset[int] | None = None,
    horizon_days: int = 28,
) -> list[Order]:
    """Write the lines of these materials, and all lines of these suppliers, as orders; none is sent yet.

    `lines` names single lines by the codes of their place and material.

    What one supplier brings to one warehouse is one order, in the quantities that are best for what is
    ordered together. The list is made anew, so that what was ordered meanwhile is not ordered twice. Of
    warehouses that are not among `own_places` nothing is ordered.

    Raises
    ------
    BadInput
        If a material or supplier has no line that can be ordered; nothing is written.
    """
    known = list(Order.objects.filter(lines__why__startswith=_mark(id)).distinct().order_by("pk"))
    if known:
        return known
    cover = min(14, horizon_days)
    found = list_restock(as_of=as_of, place=place, horizon_days=horizon_days, cover_days=cover)
    orderable = [
        line
        for line in found.lines
        if line.terms is not None and (own_places is None or line.place.pk in own_places)
    ]
    faults = [
        *_faults("/materials", materials, {line.material.code for line in orderable}),
        *_faults("/suppliers", suppliers, {line.terms.supplier.code for line in orderable if line.terms}),
    ]
    known_lines = {(line.place.code, line.material.code) for line in orderable}
    faults += _faults("/lines", [" ".join(name) for name in lines], {" ".join(name) for name in known_lines})
    if not materials and not suppliers and not lines:
        faults = [Fault("/materials", "", "must name at least one, or suppliers must")]
    if faults:
        raise BadInput.of(faults)
    chosen = [
        line
        for line in orderable
        if line.material.code in materials
        or (line.place.code, line.material.code) in lines
        or (line.terms and line.terms.supplier.code in suppliers)
    ]
    wanted = [
        Wanted(
            order.place,
            row.line.material,
            row.quantity,
            order.supplier,
            f"{_mark(id)}: {row.line.why}"[:REASON_LENGTH],
        )
        for order in propose_orders(chosen)
        for row in order.lines
    ]
    return write_joint_orders(id=id, by=by, occurred_at=occurred_at, wanted=wanted)


def _faults(pointer: str, named: Sequence[str], known: set[str]) -> list[Fault]:
    return [
        Fault(f"{pointer}/{number}", code, "has no line with known terms on today's list")
        for number, code in enumerate(named)
        if code not in known
    ]


def _mark(id: UUID) -> str:
    return f"Restock list {str(id)[:8]}"
