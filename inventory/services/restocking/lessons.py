"""What restocking learns from every week that passes: by how much demand strays further than was foreseen.

A week is taught once, from a part of the materials that moves on week by week, so that a large stock costs
no more time than a small one. Two workers that teach the same week find the same.
"""

from collections import defaultdict
from collections.abc import Iterable
from datetime import date, timedelta
from itertools import product

import numpy as np

from inventory.calc.back_testing import LEAST_FORESEEN_FROM, foresee_by_method
from inventory.calc.demand_forecasts import CLASSES
from inventory.calc.spread_lessons import (
    FACTORS,
    Aimed,
    ClassAimed,
    Lesson,
    factors_by_row,
    learnt_factor,
    teach_classes,
)
from inventory.calc.stock_levels import demands_over_lead_time
from inventory.models import Material, SpreadLesson
from inventory.queries.demand_history import week_of
from inventory.queries.policy_histories import PolicyHistories, load_policy_histories
from inventory.queries.spread_factors import DAYS_A_WEEK, weeks_since_classed

TAUGHT_WEEKS, KEPT_WEEKS = 26, 104
MATERIALS_A_WEEK = 2_000
NOTHING = Lesson(0, 0.0, 0.0, np.zeros(len(FACTORS)))


def learn_from_weeks(*, as_of: date, service: float) -> int:
    """Teach the last weeks that were not taught yet; return how many.

    Weeks that were over long ago teach as well, but no factor stood in them.
    """
    this_week = week_of(as_of)
    wanted = [this_week - timedelta(weeks=ago) for ago in range(TAUGHT_WEEKS, 0, -1)]
    done = set(SpreadLesson.objects.filter(week_date__in=wanted).values_list("week_date", flat=True))
    missing = [week for week in wanted if week not in done]
    lessons = _teach(missing, this_week, service)
    for week in missing:
        _keep(week, lessons[week], stands=week == wanted[-1])
    SpreadLesson.objects.filter(week_date__lt=this_week - timedelta(weeks=KEPT_WEEKS)).delete()
    return len(missing)


def _teach(weeks: list[date], this_week: date, service: float) -> dict[date, dict[ClassAimed, Lesson]]:
    slices = _slices()
    by_slice = defaultdict(list)
    for week in weeks:
        by_slice[slices[week.toordinal() // DAYS_A_WEEK % len(slices)] if slices else None].append(week)
    found: dict[date, dict[ClassAimed, Lesson]] = {week: {} for week in weeks}
    pool = None
    for bounds, taught in by_slice.items():
        if bounds is None:
            continue
        histories = load_policy_histories(before=this_week, service=service, materials=bounds, pool=pool)
        pool = histories.pool
        for week in taught:
            column = histories.used.shape[1] - (this_week - week).days // DAYS_A_WEEK
            found[week] = _teach_week(histories, week, column)
    return found


def _slices() -> list[tuple[int, int]]:
    """Ranges of keys of so many materials each; the fresh form stands for those recovered from it."""
    keys = list(
        Material.objects.filter(recovered_from__isnull=True).order_by("pk").values_list("pk", flat=True)
    )
    parts = [keys[start : start + MATERIALS_A_WEEK] for start in range(0, len(keys), MATERIALS_A_WEEK)]
    return [(part[0], part[-1]) for part in parts]


def _teach_week(histories: PolicyHistories, week: date, column: int) -> dict[ClassAimed, Lesson]:
    """Hold the use up to a week against what was foreseen of it, each material over its own lead time."""
    found: dict[ClassAimed, Lesson] = {}
    for span in np.unique(histories.span_weeks):
        origin = column - int(span)
        rows = np.flatnonzero(histories.span_weeks == span)
        known = (~np.isnan(histories.used[rows, : max(origin + 1, 0)])).sum(axis=1)
        rows = rows[known >= LEAST_FORESEEN_FROM]
        if len(rows):
            for key, lesson in _teach_span(histories, rows, week, origin, int(span)).items():
                found[key] = found[key] + lesson if key in found else lesson
    return found


def _teach_span(
    histories: PolicyHistories, rows: np.ndarray, week: date, origin: int, span: int
) -> dict[ClassAimed, Lesson]:
    origin_week = week - timedelta(weeks=span)
    since = weeks_since_classed(origin_week + timedelta(weeks=1))
    use = foresee_by_method(
        histories.used[rows, : origin + 1],
        methods=histories.methods[rows],
        pool=histories.pool[:, : origin + 1],
        since_classed=since,
    )
    one = np.ones(len(rows))
    demands = demands_over_lead_time(
        rate=use.rates,
        sd=use.spreads,
        rate_error=use.errors,
        lead_time=(span - 1) * one,
        # The weeks looked back on had no late deliveries in them, so their spread is left out.
        lead_time_sd=0 * one,
        review_period=one,
        is_whole=histories.is_whole[rows],
    )
    came = np.nan_to_num(histories.used[rows, origin + 1 : origin + span + 1])
    terms = histories.order_terms.of(rows)
    sizes = terms.sizes(use.rates / DAYS_A_WEEK, histories.review_days[rows])
    kinds = histories.is_fill_rate[rows]
    return teach_classes(
        aimed=Aimed(demands, sizes, histories.share[rows], kinds, _stood(origin_week, use.classes, kinds)),
        classes=use.classes,
        needed=came.sum(axis=1),
        needed_before=came[:, :-1].sum(axis=1),
        weights=histories.weights[rows],
    )


def _stood(week: date, classes: np.ndarray, is_fill_rate: np.ndarray) -> np.ndarray:
    """The factors that stood when the orders of a week went out; NaN where none had been told by then."""
    rows = SpreadLesson.objects.filter(week_date=week, factor__isnull=False)
    factors = {(row.demand_class, row.is_fill_rate): row.factor for row in rows if row.factor}
    return factors_by_row(factors, classes, is_fill_rate)


def _keep(week: date, lessons: dict[ClassAimed, Lesson], *, stands: bool) -> None:
    """Store a week, one without use too, so that it is not taught again; `stands` where it is the newest."""
    earlier: dict[ClassAimed, list[Lesson]] = defaultdict(list)
    if stands:
        for row in SpreadLesson.objects.filter(week_date__lt=week).order_by("week_date"):
            earlier[row.demand_class, row.is_fill_rate].append(_lesson_of(row))
    SpreadLesson.objects.bulk_create(
        (
            _row_of(week, key, lessons.get(key, NOTHING), earlier[key] if stands else None)
            for key in product(CLASSES, (True, False))
        ),
        ignore_conflicts=True,
    )


def _row_of(week: date, key: ClassAimed, lesson: Lesson, earlier: Iterable[Lesson] | None) -> SpreadLesson:
    return SpreadLesson(
        week_date=week,
        demand_class=key[0],
        is_fill_rate=key[1],
        seen=lesson.seen,
        wanted=lesson.wanted,
        allowed=lesson.allowed,
        missed=lesson.missed.tolist(),
        stood_wanted=lesson.stood_wanted,
        stood_over=lesson.stood_over,
        factor=None if earlier is None else learnt_factor([*earlier, lesson]),
    )


def _lesson_of(row: SpreadLesson) -> Lesson:
    return Lesson(row.seen, row.wanted, row.allowed, np.array(row.missed), row.stood_wanted, row.stood_over)
