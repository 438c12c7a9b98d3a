"""Reel allotment against textbook cases with known optima, and against enumeration on small days."""

import itertools
import random
from collections import Counter
from collections.abc import Callable, Sequence
from fractions import Fraction
from typing import Any

import pytest

from jobs.calc.reels.allotment import allot_reels
from jobs.calc.reels.kinds import Cut, Reel, ReelAllotment

Rows = Sequence[tuple[float | str, int | None, float | str]]


def _reels(rows: Rows) -> list[Reel]:
    return [
        Reel(
            id=f"R{index}",
            length=Fraction(str(length)),
            available=1000 if available is None else available,
            cost=Fraction(str(cost)),
        )
        for index, (length, available, cost) in enumerate(rows)
    ]


def _cuts(rows: Sequence[tuple[float | str, int]]) -> list[Cut]:
    return [
        Cut(id=f"c{index}", length=Fraction(str(length)), count=count)
        for index, (length, count) in enumerate(rows)
    ]


def _allot(reels: list[Reel], cuts: list[Cut], **more: Any) -> ReelAllotment:
    """Allot, and see that the answer is one: every cut once or unserved, every reel within its length."""
    found = allot_reels(reels=reels, cuts=cuts, **more)
    wanted = Counter({cut.id: cut.count for cut in cuts})
    told = Counter(cut for used in found.opened for cut in used.cuts) + Counter(found.unserved)
    assert told == +wanted
    reel_of, length_of = {reel.id: reel for reel in reels}, {cut.id: cut.length for cut in cuts}
    for used in found.opened:
        assert used.remnant == reel_of[used.reel].length - sum(length_of[cut] for cut in used.cuts) >= 0
    opened = Counter(used.reel for used in found.opened)
    assert all(count <= reel_of[reel].available for reel, count in opened.items())
    assert found.cost == sum(reel_of[used.reel].cost for used in found.opened)
    assert found.lower_bound <= found.cost
    return found


@pytest.mark.outside_check(
    "cutting-stock cases of textbooks: Gilmore and Gomory (1961) with three stock lengths 170, Chvatal 453, "
    "Winston 19, the AMPL book 47; how known: optima proven independently with highspy 1.16.0 (arc flow)"
)
@pytest.mark.parametrize(
    ("reels", "cuts", "cost"),
    [
        ([(5, None, 6), (6, None, 7), (9, None, 10)], [(2, 20), (3, 10), (4, 20)], 170),
        ([(100, None, 1)], [(45, 97), (36, 610), (31, 395), (14, 211)], 453),
        ([(17, None, 1)], [(3, 25), (5, 20), (9, 15)], 19),
        ([(110, None, 1)], [(20, 48), (45, 35), (50, 24), (55, 10), (75, 8)], 47),
    ],
)
def test_allot_reels_reaches_the_optimum_of_textbook_cases(
    reels: Rows, cuts: Sequence[tuple[float, int]], cost: int
) -> None:
    found = _allot(_reels(reels), _cuts(cuts))
    assert (found.cost, found.lower_bound, found.is_proven_optimal) == (cost, cost, True)


@pytest.mark.outside_check(
    "lumber with a kerf of a quarter inch on every piece: optimum 32.28 for a list of eleven stock lengths "
    "with prices; how known: computed independently with highspy 1.16.0 (a public notebook found 32.44)"
)
def test_allot_reels_scales_decimal_lengths_and_prices_exactly() -> None:
    stock = [
        (36, None, "1.68"), (48, None, "1.86"), (72, None, "2.57"), (84, None, "2.65"), (96, None, "2.92"),
        (120, None, "3.67"), (144, None, "4.4"), (168, None, "5.14"), (192, None, "6.92"),
        (216, None, "8.62"), (240, None, "10.4"),
    ]  # fmt: skip
    pieces = [("70.75", 3), ("25.75", 10), ("12.75", 1), ("72.25", 6), ("71", 1), ("28.75", 1)]
    found = _allot(_reels(stock), _cuts(pieces))
    assert (found.cost, found.lower_bound) == (Fraction("32.28"), Fraction("32.28"))
    assert found.is_proven_optimal


@pytest.mark.outside_check(
    "runs on reels at hand, fewest reels and then least opened length: 3 reels and 2650, 4 reels and 2240; "
    "how "
    "known: two solvers agree (ortools 9.15 CP-SAT and highspy 1.16.0)"
)
@pytest.mark.parametrize(
    ("reels", "runs", "used", "opened"),
    [
        ([1200, 950, 800, 500, 300], [610, 540, 410, 390, 260, 240, 150], 3, 2650),
        (
            [640, 640, 480, 480, 320, 320, 160],
            [310, 300, 290, 230, 220, 190, 160, 155, 90, 85, 60, 40],
            4,
            2240,
        ),
    ],
)
def test_allot_reels_opens_few_reels_and_of_those_short_ones(
    reels: list[int], runs: list[int], used: int, opened: int
) -> None:
    found = _allot(_reels([(length, 1, 1) for length in reels]), _cuts([(length, 1) for length in runs]))
    assert (len(found.opened), found.opened_length, found.is_proven_optimal) == (used, opened, True)
    assert found.unserved == ()


@pytest.mark.outside_check(
    "bin packing with ten pieces of 24 to 100 in bins of 150: optimum 5, 4 and 4, first fit falling 5, 4 "
    "and 5; "
    "how known: read in a public collection, re-solved with highspy 1.16.0"
)
@pytest.mark.parametrize(
    ("weights", "bins"),
    [
        ([24, 44, 76, 78, 52, 96, 58, 67, 74, 59], 5),
        ([58, 83, 76, 24, 21, 78, 70, 28, 45, 98], 4),
        ([97, 42, 100, 77, 28, 80, 23, 40, 58, 25], 4),
    ],
)
def test_allot_reels_beats_first_fit_where_that_wastes_a_reel(weights: list[int], bins: int) -> None:
    found = _allot(_reels([(150, None, 1)]), _cuts([(weight, 1) for weight in weights]))
    assert (found.cost, found.is_proven_optimal) == (bins, True)


def test_allot_reels_leaves_the_least_length_unserved_when_not_all_fits() -> None:
    """1260 do not fit on 3 reels of 500: no two of 400, 300, 300 and 260 share one."""
    found = _allot(_reels([(500, 3, 1)]), _cuts([(400, 1), (300, 1), (300, 1), (260, 1)]))
    assert (found.unserved, found.unserved_length, found.is_proven_optimal) == (("c3",), 260, True)


def test_allot_reels_names_a_cut_longer_than_every_reel() -> None:
    found = _allot(_reels([(100, 2, 1)]), _cuts([(101, 2), (60, 1)]))
    assert found.unserved == ("c0", "c0")
    assert found.cost == 1


@pytest.mark.parametrize(("reels", "cuts"), [([], [(5, 2)]), ([(10, 0, 1)], [(5, 2)]), ([(10, 1, 1)], [])])
def test_allot_reels_without_reels_or_cuts_opens_nothing(
    reels: Rows, cuts: Sequence[tuple[float, int]]
) -> None:
    found = _allot(_reels(reels), _cuts(cuts))
    assert found.opened == ()
    assert found.is_proven_optimal


def test_allot_reels_prefers_the_cheaper_reel_before_the_shorter() -> None:
    found = _allot(_reels([(100, 1, 2), (500, 1, 1)]), _cuts([(90, 1)]))
    assert [used.reel for used in found.opened] == ["R1"]


def test_allot_reels_prefers_a_remnant_that_is_long_enough() -> None:
    """Each reel has 100; 60 and 30 beside 50 leaves 10 and 50, 60 beside 50 and 30 leaves 40 and 20."""
    reels, cuts = _reels([(100, 2, 1)]), _cuts([(60, 1), (50, 1), (30, 1)])
    remnants = sorted(used.remnant for used in _allot(reels, cuts, minimum_remnant=Fraction(15)).opened)
    assert remnants == [20, 40]


def test_allot_reels_with_no_time_left_still_serves_and_does_not_claim_a_proof() -> None:
    pieces = [(length, 3) for length in (61, 59, 53, 47, 43, 41, 37, 31, 29, 23, 19)]
    found = allot_reels(reels=_reels([(150, None, 1)]), cuts=_cuts(pieces), seconds_left=lambda: 0.0)
    assert not found.unserved
    assert found.is_proven_optimal == (found.cost == found.lower_bound)


def test_allot_reels_takes_lengths_too_fine_for_the_network() -> None:
    reels = _reels([("6000.0001", 1, 1), ("4000.0007", 1, 1), ("3000", 1, 1)])
    cuts = _cuts([("2999.9999", 1), ("1000.0003", 3), ("2500.1234", 2)])
    found = _allot(reels, cuts)
    assert found.unserved == ()
    assert found.cost == 3


def _tight_day(share: float, *, reels: int = 60) -> tuple[list[Reel], list[Cut]]:
    """Runs that take this share of reels of mixed lengths, ten runs to three reels."""
    chance = random.Random(5)
    lengths = [
        int(chance.choice([chance.uniform(400, 2500), chance.uniform(2000, 7000)])) for _ in range(reels)
    ]
    weights = [chance.lognormvariate(6, 0.5) for _ in range(10 * reels // 3)]
    runs = [int(weight * share * sum(lengths) / sum(weights)) for weight in weights]
    return _reels([(length, 1, 1) for length in lengths]), _cuts([(run, 1) for run in runs])


def test_allot_reels_opens_the_fewest_reels_on_a_day_that_takes_almost_all_of_them() -> None:
    """Even the longest 48 reels hold the runs with an eighth of a percent to spare only."""
    reels, cuts = _tight_day(0.95)
    found = allot_reels(reels=reels, cuts=cuts, seconds_left=_countdown())
    longest = sorted((reel.length for reel in reels), reverse=True)
    assert sum(longest[:47]) < sum(cut.length for cut in cuts) < sum(longest[:48])
    assert (found.cost, found.lower_bound, found.unserved) == (48, 48, ())


def test_allot_reels_on_a_day_short_of_fibre_leaves_little_more_than_what_is_missing() -> None:
    reels, cuts = _tight_day(1.02, reels=12)
    found = _allot(reels, cuts, seconds_left=_countdown())
    missing = sum(cut.length for cut in cuts) - sum(reel.length for reel in reels)
    assert missing <= found.unserved_length < missing * Fraction("1.5")


def _countdown() -> Callable[[], float]:
    """Half a second that passes by being looked at, so that a test does not depend on the machine's speed."""
    looks = itertools.count()
    return lambda: max(0.0, 0.5 - 0.0005 * next(looks))


def _enumerate(reels: list[Reel], cuts: list[Cut]) -> tuple[Fraction, Fraction, Fraction]:
    """Unserved length, cost and opened length of the best allotment, by trying all."""
    lengths = [cut.length for cut in cuts for _ in range(cut.count)]
    sums = [
        sum((length for bit, length in enumerate(lengths) if chosen >> bit & 1), Fraction(0))
        for chosen in range(1 << len(lengths))
    ]
    best = {0: (Fraction(0), Fraction(0))}
    for reel in (kind for kind in reels for _ in range(kind.available)):
        fitting = [chosen for chosen, total in enumerate(sums) if 0 < total <= reel.length]
        for served, (cost, opened) in list(best.items()):
            for chosen in fitting:
                if not chosen & served:
                    new = (cost + reel.cost, opened + reel.length)
                    best[served | chosen] = min(new, best.get(served | chosen, new))
    return min((sums[-1] - sums[served], *value) for served, value in best.items())


@pytest.mark.parametrize("seed", range(60))
def test_allot_reels_agrees_with_enumeration_on_small_days(seed: int) -> None:
    chance = random.Random(seed)
    kinds = [
        (chance.randint(50, 300), chance.randint(1, 2), chance.choice(["1", "0.5", "2", "1.25", "0"]))
        for _ in range(chance.randint(1, 2))
    ]
    lengths = [(chance.randint(10, chance.choice([80, 200, 300])), 1) for _ in range(chance.randint(1, 6))]
    reels, cuts = _reels([(f"{length / 10}", many, cost) for length, many, cost in kinds]), _cuts(lengths)
    cuts = [Cut(id=cut.id, length=cut.length / 10) for cut in cuts]
    found = _allot(reels, cuts)
    assert (found.unserved_length, found.cost, found.opened_length) == _enumerate(reels, cuts)
    assert found.is_proven_optimal
    assert found.lower_bound == found.cost


@pytest.mark.parametrize(
    ("reels", "cuts", "minimum_remnant", "named"),
    [
        ([(0, 1, 1)], [(1, 1)], 0, "reels"),
        ([(1, -1, 1)], [(1, 1)], 0, "reels"),
        ([(1, 1, -1)], [(1, 1)], 0, "reels"),
        ([(1, 1, 1)], [(0, 1)], 0, "cuts"),
        ([(1, 1, 1)], [(1, -1)], 0, "cuts"),
        ([(1, 1, 1)], [(1, 30_000)], 0, "cuts"),
        ([(1, 1, 1)], [(1, 1)], -1, "minimum_remnant"),
        ([(10, 1, 1)], [("0.00000000000000000001", 1), (1, 1)], 0, "lengths"),
    ],
)
def test_allot_reels_refuses_and_names_what_is_out_of_range(
    reels: Rows, cuts: Sequence[tuple[float | str, int]], minimum_remnant: int, named: str
) -> None:
    with pytest.raises(ValueError, match=f"^{named}"):
        allot_reels(reels=_reels(reels), cuts=_cuts(cuts), minimum_remnant=Fraction(minimum_remnant))


def test_allot_reels_refuses_two_reels_of_one_id() -> None:
    with pytest.raises(ValueError, match="reels must have ids"):
        allot_reels(reels=[*_reels([(1, 1, 1)]), *_reels([(2, 1, 1)])], cuts=[])
