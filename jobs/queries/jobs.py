"""Finding jobs, crews and the company's estimating policy."""

from datetime import date

from inventory.errors import NotFound
from jobs.models import CableSize, Crew, CrewDay, EstimatingPolicy, Job


def find_job(reference: str) -> Job | None:
    return Job.objects.select_related("place", "customer").filter(reference=reference).first()


def get_job(reference: str) -> Job:
    """The job of that reference, or a refusal that says it is not there."""
    job = find_job(reference)
    if job is None:
        raise NotFound(f"There is no job {reference!r}.")
    return job


def get_crew_day(*, crew_code: str, date: date) -> CrewDay:
    """What a crew does on a day, or a refusal that says when it next has something to do."""
    crew = Crew.objects.filter(code=crew_code).first()
    if crew is None:
        raise NotFound(f"There is no crew {crew_code!r}.")
    days = CrewDay.objects.select_related("crew", "vehicle", "warehouse").filter(crew=crew)
    found = days.filter(date=date).first()
    if found is None:
        following = days.filter(date__gt=date).order_by("date").first()
        hint = f"; its next day is {following.date}" if following else ""
        raise NotFound(f"Crew {crew_code} has nothing planned on {date}{hint}.")
    return found


def get_cable_size(designation: str) -> CableSize:
    """A size of cable by its designation."""
    found = CableSize.objects.filter(designation=designation).first()
    if found is None:
        raise NotFound("There is no cable size of that designation.")
    return found


def get_policy() -> EstimatingPolicy:
    """The company's policy, or the defaults of the trade where nobody has set one down."""
    return EstimatingPolicy.objects.select_related("fluid").first() or EstimatingPolicy()
