"""Recovery rates kept fresh from field reports, and charts that flag a crew or a size that drifts."""

from collections import defaultdict
from collections.abc import Sequence
from datetime import datetime
from functools import cache

from django.db import transaction

from inventory.errors import BadInput, Fault
from inventory.models import Actor, Material
from jobs.calc.drift import chart_drift, chart_limit, score_readings
from jobs.calc.recovery import recovery_ratio
from jobs.models import CableSize, Crew, RecoveryDrift, RecoveryRate
from jobs.queries.jobs import get_policy
from jobs.queries.recovery_readings import RecoveryReading, list_recovery_readings
from jobs.services.reports.after import close_request, find_open_requests

KIND = "recovery"
Group = RecoveryRate.Group
CONFIDENCE = 0.95
# A light weight finds small changes that stay, and minds single wild readings little.
CHART_WEIGHT = 0.1
# One false alarm in so many readings of each chart, while nothing changes.
CHART_RUN_LENGTH = 500


def refresh_where_asked(*, at: datetime) -> bool:
    """Reckon anew where reports have asked for it; their requests are done with it. Safe to run twice."""
    with transaction.atomic():
        requests = find_open_requests(KIND)
        if requests:
            refresh_recovery(at=at)
        for request in requests:
            close_request(request, at=at)
    return bool(requests)


@transaction.atomic
def refresh_recovery(*, at: datetime) -> None:
    """Make all rates and unlooked-at drifts anew from the reports that stand."""
    readings = list_recovery_readings(get_policy())
    RecoveryRate.objects.all().delete()
    RecoveryRate.objects.bulk_create(_make_rates(readings, at))
    _keep_drifts(_find_drifts(readings, at))


@transaction.atomic
def look_at_drift(*, drift: RecoveryDrift, by: Actor, occurred_at: datetime, finding: str) -> RecoveryDrift:
    """Note that somebody has looked at a drift, and what was found; a second look adds nothing."""
    if not finding.strip():
        raise BadInput.of([Fault("/finding", "", "is needed: say what was found")])
    drift = RecoveryDrift.objects.select_for_update(of=("self",)).get(pk=drift.pk)
    if drift.looked_at is None:
        drift.looked_at, drift.looked_by, drift.finding = occurred_at, by, finding.strip()
        drift.save(update_fields=["looked_at", "looked_by", "finding"])
    return drift


@cache
def get_chart_limit() -> float:
    """The limit of every chart, which its run length decides."""
    return chart_limit(weight=CHART_WEIGHT, run_length=CHART_RUN_LENGTH)


def _make_rates(readings: Sequence[RecoveryReading], at: datetime) -> list[RecoveryRate]:
    sizes = dict(CableSize.objects.values_list("pk", "designation"))
    fluids = dict(Material.objects.filter(kind=Material.Kind.FLUID).values_list("pk", "code"))
    crews = dict(Crew.objects.values_list("pk", "code"))
    groups: dict[tuple[str, str], list[RecoveryReading]] = defaultdict(list)
    for row in readings:
        groups[Group.ALL, ""].append(row)
        groups[Group.MONTH, f"{row.at:%Y-%m}"].append(row)
        for group, key, names in (
            (Group.SIZE, row.size, sizes),
            (Group.FLUID, row.fluid, fluids),
            (Group.CREW, row.crew, crews),
        ):
            if key is not None:
                groups[group, names[key]].append(row)
    return [_make_rate(group, name, rows, at) for (group, name), rows in sorted(groups.items())]


def _make_rate(group: str, name: str, rows: Sequence[RecoveryReading], at: datetime) -> RecoveryRate:
    injected, recovered = [row.injected_m3 for row in rows], [row.recovered_m3 for row in rows]
    interval = None
    # One reading does not show how readings scatter.
    if len(rows) > 1:
        interval = recovery_ratio(injected=injected, recovered=recovered, confidence=CONFIDENCE).interval
    return RecoveryRate(
        group=group,
        name=name,
        readings=len(rows),
        spans=sum(row.spans for row in rows),
        injected_m3=sum(injected),
        recovered_m3=sum(recovered),
        ratio=sum(recovered) / sum(injected),
        low=interval[0] if interval else None,
        high=interval[1] if interval else None,
        confidence=CONFIDENCE,
        computed_at=at,
    )


def _find_drifts(readings: Sequence[RecoveryReading], at: datetime) -> list[RecoveryDrift]:
    """Score each reading within its size and fluid, and chart the scores by size and by crew.

    Scores of one size are independent of one another while nothing changes; so are those of one crew,
    which are some of them. So both charts keep the run length they are made for.
    """
    kinds: dict[tuple[int, int | None], list[RecoveryReading]] = defaultdict(list)
    for row in readings:
        if row.size is not None:
            kinds[row.size, row.fluid].append(row)
    found: list[RecoveryDrift] = []
    by_crew: dict[int, list[tuple[RecoveryReading, float]]] = defaultdict(list)
    for (size, fluid), rows in kinds.items():
        scores = score_readings(values=[row.ratio for row in rows], weights=[row.spans_worth for row in rows])
        scored = [(row, score) for row, score in zip(rows, scores, strict=True) if score is not None]
        found += _chart(scored, at, group=Group.SIZE, cable_size_id=size, fluid_id=fluid)
        for row, score in scored:
            if row.crew is not None:
                by_crew[row.crew].append((row, score))
    for crew, scored in by_crew.items():
        in_order = sorted(scored, key=lambda pair: (pair[0].at, pair[0].name))
        found += _chart(in_order, at, group=Group.CREW, crew_id=crew)
    return found


def _chart(
    scored: Sequence[tuple[RecoveryReading, float]], at: datetime, **of: object
) -> list[RecoveryDrift]:
    limit = get_chart_limit()
    points = chart_drift(scores=[score for _row, score in scored], weight=CHART_WEIGHT, limit=limit)
    directions = {1: RecoveryDrift.Direction.UP, -1: RecoveryDrift.Direction.DOWN}
    edge = limit * (CHART_WEIGHT / (2 - CHART_WEIGHT)) ** 0.5
    return [
        RecoveryDrift(
            direction=directions[point.signal],
            reading=row.name,
            happened_at=row.at,
            statistic=point.average,
            limit=edge,
            found_at=at,
            **of,
        )
        for (row, _score), point in zip(scored, points, strict=True)
        if point.signal
    ]


def _keep_drifts(found: Sequence[RecoveryDrift]) -> None:
    """Keep what is new; forget what reports no longer show, unless somebody has looked at it."""

    def identity(row: RecoveryDrift) -> tuple[object, ...]:
        return row.crew_id, row.cable_size_id, row.reading

    wanted = {identity(row): row for row in found}
    standing = {identity(row): row for row in RecoveryDrift.objects.select_for_update()}
    gone = [row.pk for key, row in standing.items() if key not in wanted and row.looked_at is None]
    RecoveryDrift.objects.filter(pk__in=gone).delete()
    RecoveryDrift.objects.bulk_create([row for key, row in wanted.items() if key not in standing])
