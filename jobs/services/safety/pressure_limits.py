"""Approving and withdrawing pressures. The tool compares with them; it never computes or permits one."""

from datetime import datetime
from uuid import UUID, uuid5

from django.db import transaction

from inventory.errors import BadInput, Fault, NotFound, SpanstockError
from inventory.models import Actor
from inventory.services.sealing import record_event
from inventory.units import Amount, convert
from jobs.models import PressureLimit
from jobs.services.safety.roles import require_safety

LONGEST_NAME = 300


class LimitDiffers(SpanstockError):
    """A limit of that id was approved with other content."""

    code = "limit_differs"


@transaction.atomic
def approve_pressure_limit(
    *,
    id: UUID,
    purpose: str,
    pressure: Amount,
    weakest_part: str,
    by: Actor,
    role: str,
    occurred_at: datetime,
) -> PressureLimit:
    """Note the pressure that safety approved for a purpose; the one that stood until now is withdrawn.

    `weakest_part` says of which hose or fitting it is the limit. Sent again, it gives the first answer.
    """
    require_safety(role)
    limit_kpa = _read(purpose, pressure, weakest_part)
    standing = PressureLimit.objects.filter(uuid=id).first()
    if standing is not None:
        if (standing.purpose, standing.limit_kpa, standing.weakest_part, standing.approved_by_id) != (
            purpose,
            limit_kpa,
            weakest_part,
            by.pk,
        ):
            raise LimitDiffers("A limit of that id was approved with other content; make a new id.")
        return standing
    former = PressureLimit.objects.select_for_update().filter(purpose=purpose, withdrawn_at__isnull=True)
    former.update(withdrawn_at=occurred_at, withdrawn_by=by)
    limit = PressureLimit.objects.create(
        uuid=id,
        purpose=purpose,
        limit_kpa=limit_kpa,
        entered_value=f"{pressure.value:f}",
        entered_unit=pressure.unit,
        weakest_part=weakest_part,
        approved_by=by,
        approved_at=occurred_at,
    )
    _tell("pressure_limit_approved", limit, id, by, occurred_at)
    return limit


@transaction.atomic
def withdraw_pressure_limit(*, purpose: str, by: Actor, role: str, occurred_at: datetime) -> PressureLimit:
    """Withdraw the limit that stands for a purpose: from then on no limit is approved."""
    require_safety(role)
    found = PressureLimit.objects.select_for_update().filter(purpose=purpose, withdrawn_at__isnull=True)
    limit = found.first()
    if limit is None:
        raise NotFound("No limit is approved for that purpose.")
    limit.withdrawn_at, limit.withdrawn_by = occurred_at, by
    limit.save(update_fields=["withdrawn_at", "withdrawn_by"])
    _tell("pressure_limit_withdrawn", limit, uuid5(limit.uuid, "withdrawn"), by, occurred_at)
    return limit


def _read(purpose: str, pressure: Amount, weakest_part: str) -> float:
    faults = []
    if purpose not in PressureLimit.Purpose.values:
        faults.append(
            Fault("/purpose", purpose[:60], f"is none of: {', '.join(PressureLimit.Purpose.values)}")
        )
    if pressure.dimension != "pressure":
        faults.append(Fault("/pressure/unit", pressure.unit, "is no unit of pressure"))
    elif pressure.value <= 0:
        faults.append(Fault("/pressure/value", f"{pressure.value:f}", "must be above nothing"))
    if not weakest_part.strip() or len(weakest_part) > LONGEST_NAME:
        message = f"must name the weakest hose or fitting in 1 to {LONGEST_NAME} characters"
        faults.append(Fault("/weakest_part", weakest_part[:60], message))
    if faults:
        raise BadInput.of(faults)
    return float(convert(pressure.value, pressure.unit, "kPa"))


def _tell(kind: str, limit: PressureLimit, id: UUID, by: Actor, occurred_at: datetime) -> None:
    body: dict[str, object] = {
        "purpose": limit.purpose,
        "pressure": {"value": limit.entered_value, "unit": limit.entered_unit},
        "weakest_part": limit.weakest_part,
        "by": by.code,
    }
    record_event(id=id, kind=kind, occurred_at=occurred_at, body=body)
