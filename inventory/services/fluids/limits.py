"""What the company lets recovered fluid be: limits of what is measured in it, and what goes untested."""

from dataclasses import dataclass
from datetime import datetime
from math import isfinite

from django.db import transaction

from inventory.errors import BadInput, Fault
from inventory.models import Actor, FluidLimit, FluidPolicy, Material


@dataclass(frozen=True)
class Bounds:
    """Between which values a property must lie; one end may be open."""

    lowest: float | None = None
    highest: float | None = None


@transaction.atomic
def set_fluid_limit(
    *, material: Material, measured: str, unit: str, bounds: Bounds, by: Actor, occurred_at: datetime
) -> FluidLimit:
    """Approve a limit in place of the one that held; the same again changes nothing."""
    _require_recovered(material)
    faults = []
    if not measured.strip():
        faults.append(Fault("/measured", measured, "is needed: what is measured, such as pH"))
    ends = [end for end in (bounds.lowest, bounds.highest) if end is not None]
    if not ends or not all(isfinite(end) for end in ends):
        faults.append(Fault("/lowest", "", "give a lowest value, a highest one or both"))
    elif len(ends) == 2 and ends[0] > ends[1]:
        faults.append(Fault("/lowest", f"{ends[0]:g}", f"is above the highest, {ends[1]:g}"))
    if faults:
        raise BadInput.of(faults)
    standing = (
        FluidLimit.objects.select_for_update()
        .filter(material=material, measured=measured.strip(), withdrawn_at=None)
        .first()
    )
    if standing is not None:
        if (standing.unit, standing.lowest, standing.highest) == (unit, bounds.lowest, bounds.highest):
            return standing
        _withdraw(standing, occurred_at)
    return FluidLimit.objects.create(
        material=material,
        measured=measured.strip(),
        unit=unit,
        lowest=bounds.lowest,
        highest=bounds.highest,
        approved_by=by,
        approved_at=occurred_at,
    )


@transaction.atomic
def withdraw_fluid_limit(*, limit: FluidLimit, occurred_at: datetime) -> FluidLimit:
    """Let a limit hold no longer; fluid is then passed by the others, and by none where none is left."""
    if limit.withdrawn_at is None:
        _withdraw(limit, occurred_at)
    return limit


@transaction.atomic
def set_fluid_policy(
    *, material: Material, may_reuse_same_day: bool, most_uses: int, test_valid_days: int | None = None
) -> FluidPolicy:
    """Say whether strained fluid may go in again untested on the day it came back, and how often."""
    _require_recovered(material)
    if most_uses < 1:
        message = "must be at least 1: fluid that came back has been in once"
        raise BadInput.of([Fault("/most_uses", str(most_uses), message)])
    return FluidPolicy.objects.update_or_create(
        material=material,
        defaults={
            "may_reuse_same_day": may_reuse_same_day,
            "most_uses": most_uses,
            "test_valid_days": test_valid_days,
        },
    )[0]


def _withdraw(limit: FluidLimit, at: datetime) -> None:
    limit.withdrawn_at = at
    limit.save(update_fields=["withdrawn_at"])


def _require_recovered(material: Material) -> None:
    if material.recovered_from_id is None:
        message = "is not the recovered form of a fluid"
        raise BadInput.of([Fault("/material", material.code, message)])
