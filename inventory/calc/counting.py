"""What to count how often, and how many to look at."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from fractions import Fraction
from itertools import pairwise
from math import ceil
from string import ascii_uppercase

import numpy as np

from inventory.calc.exact_numbers import Exact, as_exact, as_exact_not_negative

# Up to here chances are compared as exact fractions, so that 19 of 20 at 95 % is not lost to rounding.
MOST_EXACT = 2000
BLOCK = 1 << 20
# A rarer fault among very many takes more draws than can be gone through one by one.
LEAST_RATE = 1e-6


@dataclass(frozen=True)
class CountedItem:
    """What a year's demand of a material is worth: demand times unit cost."""

    annual_demand: Exact
    unit_cost: Exact


@dataclass(frozen=True)
class CountClasses:
    """Class, yearly value and cumulative share by id, the most valuable first."""

    classes: dict[str, str]
    annual_value: dict[str, Fraction]
    cumulative_share: dict[str, Fraction | None]


def count_classes(
    *, items: Mapping[str, CountedItem], limits: Sequence[Exact] = ("0.8", "0.95")
) -> CountClasses:
    """Classes A, B, C, ... by cumulative share of yearly value, most valuable first.

    An item is in the first class whose limit its cumulative share, itself included, does not pass: the item
    that crosses a limit is in the lower class. Items of equal value keep their order.

    Parameters
    ----------
    items : mapping of str to CountedItem
        annual_demand >= 0 [units per year] and unit_cost >= 0 [money per unit] by id
    limits : sequence of number
        Rising, between 0 and 1 [1]

    Returns
    -------
    CountClasses
        classes, annual_value [money per year], cumulative_share [1] by id; where nothing has any value all
        are in the lowest class and have no share

    Raises
    ------
    ValueError
        If a parameter is out of range.

    References
    ----------
    .. [1] Silver, E. A., Pyke, D. F. & Thomas, D. J. (2017), Inventory and Production Management in Supply
       Chains, 4th ed., section 2.6 (distribution by value).
    """
    bounds = _limits(limits)
    values = {
        name: as_exact_not_negative(f"items.{name}.annual_demand", item.annual_demand)
        * as_exact_not_negative(f"items.{name}.unit_cost", item.unit_cost)
        for name, item in items.items()
    }
    ranked = sorted(values, key=lambda name: -values[name])
    total = sum(values.values())
    classes: dict[str, str] = {}
    shares: dict[str, Fraction | None] = {}
    running = Fraction(0)
    for name in ranked:
        running += values[name]
        share = running / total if total else None
        passed = len(bounds) if share is None else sum(share > bound for bound in bounds)
        classes[name], shares[name] = ascii_uppercase[passed], share
    return CountClasses(classes, {name: values[name] for name in ranked}, shares)


def _limits(limits: Sequence[Exact]) -> list[Fraction]:
    bounds = [as_exact(f"limits[{number}]", limit) for number, limit in enumerate(limits)]
    if not 0 < len(bounds) < len(ascii_uppercase):
        raise ValueError(f"limits must be 1 to {len(ascii_uppercase) - 1} numbers")
    if any(not 0 < bound < 1 for bound in bounds):
        raise ValueError("limits must be between 0 and 1, both excluded")
    if any(following <= bound for bound, following in pairwise(bounds)):
        raise ValueError("limits must rise from each to the next")
    return bounds


def count_sample(*, population: int, tolerable_rate: Exact, confidence: Exact) -> int:
    """Least sample that, with no wrong record found in it, rules out the tolerable rate.

    With D = ceil(rate N) wrong of N, the chance of finding none among n drawn without replacement is
    C(N - D, n) / C(N, n); the least n for which it is at most 1 - confidence.

    Parameters
    ----------
    population : int
        Records N >= 1 [records]
    tolerable_rate : number
        Share of wrong records to rule out, above 0 and at most 1 [1]
    confidence : number
        Between 0 and 1 [1]

    Returns
    -------
    int
        Sample size n [records]

    Raises
    ------
    ValueError
        If a parameter is out of range.

    References
    ----------
    .. [1] Montgomery, D. C., Introduction to Statistical Quality Control, chapter on acceptance sampling
       (zero acceptance number, hypergeometric).
    """
    size = as_exact("population", population)
    if size.denominator != 1 or size < 1:
        raise ValueError(f"population must be a whole number of 1 or more, got {float(size):g}")
    rate, sure = as_exact("tolerable_rate", tolerable_rate), as_exact("confidence", confidence)
    if not 0 < rate <= 1:
        raise ValueError(f"tolerable_rate must be above 0 and at most 1, got {float(rate):g}")
    if not 0 < sure < 1:
        raise ValueError(f"confidence must be between 0 and 1, both excluded, got {float(sure):g}")
    records, wrong = int(size), ceil(rate * size)
    if wrong > MOST_EXACT and rate < LEAST_RATE:
        raise ValueError(f"tolerable_rate must be at least {LEAST_RATE:g} among so many records")
    if wrong <= MOST_EXACT:
        return _sample_by_halving(records, wrong, 1 - sure)
    return _sample_by_adding(records, wrong, 1 - sure)


def _sample_by_halving(records: int, wrong: int, risk: Fraction) -> int:
    """The chance of none is that all of the wrong ones are among the records left aside."""

    def is_enough(sample: int) -> bool:
        missed, all_ways = 1, 1
        for number in range(wrong):
            missed *= records - sample - number
            all_ways *= records - number
        return missed * risk.denominator <= risk.numerator * all_ways

    low, high = 0, records - wrong + 1
    while high - low > 1:
        middle = (low + high) // 2
        low, high = (low, middle) if is_enough(middle) else (middle, high)
    return high


def _sample_by_adding(records: int, wrong: int, risk: Fraction) -> int:
    """Draw after draw, in logarithms; few draws are needed where many are wrong."""
    target, reached, drawn = float(np.log(float(risk))), 0.0, 0
    while drawn < records - wrong:
        left = records - np.arange(drawn, min(drawn + BLOCK, records - wrong), dtype=np.float64)
        chances = reached + np.cumsum(np.log1p(-wrong / left))
        enough = np.flatnonzero(chances <= target)
        if len(enough):
            return drawn + int(enough[0]) + 1
        reached, drawn = float(chances[-1]), drawn + len(left)
    return records - wrong + 1
