"""Who does what on which day: past work spread over half a year, and the two weeks to come."""

from dataclasses import dataclass
from datetime import date, timedelta

from fixtures_demo.scenario.routes import PAST_RUNS, PLANNED_RUNS, RUNS_OF_CREW, Run, Span
from fixtures_demo.scenario.world import CREWS, FIRST_DAY, TODAY, Crew

EXTRACT, CLEAN, BLOW = "extract span", "clean run", "blow run"


@dataclass(frozen=True)
class Step:
    kind: str
    run: Run
    span: Span | None = None


@dataclass(frozen=True)
class CrewDay:
    crew: Crew
    date: date
    steps: tuple[Step, ...]


def plan_days(runs: dict[str, list[Run]]) -> list[CrewDay]:
    """Every crew-day in order of date; those up to today are done."""
    found = []
    for crew in CREWS:
        route = runs[crew.job]
        own = route[RUNS_OF_CREW:] if crew.code == "crew-4" else route[:RUNS_OF_CREW]
        past, ahead = own[:PAST_RUNS], own[PAST_RUNS : PAST_RUNS + PLANNED_RUNS]
        has_tale = crew.code == "crew-1"
        worked = _past_steps(past, is_last_blown=not has_tale)
        coming = _tale_steps(past[-1], ahead) if has_tale else _coming_steps(ahead)
        for day, steps in zip(_spread(len(worked)), worked, strict=True):
            found.append(CrewDay(crew, day, tuple(steps)))
        for day, steps in zip(_weekdays(TODAY + timedelta(days=1), 10), coming, strict=False):
            found.append(CrewDay(crew, day, tuple(steps)))
    return sorted(found, key=lambda day: (day.date, day.crew.code))


def _past_steps(runs: list[Run], *, is_last_blown: bool) -> list[list[Step]]:
    days = []
    for number, run in enumerate(runs):
        days.append(_extract(run))
        finishing = [Step(CLEAN, run), Step(BLOW, run)]
        days.append(finishing if is_last_blown or number < len(runs) - 1 else finishing[:1])
    return days


def _coming_steps(runs: list[Run]) -> list[list[Step]]:
    return [steps for run in runs for steps in (_extract(run), [Step(CLEAN, run), Step(BLOW, run)])]


def _tale_steps(waiting: Run, runs: list[Run]) -> list[list[Step]]:
    """Tomorrow of crew 1: a run of three spans from end to end, one more size, and furnished fibre."""
    first, second, *rest = runs
    return [
        [*_extract(first), Step(CLEAN, first), *_extract(second), Step(BLOW, waiting)],
        [Step(BLOW, first), Step(CLEAN, second), Step(BLOW, second)],
        *_coming_steps(rest),
    ]


def _extract(run: Run) -> list[Step]:
    return [Step(EXTRACT, run, span) for span in run.spans]


def _weekdays(first: date, count: int) -> list[date]:
    found: list[date] = []
    day = first
    while len(found) < count:
        if day.weekday() < 5:
            found.append(day)
        day += timedelta(days=1)
    return found


def _spread(count: int) -> list[date]:
    """So many weekdays from the first day to today, evenly."""
    days = [FIRST_DAY + timedelta(days=n) for n in range((TODAY - FIRST_DAY).days + 1)]
    work = [day for day in days if day.weekday() < 5]
    return [work[round(number * (len(work) - 1) / (count - 1))] for number in range(count)]
