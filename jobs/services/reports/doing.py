"""What a report does to the work itself: steps are done, and where it is undone they wait again."""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime
from typing import Any

from django.db.models import Max, Q

from inventory.models import Actor
from inventory.services.posting.rows import Select, Statement, one_of, run_statements
from jobs.models import CrewDay, CrewDayStep, Run, RunBlowing, RunCleaning, Span, SpanAttempt
from jobs.services.day_life import settle_day_statements
from jobs.services.needs import FORWARD_STATES, write_needs
from jobs.services.reports.rows import Told
from jobs.services.work_done import WaitingStep, mark_done_statements

Kind = CrewDayStep.Kind
# What a report says was done: the kind of step with the keys of spans or runs.
Done = dict[Kind, set[int]]


def done_by(told: Told) -> Done:
    """What a report says was done. Only a span whose core is all out has been extracted."""
    return {
        Kind.EXTRACT: {row.span_id for row in told.attempts if row.outcome == SpanAttempt.Outcome.ALL_OUT},
        Kind.CLEAN: {row.run_id for row in told.cleanings if row.is_clean},
        Kind.BLOW: {row.run_id for row in told.blowings if row.is_done},
    }


@dataclass(frozen=True)
class DaySteps:
    """Steps that wait: those of a day, and those of what a report says was done, on whatever day.

    `count` is how many steps the day has, done ones included.
    """

    waiting: list[WaitingStep]
    count: int


def select_steps(told: Told, crew_day: CrewDay) -> list[Select]:
    """Ask for the steps that a report may mark."""
    waiting = "SELECT id, crew_day_id, kind, span_id, run_id FROM jobs_crewdaystep WHERE done_at IS NULL AND"
    parts = [f"{waiting} crew_day_id = %s"]
    values: list[Any] = [crew_day.pk]
    for kind, keys in done_by(told).items():
        if keys:
            column = "span_id" if kind == Kind.EXTRACT else "run_id"
            parts.append(f"{waiting} kind = %s AND {column} IN {one_of(list(keys))}")
            values += [kind.value, *keys]
    return [
        Select(f"{' UNION '.join(parts)} ORDER BY 1", values),
        Select("SELECT COUNT(*) FROM jobs_crewdaystep WHERE crew_day_id = %s", [crew_day.pk]),
    ]


def make_steps(answers: Sequence[list[tuple[Any, ...]]]) -> DaySteps:
    """The steps, of the answers to `select_steps`."""
    waiting, [(count,)] = answers
    return DaySteps([WaitingStep(*row) for row in waiting], count)


def mark_work_done(
    told: Told, crew_day: CrewDay, steps: DaySteps, *, by: Actor, beside: Sequence[Statement] = ()
) -> None:
    """Mark the steps of what was done, and the day once nothing on it waits.

    Work that was planned on another day or on none was done on this one all the same; its step comes here.
    `beside` is written in the same message.
    """
    done, at = done_by(told), told.report.occurred_at
    marked = [step for step in steps.waiting if _is_done(step, done)]
    brought = [step for step in marked if step.crew_day_id != crew_day.pk]
    _bring_here(brought, crew_day)
    waits = any(step.crew_day_id == crew_day.pk and step not in marked for step in steps.waiting)
    is_settled = any(done.values()) and not waits and crew_day.state != CrewDay.State.SETTLED
    count = steps.count + len(brought)
    settling = settle_day_statements(crew_day, steps=count, by=by, occurred_at=at) if is_settled else []
    run_statements(*mark_done_statements(marked, at=at), *settling, *beside)
    if len(marked) < sum(len(keys) for keys in done.values()):
        _put_earlier(done, at)
    if brought:
        left = {step.crew_day_id for step in brought}
        write_needs(CrewDay.objects.filter(pk__in=left, state__in=FORWARD_STATES))
    if crew_day.state in FORWARD_STATES:
        write_needs([crew_day])


def _is_done(step: WaitingStep, done: Done) -> bool:
    return (step.span_id if step.kind == Kind.EXTRACT else step.run_id) in done[Kind(step.kind)]


def _bring_here(steps: list[WaitingStep], crew_day: CrewDay) -> None:
    """Take steps over from the days on which they were planned, behind what is planned here."""
    if not steps:
        return
    last = crew_day.steps.aggregate(last=Max("position"))["last"] or 0
    for number, step in enumerate(steps, start=1):
        CrewDayStep.objects.filter(pk=step.pk).update(crew_day=crew_day, position=last + number)


def _put_earlier(done: Done, at: datetime) -> None:
    """What had no step is done too; and of two reports of it, the earlier moment holds."""
    for kind, model, field in (
        (Kind.EXTRACT, Span, "extracted_at"),
        (Kind.CLEAN, Run, "cleaned_at"),
        (Kind.BLOW, Run, "blown_at"),
    ):
        if done[kind]:
            before_start = f"was_{field.removesuffix('_at')}_before_start"
            rows = model.objects.filter(pk__in=done[kind], **{before_start: False})
            rows.filter(Q(**{f"{field}__gt": at}) | Q(**{f"{field}__isnull": True})).update(**{field: at})
            column = "span__in" if kind == Kind.EXTRACT else "run__in"
            steps = CrewDayStep.objects.filter(**{"kind": kind, column: done[kind], "done_at__gt": at})
            steps.update(done_at=at)


def unmark_work_done(told: Told, crew_day: CrewDay) -> None:
    """Take back what only this report says was done; the day goes on if it had been settled by that."""
    done, at = done_by(told), told.report.occurred_at
    others = {
        Kind.EXTRACT: _still_told(SpanAttempt, "span", done[Kind.EXTRACT], told, outcome="all_out"),
        Kind.CLEAN: _still_told(RunCleaning, "run", done[Kind.CLEAN], told, is_clean=True),
        Kind.BLOW: _still_told(RunBlowing, "run", done[Kind.BLOW], told, is_done=True),
    }
    is_reopened = False
    for kind, keys in done.items():
        for key in keys:
            moment = others[kind].get(key)
            _set_moment(kind, key, at, moment)
            steps = CrewDayStep.objects.filter(
                **{"kind": kind, "span" if kind == Kind.EXTRACT else "run": key, "done_at": at}
            )
            is_reopened |= bool(steps.update(done_at=moment)) and moment is None
    if is_reopened and crew_day.state == CrewDay.State.SETTLED:
        crew_day.state = CrewDay.State.OUT
        crew_day.save(update_fields=["state"])


def _still_told(
    model: type[SpanAttempt] | type[RunCleaning] | type[RunBlowing],
    column: str,
    keys: set[int],
    told: Told,
    **condition: object,
) -> dict[int, datetime]:
    """When other standing reports say the same was done, by span or run; the earliest of them."""
    rows = model.objects.filter(**{f"{column}__in": keys}, report__is_undone=False, **condition)
    rows = rows.exclude(report=told.report).order_by("-report__occurred_at")
    return dict(rows.values_list(f"{column}_id", "report__occurred_at"))


def _set_moment(kind: Kind, key: int, at: datetime, moment: datetime | None) -> None:
    if kind == Kind.EXTRACT:
        Span.objects.filter(pk=key, extracted_at=at).update(extracted_at=moment)
    elif kind == Kind.CLEAN:
        Run.objects.filter(pk=key, cleaned_at=at).update(cleaned_at=moment)
    else:
        Run.objects.filter(pk=key, blown_at=at).update(blown_at=moment)
