"""Who does what on which day."""

from datetime import date

from inventory.errors import BadInput, Fault
from jobs.models import CrewDay
from jobs.queries.day_work import load_day_work
from jobs.queries.sheet_steps import PlannedCrewDay, list_steps


def list_schedule(
    *, from_date: date, to_date: date | None = None, crew_code: str = ""
) -> list[PlannedCrewDay]:
    """The days from one date to another (or on), of one crew or of all, by date and crew."""
    if to_date is not None and to_date < from_date:
        message = f"is before the first day, {from_date}; exchange the two"
        raise BadInput.of([Fault("to", str(to_date), message)])
    days = CrewDay.objects.filter(date__gte=from_date).select_related("crew", "vehicle", "warehouse")
    if to_date is not None:
        days = days.filter(date__lte=to_date)
    if crew_code:
        days = days.filter(crew__code=crew_code)
    return [
        PlannedCrewDay(
            crew_code=work.crew_day.crew.code,
            crew_name=work.crew_day.crew.name,
            date=work.crew_day.date,
            vehicle=work.crew_day.vehicle.name,
            warehouse=work.crew_day.warehouse.name,
            state=work.crew_day.state,
            steps=list_steps(work),
        )
        for work in load_day_work(days.order_by("date", "crew__code"))
    ]
