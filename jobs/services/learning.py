"""Learning from field reports: a fit of each subject over all cable sizes, kept with its inputs' period."""

import hashlib
import json
from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass
from datetime import datetime
from functools import partial
from typing import Any

import numpy as np
from django.db import transaction

from jobs.calc.learning import (
    RatioFit,
    RatioPrediction,
    RatioPrior,
    fit_ratios,
    predict_each,
    predict_size,
)
from jobs.calc.learning_counts import fit_losses, fit_passes, predict_losses, predict_passes, upper_limit
from jobs.calc.learning_readings import Readings, gather_readings
from jobs.calc.learning_sizes import between_variances
from jobs.models import CableSize, EstimatingPolicy, LearntFit, LearntSize
from jobs.queries.jobs import get_policy
from jobs.queries.learning_readings import CountReadings, GroupReadings, Lessons, collect_lessons
from jobs.queries.learnt import list_newest_fits
from jobs.services.needs import write_needs_ahead
from jobs.services.reports.after import close_request, find_open_requests, request_refits

KIND = "learning"
Subject = LearntFit.Subject
CONFIDENCE = 0.9
# What the company estimates counts as a tenth of a reading: it holds until there are reports, then gives way.
PRIOR_READINGS = 0.1
# No number of projectiles is impossible because the estimate names none; a sixth is shared out evenly.
LEAST_CHANCE, MOST_PASSES = 1 / 6, 8
# Half a run for each number of projectiles, as much as Jeffreys' rule gives; with less, rare numbers that
# have not been seen yet count for too little and a day's limit holds too seldom.
PRIOR_RUNS, PRIOR_USES = MOST_PASSES / 2, 20.0
LEAST_SD = 0.01
# Past ten bores a reading is a leak or a slip of the pen, and no prediction.
MOST_RATIO = 10.0


@dataclass(frozen=True)
class _Drawn:
    """What a fit says of one size, before it is stored; None for sizes never seen."""

    size: int | None
    covered: int
    mean: float
    sd: float
    low: float
    high: float
    mean_sd: float = 0.0
    distribution: dict[str, Any] | None = None


@dataclass(frozen=True)
class _Result:
    prior: dict[str, Any]
    sizes: list[_Drawn]
    between_sd: float | None = None
    within_sd: float | None = None
    between: dict[str, float] | None = None


@dataclass(frozen=True)
class _Job:
    """One subject to be learnt: from what, since when, how much, and how."""

    subject: str
    inputs_hash: str
    moments: list[datetime]
    readings: int
    covered: int
    fit: Callable[[], _Result]


def refit_where_asked(*, at: datetime) -> list[LearntFit]:
    """Learn anew where reports have asked for it.

    Requests are closed before reports are read, so that one that comes meanwhile asks again. Where learning
    fails it is asked for anew; what a killed worker leaves undone is done in the night.
    """
    with transaction.atomic():
        requests = find_open_requests(KIND)
        for request in requests:
            close_request(request, at=at)
    if not requests:
        return []
    try:
        return refit_all(at=at)
    except Exception:
        request_refits(at=at)
        raise


@transaction.atomic
def refit_all(*, at: datetime) -> list[LearntFit]:
    """Learn every subject from all reports that stand; what has not changed is not stored again.

    Days ahead need what is known now, so that kits, restocking and promises go by one knowledge.
    """
    policy = get_policy()
    lessons = collect_lessons(policy)
    sizes = list(CableSize.objects.order_by("pk").values_list("pk", flat=True))
    known = list_newest_fits()
    jobs = [
        *_ratio_jobs(lessons, policy, sizes),
        _passes_job(lessons.passes, _passes_prior(policy), sizes),
        _losses_job(lessons.losses, policy, sizes),
    ]
    kept = [_keep(job, known.get(job.subject), at) for job in jobs]
    new = [fit for fit in kept if fit is not None]
    if new:
        write_needs_ahead()
    return new


def _ratio_jobs(lessons: Lessons, policy: EstimatingPolicy, sizes: list[int]) -> Iterator[_Job]:
    part = (0.0, 1.0)
    for subject, given, mean, sd, limits in (
        (
            Subject.INJECTED,
            lessons.injected,
            policy.injected_ratio_mean,
            policy.injected_ratio_sd,
            (0.0, MOST_RATIO),
        ),
        (Subject.CAUGHT, lessons.caught, policy.caught_fraction_mean, policy.caught_fraction_sd, part),
        (
            Subject.RECOVERED,
            lessons.recovered,
            policy.recovered_fraction_mean,
            policy.recovered_fraction_sd,
            part,
        ),
    ):
        yield _Job(
            subject,
            _hash(vars(given), [mean, sd], sizes),
            given.moments,
            len(given.totals),
            len(given.span_sizes),
            partial(_fit_ratio, given, mean, sd, limits, sizes),
        )


def _passes_job(given: CountReadings, prior: list[float], sizes: list[int]) -> _Job:
    return _Job(
        Subject.PASSES,
        _hash(vars(given), prior, sizes),
        given.moments,
        len(given.rows),
        len(given.rows),
        partial(_fit_passes, given, prior, sizes),
    )


def _losses_job(given: CountReadings, policy: EstimatingPolicy, sizes: list[int]) -> _Job:
    chance = min(max(policy.fitting_loss_probability, 1e-4), 1 - 1e-4)
    return _Job(
        Subject.FITTING_LOSS,
        _hash(vars(given), [chance], sizes),
        given.moments,
        len(given.moments),
        sum(uses for _size, uses, _lost in given.rows),
        partial(_fit_losses, given, chance, sizes),
    )


def _keep(job: _Job, previous: LearntFit | None, at: datetime) -> LearntFit | None:
    """Store a fit where its inputs are new; None where there is nothing to learn from or nothing new."""
    if not job.readings or (previous is not None and previous.inputs_hash == job.inputs_hash):
        return None
    found = job.fit()
    fit = LearntFit.objects.create(
        subject=job.subject,
        made_at=at,
        inputs_hash=job.inputs_hash,
        first_at=min(job.moments),
        last_at=max(job.moments),
        reading_count=job.readings,
        covered_count=job.covered,
        prior=found.prior,
        between_sd=found.between_sd,
        within_sd=found.within_sd,
        between_variances=found.between or {},
    )
    LearntSize.objects.bulk_create(
        LearntSize(
            fit=fit,
            cable_size_id=row.size,
            covered_count=row.covered,
            mean=row.mean,
            sd=row.sd,
            mean_sd=row.mean_sd,
            low=row.low,
            high=row.high,
            distribution=row.distribution or {},
        )
        for row in found.sizes
    )
    return fit


def _hash(readings: dict[str, Any], prior: Sequence[float], sizes: list[int]) -> str:
    said = json.dumps([readings, list(prior), sizes], default=str, sort_keys=True)
    return hashlib.sha256(said.encode()).hexdigest()


def _fit_ratio(
    given: GroupReadings, mean: float, sd: float, limits: tuple[float, float], sizes: list[int]
) -> _Result:
    place = {size: number for number, size in enumerate(sizes)}
    readings = gather_readings(
        totals=given.totals,
        uncertainties=given.uncertainties,
        span_readings=given.span_readings,
        span_sizes=[place[size] for size in given.span_sizes],
        span_volumes=given.span_volumes,
        number_of_sizes=len(sizes),
    )
    prior = RatioPrior(mean=mean, sd=max(sd, LEAST_SD), readings=PRIOR_READINGS)
    fit = fit_ratios(readings=readings, prior=prior)
    covered = np.bincount([place[size] for size in given.span_sizes], minlength=len(sizes))
    seen: list[int] = np.flatnonzero(covered).tolist()
    spans = predict_each(fit, sizes=[*seen, None], confidence=CONFIDENCE, limits=limits)
    drawn = [
        _draw_ratio(fit, number, sizes[number], int(covered[number]), span)
        for number, span in zip(seen, spans[:-1], strict=True)
    ]
    drawn.append(_draw_ratio(fit, None, None, 0, spans[-1]))
    return _Result(
        {"mean": mean, "sd": prior.sd, "readings": PRIOR_READINGS},
        drawn,
        between_sd=fit.between_sd,
        within_sd=fit.within_sd,
        between=_between(readings, fit),
    )


def _between(readings: Readings, fit: RatioFit) -> dict[str, float]:
    return between_variances(readings=readings, within_variance=fit.within_sd**2)


def _draw_ratio(
    fit: RatioFit,
    number: int | None,
    size: int | None,
    covered: int,
    span: RatioPrediction,
) -> _Drawn:
    own = predict_size(fit, size=number, confidence=CONFIDENCE)
    low, high = span.interval
    return _Drawn(size, covered, span.mean, span.sd, low, high, min(own.sd, span.sd))


def _passes_prior(policy: EstimatingPolicy) -> list[float]:
    """The company's estimate, brought to as many numbers as are learnt, none of them impossible."""
    given = np.zeros(MOST_PASSES)
    for number, chance in enumerate(policy.passes):
        given[min(number, MOST_PASSES - 1)] += chance
    mixed = (1 - LEAST_CHANCE) * given + LEAST_CHANCE / MOST_PASSES
    return [float(chance) for chance in mixed / mixed.sum()]


def _fit_passes(given: CountReadings, prior: list[float], sizes: list[int]) -> _Result:
    place = {size: number for number, size in enumerate(sizes)}
    runs = np.zeros((len(sizes), MOST_PASSES))
    for key, fired, count in given.rows:
        # A run that took more than are told apart counts as the most.
        runs[place[key], min(fired, MOST_PASSES) - 1] += count
    fit = fit_passes(runs=runs, prior=prior, prior_runs=PRIOR_RUNS)
    numbers = np.arange(MOST_PASSES + 1)
    drawn = []
    for size in (*sizes, None):
        number = None if size is None else place[size]
        covered = 0 if number is None else int(runs[number].sum())
        if number is not None and not covered:
            continue
        column = fit.parameters[:, -1 if number is None else number]
        chances = predict_passes(fit, size=number, runs=1)
        worth = _worth(fit.weights, column, chances[1:])
        distribution = {"probabilities": chances[1:].tolist(), "worth": worth}
        drawn.append(_draw_count(size, covered, chances, numbers, distribution))
    return _Result({"probabilities": prior, "runs": PRIOR_RUNS}, drawn)


def _worth(weights: np.ndarray, parameters: np.ndarray, chances: np.ndarray) -> float:
    """Runs that one Dirichlet of the same chances is worth, so that its spread is that of the mixture.

    The variance of each chance is p (1 - p) / (worth + 1); over all chances they are added up.
    """
    totals = parameters.sum(axis=1, keepdims=True)
    means = parameters / totals
    spread = weights @ ((means * (1 - means) / (totals + 1)) + (means - chances) ** 2)
    return float(np.clip((chances * (1 - chances)).sum() / spread.sum() - 1, 0.1, 1e6))


def _fit_losses(given: CountReadings, chance: float, sizes: list[int]) -> _Result:
    place = {size: number for number, size in enumerate(sizes)}
    uses, lost = np.zeros(len(sizes)), np.zeros(len(sizes))
    for key, used, gone in given.rows:
        uses[place[key]] += used
        lost[place[key]] += gone
    # More lost than ever rigged means that stocks were thrown out; a use loses one at most.
    lost = np.minimum(lost, uses)
    fit = fit_losses(uses=uses, lost=lost, prior_mean=chance, prior_uses=PRIOR_USES)
    drawn = []
    for size in (*sizes, None):
        number = None if size is None else place[size]
        covered = 0 if number is None else int(uses[number])
        if number is not None and not covered:
            continue
        column = -1 if number is None else number
        a, b = fit.lost[:, column], fit.kept[:, column]
        means = a / (a + b)
        mean = float(fit.weights @ means)
        variance = float(fit.weights @ (means * (1 - means) / (a + b + 1) + (means - mean) ** 2))
        worth = max(mean * (1 - mean) / variance - 1, 0.1)
        distribution = {"lost": mean * worth, "kept": (1 - mean) * worth}
        chances = predict_losses(fit, size=number, uses=1)
        drawn.append(_draw_count(size, covered, chances, np.arange(2), distribution))
    return _Result({"mean": chance, "uses": PRIOR_USES}, drawn)


def _draw_count(
    size: int | None,
    covered: int,
    chances: np.ndarray,
    numbers: np.ndarray,
    distribution: dict[str, Any],
) -> _Drawn:
    mean = float(chances @ numbers)
    sd = float(chances @ (numbers - mean) ** 2) ** 0.5
    tail = (1 - CONFIDENCE) / 2
    low, high = upper_limit(chances, quantile=tail), upper_limit(chances, quantile=1 - tail)
    return _Drawn(size, covered, mean, sd, float(low), float(high), distribution=distribution)
