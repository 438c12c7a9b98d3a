"""Telling safety, the same day, that more fluid is unaccounted for than the company allows itself."""

from uuid import uuid5

from inventory.models import Movement
from inventory.units import Amount, format_millionths, from_millionths
from jobs.models import CrewDay, FluidBalance, Incident
from jobs.models.balance import BALANCES
from jobs.queries.fluid_figures import COVERAGE
from jobs.services.safety.incidents import IncidentFacts, open_incident


def tell_unaccounted(row: FluidBalance, day: CrewDay, *, is_closed: bool = True) -> None:
    """Open an incident, once for a day and fluid, which tells safety of it; of a day that is not closed, with
    what is known so far.

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
    so_far = "" if is_closed else " so far"
    note = (
        f"{written} of {row.fluid} cannot be accounted for{so_far} on the day of crew {day.crew.code}, "
        f"{day.date}; the company's limit is {format_millionths(row.limit, unit)}."
    )
    id = uuid5(BALANCES, f"unaccounted:{day.pk}:{row.fluid_id}")
    if Incident.objects.filter(uuid=id).exists():
        return
    low, high = max(amount - half, 0), amount + half
    open_incident(
        id=id,
        by=closing.by,
        occurred_at=closing.closed_at,
        facts=IncidentFacts(
            kind=Incident.Kind.UNACCOUNTED,
            crew_day=day,
            material=row.fluid,
            amount=Amount(from_millionths(amount, unit), unit),
            amount_low=Amount(from_millionths(low, unit), unit),
            amount_high=Amount(from_millionths(high, unit), unit),
            cause=Movement.Cause.UNKNOWN,
            note=note,
        ),
    )
