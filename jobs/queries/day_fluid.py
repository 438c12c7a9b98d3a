"""The fluid of a crew-day: what it takes, what is caught and what is swept, by simulation."""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from jobs.calc.bore import bore_volume_m3
from jobs.calc.crew_day import CrewDayFluid, SpanFluid, gather_spans, simulate_crew_days
from jobs.models import CrewDayStep, EstimatingPolicy, Span
from jobs.queries.day_work import DayWork
from jobs.queries.learnt import Learnt

# The same plan gives the same kit, whoever asks and how often.
SEED = 20_100_729
DRAWS = 10_000
M3_PER_L = 1e-3
# Past any step: fluid that stays in its bore on this day.
NEVER = 10**9


@dataclass(frozen=True)
class DayFluid:
    """Fluid of one crew-day: quantiles of load and catches for the kit, means and variances for stock."""

    bore_m3: float
    load_m3: float
    load_mean_m3: float
    load_variance_m6: float
    injected_mean_m3: float
    caught_m3: float
    swept_m3: float
    back_mean_m3: float
    back_variance_m6: float
    extracted_count: int
    swept_span_count: int


@dataclass
class _Element:
    """One span of the simulation; `swept_after` is the index of the last element before its run is swept."""

    span: Span
    is_today: bool
    swept_after: int = NEVER


def compute_day_fluid(
    work: DayWork, policy: EstimatingPolicy, learnt: Learnt | None = None
) -> DayFluid | None:
    """Simulate the day; None where nothing is extracted or swept."""
    return compute_fluids([work], policy, learnt)[0]


def compute_fluids(
    works: Sequence[DayWork], policy: EstimatingPolicy, learnt: Learnt | None = None
) -> list[DayFluid | None]:
    """Simulate many days, all from the same random numbers, which are drawn once."""
    plans = [_plan(work, policy, learnt) for work in works]
    drawn = simulate_crew_days(
        days=(spans for _elements, spans in filter(None, plans)),
        reusable_fraction=policy.reusable_fraction,
        set_up_m3=policy.set_up_volume_l * M3_PER_L,
        draws=DRAWS,
        seed=SEED,
    )
    return [_sum_up(next(drawn), plan[0], policy) if plan is not None else None for plan in plans]


def _plan(
    work: DayWork, policy: EstimatingPolicy, learnt: Learnt | None
) -> tuple[list[_Element], SpanFluid] | None:
    """The spans of a day as they are drawn; None where there are none."""
    elements = _lay_out(work)
    if not elements:
        return None
    known = learnt or Learnt(policy)
    sizes = [element.span.found_size for element in elements]
    injected = [known.injected(size) for size in sizes]
    caught = [known.caught(size) for size in sizes]
    recovered = [known.recovered(size) for size in sizes]
    return elements, gather_spans(
        bore_volume_m3=[span_bore_m3(element.span) for element in elements],
        injected_mean=[ratio.mean for ratio in injected],
        injected_sd=[ratio.sd for ratio in injected],
        injected_shared_sd=[ratio.mean_sd for ratio in injected],
        caught_mean=[share.mean for share in caught],
        caught_sd=[share.sd for share in caught],
        recovered_mean=[share.mean for share in recovered],
        recovered_sd=[share.sd for share in recovered],
        size=[size.pk for size in sizes],
        swept_after=[element.swept_after for element in elements],
        is_extracted_today=[element.is_today for element in elements],
    )


def span_bore_m3(span: Span) -> float:
    """Volume of the empty sheath of a span, as it was found where anybody was there."""
    return bore_volume_m3(bore_mm=span.found_size.bore_mm, length_m=span.found_length_m)


def _lay_out(work: DayWork) -> list[_Element]:
    """Spans in the order of work. A span of an earlier day joins where its run is cleaned, to be swept."""
    elements: list[_Element] = []
    for step in work.steps:
        if step.span is not None:
            elements.append(_Element(step.span, is_today=True))
        elif step.kind == CrewDayStep.Kind.CLEAN and step.run is not None:
            _sweep(elements, work.spans_of(step.run))
    return elements


def _sweep(elements: list[_Element], spans: list[Span]) -> None:
    here = {element.span.pk: element for element in elements if element.is_today}
    elements.extend(_Element(span, is_today=False) for span in spans if span.pk not in here)
    swept = {span.pk for span in spans}
    for element in elements:
        if element.span.pk in swept and element.swept_after == NEVER:
            element.swept_after = len(elements) - 1


def _sum_up(day: CrewDayFluid, elements: list[_Element], policy: EstimatingPolicy) -> DayFluid:
    today = [element for element in elements if element.is_today]
    # What went in again on the same day does not come back a second time.
    reused = day.injected_m3 - day.shortfall_m3
    back = np.maximum(policy.fit_again_fraction * (day.caught_m3 + day.swept_m3) - reused, 0.0)
    return DayFluid(
        bore_m3=sum(span_bore_m3(element.span) for element in today),
        load_m3=day.load_m3(policy.quantile),
        load_mean_m3=float(day.shortfall_m3.mean()),
        load_variance_m6=float(day.shortfall_m3.var()),
        injected_mean_m3=day.injected_mean_m3,
        caught_m3=float(np.quantile(day.caught_m3, policy.quantile)),
        swept_m3=float(np.quantile(day.swept_m3, policy.quantile)),
        back_mean_m3=float(back.mean()),
        back_variance_m6=float(back.var()),
        extracted_count=len(today),
        swept_span_count=sum(element.swept_after != NEVER for element in elements),
    )
