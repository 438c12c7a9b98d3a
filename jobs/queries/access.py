"""Who may see which work: the only way in which a door gets at the rows of jobs."""

from collections.abc import Collection
from dataclasses import dataclass
from datetime import date

from django.db.models import QuerySet

from inventory.errors import NotFound
from inventory.models import Entry, Place
from inventory.queries.access import NotAllowed, Viewer
from jobs.models import AccessPoint, Crew, CrewDay, Job, Run, Span

# Who decides what is done when, and who puts it onto trucks.
PLANNING_ROLES = ("planner", "admin")
LOADING_ROLES = ("crew", "stores", "admin")


@dataclass(frozen=True, kw_only=True)
class WorkViewer(Viewer):
    """A viewer of work: `crews` are whose days it sees, None for all. Jobs are seen by their places."""

    crews: frozenset[int] | None
    # A word of the rules of the trade, which say who may lift what they found.
    role: str = ""


def visible_jobs(viewer: WorkViewer) -> QuerySet[Job]:
    """Jobs whose place the viewer sees into."""
    jobs = Job.objects.select_related("customer", "place", "fibre", "fibre_owner")
    return jobs if viewer.places is None else jobs.filter(place__in=viewer.places)


def visible_runs(viewer: WorkViewer) -> QuerySet[Run]:
    runs = Run.objects.filter(is_withdrawn=False)
    return runs if viewer.places is None else runs.filter(job__place__in=viewer.places)


def visible_spans(viewer: WorkViewer) -> QuerySet[Span]:
    spans = Span.objects.filter(is_withdrawn=False)
    return spans if viewer.places is None else spans.filter(job__place__in=viewer.places)


def visible_access_points(viewer: WorkViewer) -> QuerySet[AccessPoint]:
    points = AccessPoint.objects.all()
    return points if viewer.places is None else points.filter(job__place__in=viewer.places)


def visible_crew_days(viewer: WorkViewer) -> QuerySet[CrewDay]:
    days = CrewDay.objects.select_related("crew", "vehicle", "warehouse")
    return days if viewer.crews is None else days.filter(crew__in=viewer.crews)


def visible_crews(viewer: WorkViewer) -> QuerySet[Crew]:
    crews = Crew.objects.select_related("vehicle", "warehouse")
    return crews if viewer.crews is None else crews.filter(pk__in=viewer.crews)


def require_may_report(viewer: WorkViewer) -> None:
    """Refuse whoever may not tell what was done: those who see a crew's day may not all speak for it."""
    if Entry.Kind.REPORT not in viewer.postable:
        raise NotAllowed("Your role does not report what crews did.")


def require_may_bring_kit_to(viewer: WorkViewer, day: CrewDay, state: str) -> None:
    """Refuse whoever does not decide this of a kit: planners agree, who loads also sends out."""
    if state in (CrewDay.State.PLANNED, CrewDay.State.AGREED):
        if viewer.role not in PLANNING_ROLES:
            raise NotAllowed("Kits are agreed by planners.")
    elif state != CrewDay.State.SETTLED or viewer.role not in PLANNING_ROLES:
        require_may_load(viewer, day)


def require_may_plan(viewer: WorkViewer) -> None:
    """Refuse whoever does not decide who does what on which day."""
    if viewer.role not in PLANNING_ROLES:
        raise NotAllowed("Days are planned by planners.")


def require_may_edit_check_list(viewer: WorkViewer) -> None:
    """Refuse whoever does not say what crews take along and put on."""
    if viewer.role not in (*PLANNING_ROLES, "safety"):
        raise NotAllowed("The check list is kept by planners and safety.")


# What safety says and nobody else: beside limits of pressure what one person lifts, and cautions of our own.
SAFETY_SETTINGS = frozenset({"lifting_limit_kg", "cautions"})


def require_may_change_settings(viewer: WorkViewer, changed: Collection[str]) -> None:
    """Refuse whoever does not decide these settings: planners most, safety what may hurt somebody."""
    if viewer.role not in (*PLANNING_ROLES, "safety"):
        raise NotAllowed("Kits and estimates are set up by planners and safety.")
    if viewer.role == "safety" and not set(changed) <= SAFETY_SETTINGS:
        raise NotAllowed("Safety sets what may be lifted and the cautions; planners set the rest.")
    if viewer.role != "safety" and SAFETY_SETTINGS & set(changed):
        raise NotAllowed("Only the safety role sets what may be lifted and the cautions.")


def require_may_set_cable_sizes(viewer: WorkViewer) -> None:
    """Refuse whoever does not say what a sheath measures."""
    if viewer.role not in PLANNING_ROLES:
        raise NotAllowed("Cable sizes are kept by planners.")


def require_may_load(viewer: WorkViewer, day: CrewDay) -> None:
    """Refuse whoever may not load a kit: its crew, and stores of the warehouse that it comes from."""
    if viewer.role not in LOADING_ROLES:
        raise NotAllowed("Kits are loaded by their crews and by stores.")
    if viewer.role == "stores":
        require_may_print_kits(viewer, day.warehouse)


def require_may_print_kits(viewer: WorkViewer, warehouse: Place) -> None:
    """Refuse whoever does not give out a warehouse's goods."""
    is_own = viewer.own_places is None or warehouse.pk in viewer.own_places
    if viewer.role not in ("stores", "admin") or not is_own:
        raise NotAllowed("Goods there are not in your charge.")


def require_admin(viewer: WorkViewer) -> None:
    """Refuse whoever does not run the service."""
    if viewer.role != "admin":
        raise NotAllowed("Only an admin decides where what happens here is told.")


def require_sees_all_work(viewer: WorkViewer) -> None:
    """Refuse whoever sees the days of some crews only, where all are summed."""
    if viewer.crews is not None:
        raise NotAllowed("This sums up the days of all crews, of which you see your own.")


def get_visible_job(viewer: WorkViewer, reference: str) -> Job:
    job = visible_jobs(viewer).filter(reference=reference).first()
    if job is None:
        raise NotFound("There is no job of that reference.")
    return job


def get_visible_crew_day(viewer: WorkViewer, *, crew_code: str, date: date) -> CrewDay:
    day = visible_crew_days(viewer).filter(crew__code=crew_code, date=date).first()
    if day is None:
        raise NotFound("That crew has nothing planned on that day.")
    return day
