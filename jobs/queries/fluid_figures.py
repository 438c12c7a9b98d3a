"""Sums of what the balances of crew-days say: by span, run, job and month.

Only the last closing of each day counts. A day's uncertainty is shared by all its spans, so parts of one day
add up as they are and days add up by their squares.
"""

import math
from collections.abc import Iterable
from dataclasses import dataclass, field
from datetime import date

from django.db.models import Exists, F, OuterRef, Q, QuerySet

from inventory.models import Material
from jobs.models import DayBalance, Job, SpanFigure

AMOUNTS = ("injected", "caught", "swept", "lost", "missing", "net", "booked", "adjusted")
# Two-sided at 95 %.
COVERAGE = 1.959963984540054


@dataclass
class FluidSum:
    """What days came to for one fluid, in millionths of its stock unit; unaccounted where it is known."""

    fluid: Material
    amounts: dict[str, int] = field(default_factory=lambda: dict.fromkeys(AMOUNTS, 0))
    unaccounted: int = 0
    days: set[int] = field(default_factory=set)
    days_unknown: set[int] = field(default_factory=set)
    _by_day: dict[int, float] = field(default_factory=dict)

    def add(self, row: SpanFigure) -> None:
        for name in AMOUNTS:
            self.amounts[name] += getattr(row, name)
        day = row.fluid_balance.balance.crew_day_id
        self.days.add(day)
        if row.unaccounted is None or row.unaccounted_uncertainty is None:
            self.days_unknown.add(day)
            return
        self.unaccounted += row.unaccounted
        self._by_day[day] = self._by_day.get(day, 0.0) + row.unaccounted_uncertainty

    @property
    def unaccounted_uncertainty(self) -> float:
        """Standard uncertainty of the unaccounted."""
        return math.hypot(*self._by_day.values())

    @property
    def interval(self) -> tuple[int, int] | None:
        """Where the unaccounted lies at 95 %; None where no day tells it."""
        if not self._by_day:
            return None
        half = round(COVERAGE * self.unaccounted_uncertainty)
        return self.unaccounted - half, self.unaccounted + half


def last_balances() -> QuerySet[DayBalance]:
    """The closing of each day that counts."""
    later = DayBalance.objects.filter(crew_day=OuterRef("crew_day"), revision__gt=OuterRef("revision"))
    return DayBalance.objects.filter(~Exists(later))


def list_figures() -> QuerySet[SpanFigure]:
    """The figures that count, with what belongs to them."""
    figures = SpanFigure.objects.filter(fluid_balance__balance__in=last_balances())
    return figures.select_related("fluid_balance__balance__crew_day", "fluid_balance__fluid")


def sum_by_span(job: Job) -> dict[tuple[int, int], FluidSum]:
    """By span and fluid."""
    return _sum(list_figures().filter(span__job=job), lambda row: row.span_id)


def sum_by_run(job: Job) -> dict[tuple[int, int], FluidSum]:
    """By run and fluid."""
    rows = list_figures().filter(span__job=job).annotate(run=F("span__run"))
    return _sum(rows, lambda row: row.run)


@dataclass(frozen=True)
class FluidPart:
    """The sum of one run or span."""

    kind: str
    name: str
    sum: FluidSum


def list_parts(job: Job) -> list[FluidPart]:
    """A job's runs, each before its spans, with their sums; those without any are left out."""
    runs, spans = sum_by_run(job), sum_by_span(job)
    found = []
    for run in job.runs.order_by("name", "pk").prefetch_related("spans"):
        found += [FluidPart("run", run.name, each) for (key, _fluid), each in runs.items() if key == run.pk]
        for span in sorted(run.spans.all(), key=lambda span: span.sequence):
            own = [each for (key, _fluid), each in spans.items() if key == span.pk]
            found += [FluidPart("span", span.name, each) for each in own]
    return found


def sum_of_job(job: Job) -> list[FluidSum]:
    """Of a whole job, a sum for each fluid."""
    return list(_sum(list_figures().filter(span__job=job), lambda row: 0).values())


def sum_of_month(first: date) -> list[FluidSum]:
    """Of the crew-days of a month, named by any of its days, a sum for each fluid."""
    month = Q(
        fluid_balance__balance__crew_day__date__year=first.year,
        fluid_balance__balance__crew_day__date__month=first.month,
    )
    return list(_sum(list_figures().filter(month), lambda row: 0).values())


def _sum(rows: Iterable[SpanFigure], key) -> dict[tuple[int, int], FluidSum]:  # type: ignore[no-untyped-def]
    found: dict[tuple[int, int], FluidSum] = {}
    for row in rows:
        fluid = row.fluid_balance.fluid
        found.setdefault((key(row), fluid.pk), FluidSum(fluid)).add(row)
    return found
