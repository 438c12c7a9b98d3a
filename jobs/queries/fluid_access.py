"""Who may see and do what with recovered fluid, goods held back, waste, deposits, core and rates."""

from collections.abc import Iterable
from uuid import UUID

from django.db.models import Prefetch, Q, QuerySet

from inventory.errors import NotFound
from inventory.models import (
    Actor,
    Container,
    Deposit,
    DepositTerms,
    Entry,
    FluidLimit,
    FluidRelease,
    FluidTest,
    Holding,
    Movement,
    Place,
    Quarantine,
    QuarantineHold,
    WasteDrum,
    WasteManifest,
)
from inventory.queries.access import (
    NotAllowed,
    require_may_post,
    visible_containers,
    visible_entries,
    visible_holdings,
)
from inventory.queries.recovered_fluid import list_empties_to_return, list_recovered_fluid
from jobs.models import (
    RecoveryDrift,
    RecoveryRate,
    ScrapLot,
    ScrapPart,
    ScrapShare,
    ScrapTerms,
    WasteHandover,
)
from jobs.queries.access import WorkViewer, require_sees_all_work, visible_jobs
from jobs.queries.field_reports import visible_reports
from jobs.queries.recovery_rates import list_drifts

# Whose word on a sample counts, and who may hold goods back: to hold too much does no harm.
TESTS_FLUID = frozenset({"stores", "safety", "admin"})
HOLDS_GOODS = TESTS_FLUID | {"crew"}
SETS_CORE = frozenset({"stores", "planner", "accounts", "admin"})
GATHERS_CORE = frozenset({"stores", "crew", "admin"})
WEIGHS_CORE = frozenset({"stores", "admin"})
SELLS_CORE = frozenset({"stores", "accounts", "admin"})
KEEPS_DEPOSITS = frozenset({"stores", "accounts", "admin"})
LOOKS_AT_DRIFTS = frozenset({"stores", "planner", "safety", "admin"})
SETS_RULES = frozenset({"safety", "admin"})


def require_role(viewer: WorkViewer, roles: Iterable[str], what: str) -> None:
    """Refuse whoever is of none of these roles; `what` they may not do."""
    if viewer.role not in roles:
        raise NotAllowed(f"Your role may not {what}.")


def require_may_handle(viewer: WorkViewer, containers: Iterable[Container | None]) -> None:
    """Refuse whoever does not answer for what these vessels hold."""
    ends = [(box.place, None) for box in containers if box is not None]
    require_may_post(viewer, Entry.Kind.REPORT, ends)


def require_places_handled(viewer: WorkViewer, places: Iterable[Place]) -> None:
    """Refuse whoever does not answer for the goods in these places."""
    require_may_post(viewer, Entry.Kind.REPORT, [(place, None) for place in places])


def require_may_hand_over(viewer: WorkViewer, containers: Iterable[Container]) -> None:
    """Refuse whoever may not let these vessels leave as waste."""
    require_may_post(viewer, Entry.Kind.DISPOSAL, [(box.place, None) for box in containers])


def require_may_send_back(viewer: WorkViewer, containers: Iterable[Container]) -> None:
    """Refuse whoever may not send these empties to their supplier."""
    require_role(viewer, KEEPS_DEPOSITS - {"accounts"}, "send empties back")
    require_may_post(viewer, Entry.Kind.RETURN, [(box.place, None) for box in containers])


def require_sees_money(viewer: WorkViewer) -> None:
    if not viewer.may_see_money:
        raise NotAllowed("Your role does not see what things cost.")


def visible_recovered_fluid(viewer: WorkViewer) -> QuerySet[Holding]:
    """Recovered fluid in vessels that stand where the viewer sees into."""
    return list_recovered_fluid(visible_holdings(viewer))


def visible_fluid_tests(viewer: WorkViewer) -> QuerySet[FluidTest]:
    rows = FluidTest.objects.filter(container__in=visible_containers(viewer))
    return rows.select_related("container", "material", "by").prefetch_related("results")


def visible_fluid_releases(viewer: WorkViewer) -> QuerySet[FluidRelease]:
    rows = FluidRelease.objects.filter(container__in=visible_containers(viewer))
    return rows.select_related("container", "entry", "test", "by")


def visible_fluid_limits() -> QuerySet[FluidLimit]:
    """Every limit, withdrawn ones among them: a test of long ago is read beside what held then."""
    return FluidLimit.objects.select_related("material", "approved_by")


def get_visible_test(viewer: WorkViewer, id: UUID) -> FluidTest:
    found = visible_fluid_tests(viewer).filter(uuid=id).first()
    if found is None:
        raise NotFound("There is no fluid test of that id.")
    return found


def visible_quarantines(viewer: WorkViewer) -> QuerySet[Quarantine]:
    """Quarantines that hold something the viewer sees."""
    rows = Quarantine.objects.select_related("container", "opened_by", "caused_by", "lifted_by")
    if viewer.places is None:
        return rows
    seen = visible_containers(viewer)
    held = QuarantineHold.objects.filter(container__in=seen)
    return rows.filter(Q(container__in=seen) | Q(pk__in=held.values("quarantine")))


def get_visible_quarantine(viewer: WorkViewer, id: UUID | None) -> Quarantine:
    found = visible_quarantines(viewer).filter(uuid=id).first() if id is not None else None
    if found is None:
        raise NotFound("There is no quarantine of that id.")
    return found


def nameable_actors(viewer: WorkViewer) -> QuerySet[Actor]:
    """Whom the viewer may name as having done something; a crew names nobody but itself."""
    people = Actor.objects.filter(kind=Actor.Kind.PERSON)
    if viewer.crews is None:
        return people
    return people.filter(pk=viewer.actor) if viewer.actor is not None else people.none()


def visible_waste_drums(viewer: WorkViewer) -> QuerySet[WasteDrum]:
    rows = WasteDrum.objects.filter(container__in=visible_containers(viewer))
    return rows.select_related("container__place", "container__material", "started_by", "manifest")


def visible_manifests(viewer: WorkViewer) -> QuerySet[WasteManifest]:
    """Manifests of hand-overs of which the viewer sees a line, and those its reports told of."""
    rows = WasteManifest.objects.select_related("entry", "by")
    if viewer.places is None:
        return rows
    told = WasteHandover.objects.filter(report__in=visible_reports(viewer), report__is_undone=False)
    return rows.filter(Q(entry__in=visible_entries(viewer)) | Q(number__in=told.values("manifest_number")))


def with_goods(rows: QuerySet[WasteManifest]) -> QuerySet[WasteManifest]:
    """The same manifests with what went under them, in a number of queries that does not grow with them.

    A report's entry moves other goods too, which are not waste.
    """
    moved = Movement.objects.filter(purpose=Movement.Purpose.DISPOSED)
    lines = moved.select_related("material", "source_container").order_by("line")
    return rows.select_related("entry", "by").prefetch_related(Prefetch("entry__movements", lines))


def visible_deposits(viewer: WorkViewer) -> QuerySet[Deposit]:
    """All deposits, for who sees money."""
    require_sees_money(viewer)
    return Deposit.objects.select_related("container", "supplier", "return_entry")


def visible_empties(viewer: WorkViewer) -> QuerySet[Deposit]:
    """Open deposits whose vessel holds nothing, for who sees money."""
    require_sees_money(viewer)
    return list_empties_to_return().select_related("container", "supplier", "return_entry")


def visible_deposit_terms(viewer: WorkViewer) -> QuerySet[DepositTerms]:
    require_sees_money(viewer)
    return DepositTerms.objects.select_related("supplier")


def visible_rates(viewer: WorkViewer) -> QuerySet[RecoveryRate]:
    """Rates of all crews, for who sees the days of all."""
    require_sees_all_work(viewer)
    return RecoveryRate.objects.all()


def visible_drifts(viewer: WorkViewer) -> QuerySet[RecoveryDrift]:
    require_sees_all_work(viewer)
    return list_drifts()


def visible_lots(viewer: WorkViewer) -> QuerySet[ScrapLot]:
    """Lots with their parts and shares, for who sees the work of all: a lot mixes jobs."""
    require_sees_all_work(viewer)
    parts = ScrapPart.objects.select_related("job", "span", "cable_size", "added_by")
    shares = ScrapShare.objects.select_related("job", "owner")
    return ScrapLot.objects.select_related("weighed_by", "sold_by").prefetch_related(
        Prefetch("parts", parts), Prefetch("shares", shares)
    )


def get_visible_lot(viewer: WorkViewer, label: str) -> ScrapLot:
    found = visible_lots(viewer).filter(label=label).first()
    if found is None:
        raise NotFound("There is no lot of that label.")
    return found


def visible_scrap_terms(viewer: WorkViewer) -> QuerySet[ScrapTerms]:
    rows = ScrapTerms.objects.filter(job__in=visible_jobs(viewer))
    return rows.select_related("job", "owner")
