"""Sums of what the balances of crew-days say: by span, run, job and month.

Only the last closing of each day counts. What is unaccounted for on a day without any span is charged to
none: it is in the month, and in the job where the day's work was for that job alone.
"""

import math
from collections.abc import Callable, Iterable
from dataclasses import dataclass, field
from datetime import date

from django.db.models import Exists, F, OuterRef, Q, QuerySet

from inventory.models import Material
from jobs.models import CrewDayStep, DayBalance, FluidBalance, Job, SpanFigure

AMOUNTS = ("injected", "caught", "swept", "lost", "missing", "net", "booked", "adjusted")
# Two-sided at 95 %.
COVERAGE = 1.959963984540054
# The one error of a day whose shared errors nobody kept.
WHOLE_DAY = "everything"


@dataclass
class FluidSum:
    """What days came to for one fluid, in millionths of its stock unit; unaccounted where it is known.

    `no_span` is the part of the unaccounted that no span can be charged with; the rest is the spans'.
    """

    fluid: Material
    amounts: dict[str, int] = field(default_factory=lambda: dict.fromkeys(AMOUNTS, 0))
    unaccounted: int = 0
    no_span: int = 0
    days: set[int] = field(default_factory=set)
    days_unknown: set[int] = field(default_factory=set)
    # By balance, and by the name of an error that days share.
    _own: dict[int, float] = field(default_factory=dict)
    _shared: dict[str, float] = field(default_factory=dict)

    def add(self, row: SpanFigure) -> None:
        for name in AMOUNTS:
            self.amounts[name] += getattr(row, name)
        self._add_unaccounted(row.fluid_balance, row.unaccounted, row.unaccounted_uncertainty)

    def add_without_span(self, row: FluidBalance) -> None:
        """A day's balance of which no span has a figure."""
        self.no_span += row.unaccounted or 0
        self._add_unaccounted(row, row.unaccounted, row.unaccounted_uncertainty)

    def _add_unaccounted(self, row: FluidBalance, amount: int | None, uncertainty: float | None) -> None:
        day = row.balance.crew_day_id
        self.days.add(day)
        if amount is None or uncertainty is None or row.unaccounted_uncertainty is None:
            self.days_unknown.add(day)
            return
        self.unaccounted += amount
        whole = row.unaccounted_uncertainty
        part = uncertainty / whole if whole else 0.0
        shared = row.unaccounted_shared
        if shared is None:
            shared = {WHOLE_DAY: whole}
        own = math.sqrt(max(whole**2 - sum(each**2 for each in shared.values()), 0.0))
        self._own[row.pk] = self._own.get(row.pk, 0.0) + part * own
        for name, each in shared.items():
            self._shared[name] = self._shared.get(name, 0.0) + part * abs(each)

    @property
    def unaccounted_uncertainty(self) -> float:
        """Standard uncertainty of the unaccounted, rather too large than too small.

        What a day has by itself adds up by squares over days, and as it is over the spans of one day. An
        error that days share by name (a meter's, a bore's, the film's, a tare's) adds up as it is, as though
        it had stayed the same all the time and never cancelled. Of days closed before such errors were kept
        all is taken as shared.
        """
        return math.hypot(*self._own.values(), *self._shared.values())

    @property
    def interval(self) -> tuple[int, int] | None:
        """Where the unaccounted lies at 95 %; None where no day tells it."""
        if not self._own:
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


def list_balances_without_span() -> QuerySet[FluidBalance]:
    """The balances that count and of which no span has a figure, such as of a day with readings only."""
    rows = FluidBalance.objects.filter(balance__in=last_balances(), spans__isnull=True)
    return rows.select_related("balance__crew_day", "fluid")


def _without_span_of(job: Job) -> QuerySet[FluidBalance]:
    """Of days whose work was planned for this job alone: of any other nobody can tell whose it is."""
    steps = CrewDayStep.objects.filter(crew_day=OuterRef("balance__crew_day"))
    own = Q(span__job=job) | Q(run__job=job)
    return list_balances_without_span().filter(Exists(steps.filter(own)), ~Exists(steps.exclude(own)))


def sum_by_span(job: Job) -> dict[tuple[int, int], FluidSum]:
    """By span and fluid."""
    return _sum(list_figures().filter(span__job=job), lambda row: row.span_id)


def sum_by_run(job: Job) -> dict[tuple[int, int], FluidSum]:
    """By run and fluid."""
    rows = list_figures().filter(span__job=job).annotate(run=F("span__run"))
    return _sum(rows, lambda row: row.run)


@dataclass(frozen=True)
class FluidPart:
    """The sum of one run or span, or of what no span can be charged with."""

    kind: str
    name: str
    sum: FluidSum


def list_parts(job: Job) -> list[FluidPart]:
    """A job's runs, each before its spans, with their sums, then what no span can be charged with.

    Those without any are left out. Of one fluid, the spans and the last line are the job's sum.
    """
    runs, spans = sum_by_run(job), sum_by_span(job)
    found = []
    for run in job.runs.order_by("name", "pk").prefetch_related("spans"):
        found += [FluidPart("run", run.name, each) for (key, _fluid), each in runs.items() if key == run.pk]
        for span in sorted(run.spans.all(), key=lambda span: span.sequence):
            own = [each for (key, _fluid), each in spans.items() if key == span.pk]
            found += [FluidPart("span", span.name, each) for each in own]
    rest = _sum((), lambda row: 0, _without_span_of(job)).values()
    return [*found, *(FluidPart("no_span", "no span", each) for each in rest)]


def sum_of_job(job: Job) -> list[FluidSum]:
    """Of a whole job, a sum for each fluid."""
    rows = list_figures().filter(span__job=job)
    return list(_sum(rows, lambda row: 0, _without_span_of(job)).values())


@dataclass(frozen=True)
class FluidCut:
    """The sum of one span, run, crew or month of a job; without a name, what no span can be charged with."""

    by: str
    name: str
    sum: FluidSum


def cut_job(job: Job) -> list[FluidCut]:
    """A job's sums by span, by run, by crew and by month of the crew's day; each way is the whole job."""
    figures = list(
        list_figures()
        .filter(span__job=job)
        .select_related("span__run", "fluid_balance__balance__crew_day__crew")
        .order_by("span__run__name", "span__sequence", "pk")
    )
    rest = list(_without_span_of(job).select_related("balance__crew_day__crew"))
    ways: dict[str, tuple[Callable[[SpanFigure], str], Callable[[FluidBalance], str]]] = {
        "span": (lambda row: row.span.name, lambda row: ""),
        "run": (lambda row: row.span.run.name, lambda row: ""),
        "crew": (
            lambda row: row.fluid_balance.balance.crew_day.crew.code,
            lambda row: row.balance.crew_day.crew.code,
        ),
        "month": (
            lambda row: f"{row.fluid_balance.balance.crew_day.date:%Y-%m}",
            lambda row: f"{row.balance.crew_day.date:%Y-%m}",
        ),
    }
    found = []
    for by, (of_figure, of_balance) in ways.items():
        sums: dict[tuple[str, int], FluidSum] = {}
        for row in figures:
            fluid = row.fluid_balance.fluid
            sums.setdefault((of_figure(row), fluid.pk), FluidSum(fluid)).add(row)
        for balance in rest:
            sums.setdefault(
                (of_balance(balance), balance.fluid_id), FluidSum(balance.fluid)
            ).add_without_span(balance)
        found += [FluidCut(by, name, each) for (name, _fluid), each in sums.items()]
    return found


def sum_of_month(first: date) -> list[FluidSum]:
    """Of the crew-days of a month, named by any of its days, a sum for each fluid.

    The unaccounted is that of every day's balance, whether or not any span was worked.
    """
    day = {"balance__crew_day__date__year": first.year, "balance__crew_day__date__month": first.month}
    figures = list_figures().filter(**{f"fluid_balance__{name}": value for name, value in day.items()})
    rest = list_balances_without_span().filter(**day)
    return list(_sum(figures, lambda row: 0, rest).values())


def _sum(  # type: ignore[no-untyped-def]
    rows: Iterable[SpanFigure], key, rest: Iterable[FluidBalance] = ()
) -> dict[tuple[int, int], FluidSum]:
    found: dict[tuple[int, int], FluidSum] = {}
    for row in rows:
        fluid = row.fluid_balance.fluid
        found.setdefault((key(row), fluid.pk), FluidSum(fluid)).add(row)
    for balance in rest:
        found.setdefault((0, balance.fluid_id), FluidSum(balance.fluid)).add_without_span(balance)
    return found
