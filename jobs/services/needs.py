"""Telling inventory what planned crew-days will need, so that restocking can see ahead."""

from collections.abc import Iterable, Sequence

from django.db.models import Q, QuerySet

from inventory.models import Party
from inventory.services.posting.rows import Statement, run_statements
from inventory.services.requirements import (
    NeededMaterial,
    forget_requirements,
    replace_many_requirements,
)
from inventory.services.reservations import forget_reservations
from jobs.models import CrewDay, Job
from jobs.queries.catalogue import load_catalogue
from jobs.queries.day_needs import DayNeeds, Need, compute_needs_of_days
from jobs.queries.day_work import DayWork, load_day_work
from jobs.queries.jobs import get_policy
from jobs.services.kits.promises import refresh_promises
from jobs.services.kits.vessel_needs import VesselNeeds

# What is loaded is still in the area whose stock restocking looks at, so it is needed until the work is done.
FORWARD_STATES = (
    CrewDay.State.PLANNED,
    CrewDay.State.AGREED,
    CrewDay.State.LOADED,
    CrewDay.State.OUT,
)
KEYS_AT_ONCE = 5_000
WHY_LENGTH = 300


def write_needs(crew_days: Iterable[CrewDay]) -> None:
    """Replace what these days need by what their steps now say."""
    keys = [day.pk for day in crew_days]
    days = list(CrewDay.objects.filter(pk__in=keys).select_related("crew", "vehicle", "warehouse"))
    store_needs(zip(days, compute_needs(load_day_work(days)), strict=True))
    refresh_promises(days)


def write_needs_ahead() -> None:
    """Tell anew what all days ahead need: what the company reckons with has changed."""
    write_needs(_days_ahead())


def compute_needs(works: Sequence[DayWork]) -> list[DayNeeds | None]:
    """What each of these days needs; None where it is not ahead, or there is no company to own anything."""
    company = Party.objects.filter(is_company=True).first()
    if not works or company is None:
        return [None] * len(works)
    catalogue = load_catalogue(get_policy(), company)
    ahead = [work for work in works if work.crew_day.state in FORWARD_STATES]
    found = iter(compute_needs_of_days(ahead, catalogue=catalogue))
    return [next(found) if work.crew_day.state in FORWARD_STATES else None for work in works]


def store_needs(needs_of_days: Iterable[tuple[CrewDay, DayNeeds | None]]) -> None:
    """Tell inventory what stored days need; it may have been worked out before they were stored."""
    vessels = VesselNeeds()
    rows = {
        day.requirement_reference: (
            [*_make_rows(needs, day), *vessels.of(needs, day)] if needs is not None else []
        )
        for day, needs in needs_of_days
    }
    replace_many_requirements(rows_by_reference=rows)


def drop_needs(references: Iterable[str]) -> None:
    """Forget what days that are no longer planned would have needed, and what was promised to them."""
    run_statements(*drop_needs_statements(list(references)))


def drop_needs_statements(references: Sequence[str]) -> list[Statement]:
    """The same as statements, for whoever writes more in one message."""
    return [forget_reservations(references), forget_requirements(references)]


def write_needs_of_job(job: Job) -> None:
    """Tell anew what the days need on which something of this job is planned."""
    write_needs(_days_ahead().filter(Q(steps__span__job=job) | Q(steps__run__job=job)).distinct())


def find_days_ahead(*, span_keys: list[int], run_keys: list[int]) -> list[CrewDay]:
    """The days ahead on which one of these spans or runs is planned."""
    found: dict[int, CrewDay] = {}
    for field, keys in (("steps__span__in", span_keys), ("steps__run__in", run_keys)):
        for start in range(0, len(keys), KEYS_AT_ONCE):
            chunk = keys[start : start + KEYS_AT_ONCE]
            found.update({day.pk: day for day in _days_ahead().filter(**{field: chunk}).distinct()})
    return list(found.values())


def _days_ahead() -> QuerySet[CrewDay]:
    return CrewDay.objects.filter(state__in=FORWARD_STATES).select_related("crew").order_by("pk")


def _make_rows(needs: DayNeeds, day: CrewDay) -> list[NeededMaterial]:
    return [_make_row(need, day) for need in needs.needs if need.material is not None]


def _make_row(need: Need, day: CrewDay) -> NeededMaterial:
    assert need.material is not None
    assert need.owner is not None
    return NeededMaterial(
        material=need.material,
        owner=need.owner,
        place=day.warehouse,
        needed_date=day.date,
        mean=need.mean,
        variance=need.variance,
        returned_material=need.returned_material,
        returned_mean=need.returned,
        returned_variance=need.returned_variance,
        returned_date=day.date if need.returned_material else None,
        why=need.why[:WHY_LENGTH],
    )
