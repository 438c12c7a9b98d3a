"""What the rules of the trade have to know beside a report, for the days that a crew takes along on a phone.

The same that the service reads when a report comes in (`jobs/services/rules/reading.py`), of all the days'
runs, reels and fittings at once and in a fixed number of questions.
"""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import datetime

from django.db.models import F, Sum

from inventory.models import (
    Container,
    FittingInspection,
    FittingRigging,
    Holding,
    TaggedFitting,
    TaggedFittingPolicy,
)
from inventory.queries.tagged_fittings import get_tagged_fitting_policy
from inventory.units import MILLION, conversion_factor
from jobs.models import CompanyRules, FieldReport, RuleFinding, Run, RunCleaning, SpanAttempt
from jobs.queries.company_rules import get_company_rules
from jobs.queries.field_days import FieldDay
from jobs.queries.field_fluid import FluidState, find_fluid_state
from jobs.queries.projectiles import Accounted, ProjectileCount, ToldCleaning, count_projectiles
from jobs.queries.reel_directions import find_direction, find_first_marks, list_marked
from jobs.queries.safety import PROJECTILE_STOPS

Key = int


@dataclass(frozen=True)
class RunState:
    """What was fired into a run and came out of it until now, and whether it has been cleaned."""

    run: Run
    count: ProjectileCount
    is_clean: bool


@dataclass(frozen=True)
class ReelState:
    """What the book has on a reel [m], which way its marks run, and between which marks it was unwound:
    first, last, and their unit.
    """

    reel: Container
    held_m: float | None
    direction: int | None
    told: list[tuple[float, float, str]]


@dataclass(frozen=True)
class FittingState:
    """A tagged fitting with its last inspection and when it was last rigged."""

    fitting: TaggedFitting
    inspection: FittingInspection | None
    rigged_at: datetime | None


@dataclass(frozen=True)
class ToldOfDay:
    """What was told of a day before: projectiles fired by others or from elsewhere, stretches of meters."""

    fired: list[RunCleaning]
    metered: list[SpanAttempt]


@dataclass(frozen=True)
class FieldState:
    """All of it; what was told of days is by the keys of the crew-days."""

    rules: CompanyRules
    runs: list[RunState]
    reels: list[ReelState]
    fittings: list[FittingState]
    fitting_policy: TaggedFittingPolicy
    told: dict[Key, ToldOfDay]
    fluid: FluidState


def find_field_state(days: Sequence[FieldDay], *, by: int | None, device: str) -> FieldState:
    """Gather it for days as they are taken along by an actor, named by key, on a device of that name."""
    runs = runs_of(days)
    return FieldState(
        rules=get_company_rules(),
        runs=_list_runs(runs),
        reels=_list_reels(days),
        fittings=_list_fittings(),
        fitting_policy=get_tagged_fitting_policy(),
        told=_find_told(days, by, device),
        fluid=find_fluid_state(days, runs),
    )


def runs_of(days: Iterable[FieldDay]) -> dict[Key, Run]:
    """The runs that the steps of these days work on, or the spans of which they work on."""
    found: dict[Key, Run] = {}
    for day in days:
        for step in day.steps:
            run = step.run
            if step.span is not None:
                run = step.span.run
                if run is not None:
                    run.job = step.span.job
            if run is not None:
                found.setdefault(run.pk, run)
    return found


def _list_runs(runs: dict[Key, Run]) -> list[RunState]:
    cleanings: dict[Key, list[ToldCleaning]] = {}
    rows = RunCleaning.objects.filter(run__in=runs, report__is_undone=False)
    rows = rows.order_by("report__occurred_at", "report", "position")
    columns = ("run", "report__occurred_at", "fired", "retrieved", "stuck_at_um", "is_clean")
    tellers = ("report__crew_day", "report__device", "report__by")
    for run, *told, device, teller in rows.values_list(*columns, *tellers):
        cleanings.setdefault(run, []).append(ToldCleaning._make((*told, (device, teller))))
    accounted: dict[Key, list[Accounted]] = {}
    lifted = RuleFinding.objects.filter(run__in=runs, rule__in=PROJECTILE_STOPS, lifted_at__isnull=False)
    for run, moment, facts in lifted.order_by("lifted_at", "pk").values_list("run", "lifted_at", "facts"):
        accounted.setdefault(run, []).append(Accounted(moment, int(facts.get("inside_at_most", 0))))
    return [
        RunState(run, count_projectiles(cleanings.get(key, []), accounted.get(key, [])), run.is_cleaned)
        for key, run in runs.items()
    ]


def _list_reels(days: Sequence[FieldDay]) -> list[ReelState]:
    """The reels on the days' trucks and on their sheets."""
    vehicles = {day.crew_day.vehicle_id for day in days}
    labels = {pick.container for day in days for line in day.sheet.lines for pick in line.picks}
    reels = Container.objects.filter(kind=Container.Kind.REEL).select_related("material")
    found = {row.pk: row for row in reels.filter(place__in=vehicles) | reels.filter(label__in=labels - {""})}
    held = Holding.objects.filter(container__in=found, quantity__gt=0).order_by().values("container")
    sums = dict(held.annotate(sum=Sum("quantity")).values_list("container", "sum"))
    first = find_first_marks(found)
    told: dict[Key, list[tuple[float, float, str]]] = {}
    for row in list_marked(found).order_by("pk"):
        assert row.mark_start is not None
        assert row.mark_end is not None
        stretch = (row.mark_start / MILLION, row.mark_end / MILLION, row.mark_unit)
        told.setdefault(row.reel_id or 0, []).append(stretch)
    return [
        ReelState(
            reel,
            _as_metres(sums.get(key, 0), reel),
            find_direction(reel, first.get(key)),
            told.get(key, []),
        )
        for key, reel in sorted(found.items())
    ]


def _as_metres(quantity: int, reel: Container) -> float | None:
    if reel.material is None:
        return None
    return quantity / MILLION * float(conversion_factor(reel.material.stock_unit, "m"))


def _list_fittings() -> list[FittingState]:
    """Every one, also what is withdrawn or lies elsewhere: a crew may have rigged it all the same."""
    inspections = {row.fitting_id: row for row in FittingInspection.objects.order_by("inspected_at", "pk")}
    riggings = FittingRigging.objects.order_by("rigged_at", "pk").values_list("fitting", "rigged_at")
    rigged = dict(riggings)
    return [
        FittingState(row, inspections.get(row.pk), rigged.get(row.pk))
        for row in TaggedFitting.objects.order_by("tag")
    ]


def _find_told(days: Sequence[FieldDay], by: int | None, device: str) -> dict[Key, ToldOfDay]:
    found = {day.crew_day.pk: ToldOfDay([], []) for day in days}
    reports = FieldReport.objects.filter(crew_day__in=found, is_undone=False)
    others = reports.exclude(device=device, by=by)
    cleanings = RunCleaning.objects.filter(report__in=others, fired__gt=0)
    for cleaning in cleanings.select_related("report", "run__job").order_by("pk"):
        found[cleaning.report.crew_day_id].fired.append(cleaning)
    attempts = SpanAttempt.objects.filter(report__in=reports, meter_end__gt=F("meter_start"))
    for attempt in attempts.select_related("report", "span__job", "meter").order_by("pk"):
        found[attempt.report.crew_day_id].metered.append(attempt)
    return found
