"""What stands in the way: findings that are open, the work they stop, runs with something left inside."""

from collections.abc import Iterable
from dataclasses import dataclass, field

from django.db.models import Q, QuerySet

from jobs.models import CrewDayStep, RuleFinding, Run, RunCleaning
from jobs.queries.rules import Rule, rules_by_code

# Stops that end by a count, or when safety lifts them and so accounts for what may be inside.
PROJECTILE_STOPS = ("projectile_inside", "projectile_stuck", "projectiles_not_counted")


@dataclass(frozen=True)
class Stop:
    """An open finding that blocks work, with its rule."""

    finding: RuleFinding
    rule: Rule

    @property
    def sentence(self) -> str:
        """What a day's sheet says: what was found and what to be careful of."""
        return f"{self.finding.sentence} {self.rule.caution}".strip()


@dataclass(frozen=True)
class BlockedRun:
    """A run on which no work goes on, why, and what was tried to get a projectile out of it.

    `attempts` are the cleanings reported for it, in order: each says what was fired and came out, where one
    was found, and whether both ends were vented.
    """

    run: Run
    stops: list[Stop]
    attempts: list[RunCleaning] = field(default_factory=list)

    @property
    def found_at_um(self) -> int | None:
        """Where a projectile was last found, from the end it was fired into."""
        found = [row.stuck_at_um for row in self.attempts if row.stuck_at_um is not None]
        return found[-1] if found else None


def open_findings() -> QuerySet[RuleFinding]:
    """Findings that nobody has lifted and nothing has settled or overtaken."""
    return RuleFinding.objects.filter(
        lifted_at__isnull=True, settled_at__isnull=True, overtaken_at__isnull=True
    )


def open_stops() -> QuerySet[RuleFinding]:
    return open_findings().filter(severity=RuleFinding.Severity.STOP)


def list_stops(*, spans: Iterable[int] = (), runs: Iterable[int] = ()) -> list[Stop]:
    """The stops on these spans and runs, by their keys; one query."""
    rows = open_stops().filter(Q(span__in=list(spans)) | Q(run__in=list(runs)))
    return [Stop(row, rule) for row in rows if (rule := rules_by_code().get(row.rule)) is not None]


def list_every_stop() -> list[Stop]:
    """Every stop that stands on a span or run: few, since each waits for somebody of safety."""
    rows = open_stops().filter(Q(span__isnull=False) | Q(run__isnull=False))
    return [Stop(row, rule) for row in rows if (rule := rules_by_code().get(row.rule)) is not None]


def find_stops_of_steps(steps: Iterable[CrewDayStep]) -> dict[int, Stop]:
    """For each step, by its key, the first stop that blocks it; steps that nothing blocks are left out."""
    found = list(steps)
    if not found:
        return {}
    stops = list_stops(
        spans={step.span_id for step in found if step.span_id is not None},
        runs={step.run_id for step in found if step.run_id is not None},
    )
    stopped: dict[int, Stop] = {}
    for step in found:
        for stop in stops:
            if stops_step(stop, step.kind, step.span_id, step.run_id):
                stopped.setdefault(step.pk, stop)
    return stopped


def stops_step(stop: Stop, kind: str, span: int | None, run: int | None) -> bool:
    """Whether a stop is about this span or run and blocks this kind of step."""
    if kind not in stop.rule.blocks:
        return False
    return (span is not None and stop.finding.span_id == span) or (
        run is not None and stop.finding.run_id == run
    )


def list_blocked_runs(runs: Iterable[Run] | None = None) -> list[BlockedRun]:
    """Runs on which a stop blocks cleaning or blowing, of these or of all, by job and name."""
    rows = open_stops().filter(run__isnull=False).select_related("run__job", "run__cable_size")
    if runs is not None:
        rows = rows.filter(run__in=list(runs))
    by_run: dict[int, BlockedRun] = {}
    for row in rows.order_by("run__job__reference", "run__name", "found_at", "pk"):
        assert row.run is not None
        blocked = by_run.setdefault(row.run.pk, BlockedRun(row.run, []))
        blocked.stops.append(Stop(row, rules_by_code()[row.rule]))
    cleanings = RunCleaning.objects.filter(run__in=by_run, report__is_undone=False).select_related(
        "report__by", "projectile"
    )
    for cleaning in cleanings.order_by("report__occurred_at", "report", "position"):
        by_run[cleaning.run_id].attempts.append(cleaning)
    return list(by_run.values())
