"""Who may see findings, incidents, claims and tagged fittings."""

from uuid import UUID

from django.db.models import Q, QuerySet

from inventory.errors import NotFound
from inventory.models import TaggedFitting
from inventory.queries.access import NotAllowed, lies_within
from jobs.models import Incident, PressureLimit, RuleFinding
from jobs.queries.access import WorkViewer

KEEPS_FITTINGS = frozenset({"stores", "safety", "admin"})
INSPECTS_FITTINGS = KEEPS_FITTINGS | {"crew"}


def visible_findings(viewer: WorkViewer) -> QuerySet[RuleFinding]:
    """Findings of the days of crews whose days the viewer sees."""
    rows = RuleFinding.objects.select_related(
        "report", "crew_day__crew", "span__job", "run__job", "container", "fitting", "caused_by", "lifted_by"
    )
    return rows if viewer.crews is None else rows.filter(crew_day__crew__in=viewer.crews)


def get_visible_finding(viewer: WorkViewer, id: UUID) -> RuleFinding:
    found = visible_findings(viewer).filter(uuid=id).first()
    if found is None:
        raise NotFound("There is no finding of that id.")
    return found


def visible_incidents(viewer: WorkViewer) -> QuerySet[Incident]:
    """Incidents of the days of crews whose days the viewer sees, and those it told of."""
    rows = Incident.objects.select_related(
        "report", "crew_day__crew", "job", "span", "run", "access_point", "material", "liable_party", "by",
        "closed_by",
    )  # fmt: skip
    if viewer.crews is None:
        return rows
    return rows.filter(Q(crew_day__crew__in=viewer.crews) | Q(by=viewer.actor))


def get_visible_incident(viewer: WorkViewer, id: UUID) -> Incident:
    found = visible_incidents(viewer).filter(uuid=id).first()
    if found is None:
        raise NotFound("There is no incident of that id.")
    return found


def visible_limits() -> QuerySet[PressureLimit]:
    """Every approved pressure, withdrawn ones among them: whoever works under pressure must know it."""
    return PressureLimit.objects.select_related("approved_by", "withdrawn_by")


def visible_fittings(viewer: WorkViewer) -> QuerySet[TaggedFitting]:
    """Tagged fittings in places the viewer sees into."""
    rows = TaggedFitting.objects.select_related("material", "recipe", "place", "approved_by")
    return rows if viewer.places is None else rows.filter(lies_within(viewer.places, "place"))


def get_visible_fitting(viewer: WorkViewer, tag: str) -> TaggedFitting:
    found = visible_fittings(viewer).filter(tag=tag).first()
    if found is None:
        raise NotFound("There is no fitting of that tag.")
    return found


def require_may_keep_fittings(viewer: WorkViewer) -> None:
    if viewer.role not in KEEPS_FITTINGS:
        raise NotAllowed("Your role does not keep tagged fittings.")


def require_may_inspect_fittings(viewer: WorkViewer) -> None:
    if viewer.role not in INSPECTS_FITTINGS:
        raise NotAllowed("Your role does not inspect tagged fittings.")


def require_may_see_claims(viewer: WorkViewer) -> None:
    """A claim is about money."""
    if not viewer.may_see_money:
        raise NotAllowed("Your role does not see what things cost.")
