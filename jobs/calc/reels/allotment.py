"""Allotting cuts to reels, each cut in one piece: exact where it can be proven, the best found otherwise."""

from collections.abc import Callable, Sequence
from fractions import Fraction
from math import inf

from jobs.calc.reels.kinds import Cut, OpenedReel, Reel, ReelAllotment
from jobs.calc.reels.remnants import spare_remnants
from jobs.calc.reels.scaling import Scale, coarsened
from jobs.calc.reels.search import Search

# More would be no day's work, and would keep the machine from others.
MOST_CUTS = 5_000


def allot_reels(
    *,
    reels: Sequence[Reel],
    cuts: Sequence[Cut],
    minimum_remnant: Fraction = Fraction(0),
    seconds_left: Callable[[], float] = lambda: inf,
) -> ReelAllotment:
    """Allot cuts to reels: least unserved length first, then cost of the opened reels, then their length.

    Remnants shorter than `minimum_remnant` count as lost; among equal allotments the one that loses less is
    preferred as far as it is found. Lengths and costs are scaled to whole numbers exactly. Bounds come from
    sums, from column generation and from an arc-flow network cut down by reduced costs.

    Parameters
    ----------
    reels : sequence of Reel
        Reels with lengths > 0, available >= 0 and cost >= 0 [any one unit of length u, any one currency]
    cuts : sequence of Cut
        Cuts with lengths > 0 and count >= 0 [u]
    minimum_remnant : Fraction
        Shortest remnant that is still of use, >= 0 [u]
    seconds_left : callable
        Says how much time is left; the search ends soon after it reaches 0 [s]

    Returns
    -------
    ReelAllotment
        Opened reels with their cuts and remnants [u], cost and its lower bound [currency]

    Raises
    ------
    ValueError
        If a value is out of range or given too finely.

    References
    ----------
    .. [1] Gilmore, P. C. and Gomory, R. E., "A linear programming approach to the cutting-stock problem",
       Operations Research 9 (1961) 849-859: column generation.
    .. [2] Valerio de Carvalho, J. M., "Exact solution of bin-packing problems using column generation and
       branch-and-bound", Annals of Operations Research 86 (1999) 629-659: the arc-flow model.
    .. [3] de Lima, V. L., Iori, M. and Miyazawa, F. K., "Exact solution of network flow models with strong
       relaxations", Mathematical Programming 197 (2023) 813-846: fixing arcs by reduced cost.
    .. [4] Gupta, J. N. D. and Ho, J. C., "A new heuristic algorithm for the one-dimensional bin-packing
       problem", Production Planning and Control 10 (1999) 598-603: filling for minimum slack.
    """
    _check(reels, cuts, minimum_remnant)
    scale = Scale(reels, cuts)
    opened: list[OpenedReel] = []
    unserved: list[str] = []
    cost_bound, is_proven = Fraction(0), True
    if not scale.is_empty:
        problem = scale.exact()
        search = Search(problem, *coarsened(scale.for_packing()), seconds_left)
        search.run()
        packing = spare_remnants(problem, search.best, scale.units_in(minimum_remnant), seconds_left)
        opened, unserved = scale.tell(packing, problem)
        cost_bound, is_proven = scale.cost_of(search.cost_bound), search.is_proven
    unserved += [cut.id for cut in scale.too_long for _ in range(cut.count)]
    return _summarise(reels, cuts, opened, unserved, cost_bound, is_proven)


def _summarise(
    reels: Sequence[Reel],
    cuts: Sequence[Cut],
    opened: Sequence[OpenedReel],
    unserved: Sequence[str],
    cost_bound: Fraction,
    is_proven: bool,
) -> ReelAllotment:
    by_id = {reel.id: reel for reel in reels}
    lengths = {cut.id: cut.length for cut in cuts}
    return ReelAllotment(
        opened=tuple(opened),
        cost=sum((by_id[used.reel].cost for used in opened), Fraction(0)),
        lower_bound=cost_bound,
        is_proven_optimal=is_proven,
        unserved=tuple(unserved),
        unserved_length=sum((lengths[cut] for cut in unserved), Fraction(0)),
        opened_length=sum((by_id[used.reel].length for used in opened), Fraction(0)),
    )


def _check(reels: Sequence[Reel], cuts: Sequence[Cut], minimum_remnant: Fraction) -> None:
    for name, things in (("reels", reels), ("cuts", cuts)):
        ids = [thing.id for thing in things]
        if len(set(ids)) < len(ids):
            raise ValueError(f"{name} must have ids of their own")
        if any(thing.length <= 0 for thing in things):
            raise ValueError(f"{name} must have lengths above 0")
    if any(reel.available < 0 for reel in reels) or any(reel.cost < 0 for reel in reels):
        raise ValueError("reels must have an availability and a cost of at least 0")
    if any(cut.count < 0 for cut in cuts):
        raise ValueError("cuts must have a count of at least 0")
    if sum(cut.count for cut in cuts) > MOST_CUTS:
        raise ValueError(f"cuts must be at most {MOST_CUTS} in all")
    if minimum_remnant < 0:
        raise ValueError("minimum_remnant must be at least 0")
