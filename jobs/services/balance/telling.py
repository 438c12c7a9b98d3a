"""Telling safety, the same day, that more fluid is unaccounted for than the company allows itself."""

from uuid import uuid5

from django.utils import timezone

from inventory.models import Movement
from inventory.services.sealing import record_event
from inventory.units import format_millionths
from jobs.models import CrewDay, FluidBalance, Incident
from jobs.models.balance import BALANCES
from jobs.queries.fluid_figures import COVERAGE

EVENT_KIND = "fluid_unaccounted"


def tell_unaccounted(row: FluidBalance, day: CrewDay) -> None:
    """Open an incident, once for a day and fluid, and note the event for whoever follows the changes.

    Only where the amount is above the limit and above nothing too, by its own uncertainty: what the readings
    cannot tell from nothing is no reason to send somebody out.
    """
    amount, uncertainty = row.unaccounted, row.unaccounted_uncertainty
    if not row.is_above_limit or amount is None or uncertainty is None or row.limit is None:
        return
    half = round(COVERAGE * uncertainty)
    if amount - half <= 0:
        return
    unit, closing = row.fluid.stock_unit, row.balance
    written = format_millionths(amount, unit)
    note = (
        f"{written} of {row.fluid} cannot be accounted for on the day of crew {day.crew.code}, "
        f"{day.date}; the company's limit is {format_millionths(row.limit, unit)}."
    )
    Incident.objects.get_or_create(
        uuid=uuid5(BALANCES, f"unaccounted:{day.pk}:{row.fluid_id}"),
        defaults={
            "fingerprint": closing.reports_hash,
            "kind": Incident.Kind.UNACCOUNTED,
            "occurred_at": closing.closed_at,
            "recorded_at": timezone.now(),
            "by": closing.by,
            "crew_day": day,
            "material": row.fluid,
            "amount": amount,
            "amount_low": max(amount - half, 0),
            "amount_high": amount + half,
            "cause": Movement.Cause.UNKNOWN,
            "note": note,
        },
    )
    record_event(
        id=uuid5(closing.entry_id, f"unaccounted:{row.fluid_id}"),
        kind=EVENT_KIND,
        occurred_at=closing.closed_at,
        body={
            "crew": day.crew.code,
            "date": day.date.isoformat(),
            "revision": closing.revision,
            "fluid": row.fluid.code,
            "unaccounted": written,
            "limit": format_millionths(row.limit, unit),
        },
    )
