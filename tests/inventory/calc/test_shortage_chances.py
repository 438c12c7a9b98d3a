"""The chance of running short, held against scipy's distributions."""

import numpy as np
import pytest
from scipy import stats

from inventory.calc.shortage_chances import Outlook, Receipt, exceeding_chance


def chance(there: float, mean: float, variance: float, *, is_whole: bool) -> float:
    return float(exceeding_chance(there=[there], mean=[mean], variance=[variance], is_whole=[is_whole])[0])


@pytest.mark.outside_check("scipy.stats 1.17, survival functions; how known: computed in the test")
def test_exceeding_chance_agrees_with_the_distributions_of_pieces() -> None:
    assert chance(3, 2.0, 2.0, is_whole=True) == pytest.approx(stats.poisson.sf(3, 2.0))
    assert chance(5, 3.0, 6.0, is_whole=True) == pytest.approx(stats.nbinom.sf(5, 3, 0.5))
    # 10 certain ones and one more with a chance of 0.4.
    assert chance(10, 10.4, 0.24, is_whole=True) == pytest.approx(0.4)
    assert chance(11, 10.4, 0.24, is_whole=True) == 0.0


@pytest.mark.outside_check("scipy.stats 1.17, survival functions; how known: computed in the test")
def test_exceeding_chance_agrees_with_the_distributions_of_what_is_divisible() -> None:
    assert chance(55, 45.0, 100.0, is_whole=False) == pytest.approx(stats.norm.sf(1.0))
    assert chance(5, 4.0, 10.0, is_whole=False) == pytest.approx(stats.gamma.sf(5, 1.6, scale=2.5))
    # More comes back than is taken: below nothing, so no gamma.
    assert chance(0, -2.0, 4.0, is_whole=False) == pytest.approx(stats.norm.sf(1.0))


def test_exceeding_chance_is_certain_where_nothing_is_uncertain() -> None:
    assert chance(10, 10.0, 0.0, is_whole=False) == 0.0
    assert chance(9.99, 10.0, 0.0, is_whole=False) == 1.0
    assert chance(10, 10.0, 0.0, is_whole=True) == 0.0
    assert chance(9, 10.0, 0.0, is_whole=True) == 1.0
    with pytest.raises(ValueError, match="variance"):
        chance(1, 1.0, -1.0, is_whole=False)


def one(
    on_hand: float, taken: list[float], *, is_whole: bool = True, receipts: list[Receipt] | None = None
) -> Outlook:
    mean = np.cumsum([taken], axis=1)
    return Outlook(
        np.array([on_hand]), mean, np.zeros_like(mean), mean.copy(), np.array([is_whole]), receipts or []
    )


def test_outlook_weighs_whether_a_receipt_has_come_and_not_half_of_it() -> None:
    awaited = one(9, [1.0] * 14, receipts=[Receipt(0, 6, 2, 50.0)])
    without, short = one(9, [1.0] * 14), awaited.chance_short()[0]
    # On day 10 it is still missing with P(Z > 2); the other 97.7 % have more than enough. It had not come
    # by the end of yesterday, 3.5 spreads before its day.
    expected = stats.norm.sf(2) / stats.norm.sf(-3.5) * without.chance_short()[0, 10]
    assert short[10] == pytest.approx(expected)
    assert awaited.levels()[0, 6] == pytest.approx(9 - 7 + 25, abs=0.01)


@pytest.mark.outside_check(
    "scipy.stats.truncnorm, the normal cut off below; how known: an implementation of its own"
)
def test_receipt_has_not_come_yet_whatever_its_spread() -> None:
    cut = stats.truncnorm(a=(-1 - 3) / 4, b=np.inf, loc=3, scale=4)
    assert Receipt(0, 3, 4, 1.0).chances(6) == pytest.approx(cut.cdf(np.arange(6)))


def test_outlook_leaves_every_receipt_its_own_chance() -> None:
    # One is a week overdue, the other comes on its day whatever becomes of the first.
    both = one(0, [0.0] * 8 + [4.0] + [0.0] * 4, receipts=[Receipt(0, 7, 7, 5.0), Receipt(0, 8, 0, 5.0)])
    sure = one(0, [0.0] * 8 + [4.0] + [0.0] * 4, receipts=[Receipt(0, 8, 0, 5.0)])
    assert both.chance_short()[0, 8:] == pytest.approx(
        sure.chance_short()[0, 8:] - (sure.chance_short()[0, 8:] - more_than(10)) * late_chance()
    )


def more_than(stock: float) -> float:
    return float(stats.poisson.sf(stock, 4))


def late_chance() -> np.ndarray:
    cut = stats.truncnorm(a=(-1 - 7) / 7, b=np.inf, loc=7, scale=7)
    return np.asarray(cut.cdf(np.arange(8, 13)))


def test_outlook_counts_on_a_receipt_no_more_than_it_is_certain() -> None:
    vessel = one(0, [2.0], is_whole=False, receipts=[Receipt(0, 0, 0, 9.0, 0.75)])
    without = one(0, [2.0], is_whole=False).chance_short()[0, 0]
    enough = one(9, [2.0], is_whole=False).chance_short()[0, 0]
    assert vessel.chance_short()[0, 0] == pytest.approx(0.25 * without + 0.75 * enough)
    assert vessel.levels()[0, 0] == pytest.approx(0.75 * 9 - 2)


def test_outlook_adds_receipts_for_certain_on_their_day() -> None:
    sure = one(1, [1.0, 1.0, 1.0], receipts=[Receipt(0, 1, 0, 50.0)])
    assert sure.chance_short()[0, 0] == pytest.approx(stats.poisson.sf(1, 1))
    assert sure.chance_short()[0, 1:] == pytest.approx([0.0, 0.0])


@pytest.mark.outside_check("scipy.stats 1.17, quantiles; how known: computed in the test")
def test_extra_needed_is_the_quantile_less_what_is_there() -> None:
    pieces, fluid = one(9, [1.0] * 14), one(9, [1.0] * 14, is_whole=False)
    assert pieces.extra_needed(0.95, 14).tolist() == [stats.poisson.ppf(0.95, 14) - 9]
    assert fluid.extra_needed(0.95, 14)[0] == pytest.approx(stats.norm.ppf(0.95, 14, 14**0.5) - 9)


def test_extra_needed_provides_for_every_day_and_no_more() -> None:
    random = np.random.default_rng(1)
    taken = np.cumsum(random.poisson(0.5, (200, 30)) * 1.0, axis=1)
    brought = np.cumsum(random.poisson(0.2, (200, 30)) * 1.0, axis=1)
    variance = np.cumsum(random.uniform(0, 2, (200, 30)), axis=1)
    outlook = Outlook(
        random.poisson(3, 200) * 1.0,
        taken,
        brought,
        variance,
        random.random(200) < 0.5,
        [Receipt(3, 5, 1, 4.0)],
    )
    extra = outlook.extra_needed(0.9, 30)
    assert outlook.chance_short(extra).max() <= 0.1 + 1e-6
    less = np.where(extra > 0, extra - np.where(outlook.is_whole, 1, 1e-3), 0)
    assert (outlook.chance_short(less).max(axis=1)[extra > 0] > 0.1).all()


def test_extra_needed_leaves_later_days_alone() -> None:
    assert one(9, [1.0] * 14).extra_needed(0.95, 3).tolist() == [0.0]
