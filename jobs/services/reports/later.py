"""Reports that stand after another and met the same things: they are booked again when it comes late.

What a reading of drums says depends on what was told before it, so the books would else depend on the order
in which reports happen to arrive. In order of time, and of their ids where that is the same, they do not.
"""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass, field

from django.db.models import Q

from inventory.models import Actor
from inventory.queries.company import get_company_party
from jobs.models import CrewDay, FieldReport
from jobs.services.balance.withdrawing import withdraw_adjustments
from jobs.services.reports.booking import (
    SceneSearch,
    book_report,
    containers_of,
    entry_ids,
    load_scene,
    unbook_report,
)
from jobs.services.reports.earlier import find_earlier
from jobs.services.reports.keeping import load_told
from jobs.services.reports.names import load_spans_of_runs
from jobs.services.reports.rows import Told


@dataclass
class Touched:
    """Keys of what reports met: containers, spans, runs and meters."""

    containers: set[int] = field(default_factory=set)
    spans: set[int] = field(default_factory=set)
    runs: set[int] = field(default_factory=set)
    meters: set[int] = field(default_factory=set)

    def add(self, told: Told) -> bool:
        """Take in what a report met; whether anything of it is new."""
        before = self._count()
        self.containers |= containers_of(told)
        self.spans |= {row.span_id for row in told.attempts}
        self.spans |= {span.pk for spans in told.caught_spans for span in spans}
        self.spans |= {row.span_id for row in told.losses if row.span_id is not None}
        for part in (told.cleanings, told.blowings, told.caught, told.losses):
            self.runs |= {row.run_id for row in part if row.run_id is not None}
        self.runs |= {row.span.run_id for row in told.attempts}
        self.meters |= {row.meter_id for row in told.attempts if row.meter_id is not None}
        return self._count() > before

    def _count(self) -> int:
        return len(self.containers) + len(self.spans) + len(self.runs) + len(self.meters)


def find_later(report: FieldReport, told: Told) -> list[FieldReport]:
    """Standing reports of later moments that met what this one did, or what those met; oldest first."""
    after = FieldReport.objects.filter(
        _comes_after(report), is_undone=False, occurred_at__gte=report.occurred_at
    )
    after = after.exclude(uuid=report.uuid)
    if not after.exists():
        return []
    touched = Touched()
    found: dict[int, FieldReport] = {}
    is_growing = touched.add(told)
    while is_growing:
        # A meter's count passes once, whichever crew of that day tells of it.
        metered = Q(attempts__meter__in=touched.meters, crew_day__date=report.crew_day.date)
        met = _meets(touched) | metered | Q(crew_day=report.crew_day_id)
        rows = after.filter(met).exclude(pk__in=found).distinct()
        new = {row.pk: row for row in rows}
        found |= new
        is_growing = False
        for each in load_told(list(new.values())).values():
            is_growing |= touched.add(each)
    return sorted(found.values(), key=in_order)


def in_order(report: FieldReport) -> tuple[object, object]:
    """The order in which reports are booked."""
    return report.occurred_at, report.uuid


def _comes_after(report: FieldReport) -> Q:
    return Q(occurred_at__gt=report.occurred_at) | Q(occurred_at=report.occurred_at, uuid__gt=report.uuid)


def _meets(touched: Touched) -> Q:
    boxes, spans, runs = touched.containers, touched.spans, touched.runs
    return (
        Q(attempts__source_container__in=boxes)
        | Q(attempts__span__in=spans)
        | Q(attempts__span__run__in=runs)
        | Q(blowings__reel__in=boxes)
        | Q(blowings__run__in=runs)
        | Q(cleanings__run__in=runs)
        | Q(caught__container__in=boxes)
        | Q(caught__run__in=runs)
        | Q(caught__spans__in=spans)
        | Q(readings__container__in=boxes)
        | Q(waste__container__in=boxes)
        | Q(losses__container__in=boxes)
        | Q(losses__span__in=spans)
        | Q(losses__run__in=runs)
    )


def unbook_all(
    reports: Sequence[FieldReport], *, by: Actor, reason: str, covers_missing: bool = False
) -> None:
    """Take reports out of the book, the newest first.

    Raises
    ------
    GoodsMovedOn
        If goods they brought have been taken further by something else, and what is missing is not covered.
    """
    told = load_told(reports)
    for report in reversed(reports):
        # What a closing of the day has made of it comes out first.
        entries = entry_ids(told[report.pk])
        withdraw_adjustments(entries=entries, by=by, reason=reason, covers_missing=covers_missing)
        unbook_report(told[report.pk], by=by, reason=reason, covers_missing=covers_missing)


def book_again(reports: Iterable[FieldReport]) -> None:
    """Book reports that were taken out, the oldest first."""
    for report in reports:
        told = load_told([report])[report.pk]
        search = SceneSearch(
            told,
            CrewDay.objects.select_related("crew", "vehicle").get(pk=report.crew_day_id),
            company=get_company_party(),
            spans_of_runs=load_spans_of_runs(row.run_id for row in told.caught if row.run_id is not None),
            earlier=find_earlier(told),
        )
        book_report(told, load_scene(search), by=report.by)
