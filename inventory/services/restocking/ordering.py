"""From lines of the restock list to written orders."""

from collections.abc import Sequence
from datetime import date, datetime
from uuid import UUID

from inventory.errors import BadInput, Fault
from inventory.models import Actor, Order, Place
from inventory.queries.restock import list_restock
from inventory.queries.restock_lines import RestockLine
from inventory.services.orders.joint import Wanted, write_joint_orders

REASON_LENGTH = 500


def write_orders_from_list(
    *,
    id: UUID,
    by: Actor,
    occurred_at: datetime,
    as_of: date,
    place: Place | None,
    materials: Sequence[str],
    horizon_days: int = 28,
) -> list[Order]:
    """Write the lines of these materials as orders, one a supplier and warehouse; none is sent yet.

    The list is made anew, so that what was ordered meanwhile is not ordered twice.

    Raises
    ------
    BadInput
        If a material has no line that can be ordered; nothing is written.
    """
    known = list(Order.objects.filter(lines__why__startswith=_mark(id)).distinct().order_by("pk"))
    if known:
        return known
    cover = min(14, horizon_days)
    found = list_restock(as_of=as_of, place=place, horizon_days=horizon_days, cover_days=cover)
    by_material: dict[str, list[RestockLine]] = {}
    for line in found.lines:
        if line.terms is not None:
            by_material.setdefault(line.material.code, []).append(line)
    faults = [
        Fault(f"/materials/{number}", code, "has no line with known terms on today's list")
        for number, code in enumerate(materials)
        if code not in by_material
    ]
    if faults or not materials:
        raise BadInput.of(faults or [Fault("/materials", "", "must name at least one")])
    wanted = [
        Wanted(
            line.place,
            line.material,
            line.quantity,
            line.terms.supplier if line.terms else None,
            f"{_mark(id)}: {line.why}"[:REASON_LENGTH],
        )
        for code in dict.fromkeys(materials)
        for line in by_material[code]
    ]
    return write_joint_orders(id=id, by=by, occurred_at=occurred_at, wanted=wanted)


def _mark(id: UUID) -> str:
    return f"Restock list {str(id)[:8]}"
