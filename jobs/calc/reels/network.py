"""The exact stage: an arc-flow network of all patterns that could be part of a better packing.

Nodes are lengths used up on a reel, an arc takes one cut, a closing arc ends the reel. Sizes come in falling
order along a path. A column whose reduced cost exceeds the gap between the bound and the value aimed at is
in no packing of that value (reduced-cost fixing), so arcs that lie on such columns only are left out. What
remains is often so small that the integer program over it is solved or refuted at once, and either way that
is a proof.
"""

from collections import defaultdict
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.optimize import Bounds, LinearConstraint, milp
from scipy.sparse import coo_array, csr_array

from jobs.calc.reels.columns import Duals, fixed_costs
from jobs.calc.reels.problem import Floats, Goal, Limit, Packing, Pattern, Problem, trimmed

MOST_CELLS = 6_000_000
MOST_WORK = 300_000_000
MOST_ARCS = 120_000
TOLERANCE = 1e-6


@dataclass(frozen=True)
class Outcome:
    """A better packing, if one was found, and a lower bound on all that were looked for."""

    packing: Packing | None
    bound: float


@dataclass(frozen=True)
class Network:
    """Item arcs (tail length, size) and closing arcs (length, reel type)."""

    tails: NDArray[np.int64]
    sizes: NDArray[np.int64]
    ends: NDArray[np.int64]
    reels: NDArray[np.int64]

    @property
    def arcs(self) -> int:
        return len(self.tails) + len(self.ends)


def is_small_enough(problem: Problem) -> bool:
    cells = len(problem.sizes) * (problem.longest + 1)
    return cells <= MOST_CELLS and cells * problem.types <= MOST_WORK


def build(problem: Problem, goal: Goal, duals: Duals, slack: float) -> Network:
    """The network of all patterns whose reduced cost is at most the slack at these prices."""
    longest = problem.longest
    later = _earned_later(problem, duals.cuts)
    fixed = fixed_costs(goal, duals)
    # A column priced below 0 loosens the bound by itself, so the slack counts from there.
    fixed = fixed - np.minimum(0, fixed - later[0, problem.reel_lengths])
    reach = np.full(longest + 1, -np.inf)
    reach[0] = 0.0
    arcs = []
    for size, length in enumerate(problem.sizes.tolist()):
        price = float(duals.cuts[size])
        copies = min(int(problem.demand[size]), longest // length)
        before, start = reach, reach.copy()
        for _ in range(1, copies):
            before = _shifted(before, length, price)
            np.maximum(start, before, out=start)
        tails = np.flatnonzero(start[: longest + 1 - length] > -np.inf)
        earned = start[tails] + price
        tails = tails[_is_within(problem, fixed, later[size], tails + length, earned, slack)]
        arcs.append(tails)
        reach = np.maximum(reach, _kept(start, tails, length, price))
    ends, reels = _closings(problem, fixed, reach, slack)
    counts = [len(tails) for tails in arcs]
    return Network(np.concatenate(arcs), np.repeat(np.arange(len(arcs)), counts), ends, reels)


def _earned_later(problem: Problem, prices: Floats) -> Floats:
    """For each size and length the most that this and smaller sizes earn within it (sizes + 1, lengths)."""
    sizes = len(problem.sizes)
    earned = np.zeros((sizes + 1, problem.longest + 1))
    for size in range(sizes - 1, -1, -1):
        length, price = int(problem.sizes[size]), float(prices[size])
        row = earned[size + 1].copy()
        left, bundle = min(int(problem.demand[size]), problem.longest // length), 1
        while left > 0:
            bundle = min(bundle, left)
            room = len(row) - length * bundle
            if room > 0:
                row[length * bundle :] = np.maximum(row[length * bundle :], row[:room] + price * bundle)
            left -= bundle
            bundle *= 2
        earned[size] = row
    return earned


def _shifted(values: Floats, length: int, price: float) -> Floats:
    shifted = np.full_like(values, -np.inf)
    shifted[length:] = values[:-length] + price
    return shifted


def _kept(start: Floats, tails: NDArray[np.int64], length: int, price: float) -> Floats:
    kept = np.full_like(start, -np.inf)
    kept[tails + length] = start[tails] + price
    return kept


def _is_within(
    problem: Problem,
    fixed: Floats,
    later: Floats,
    heads: NDArray[np.int64],
    earned: Floats,
    slack: float,
) -> NDArray[np.bool_]:
    """Whether some reel type closes a path through each arc within the slack."""
    is_within = np.zeros(len(heads), dtype=np.bool_)
    for reel, full in enumerate(problem.reel_lengths.tolist()):
        rooms = full - heads
        fits = rooms >= 0
        best = fixed[reel] - earned - later[np.maximum(rooms, 0)]
        is_within |= fits & (best <= slack + TOLERANCE)
    return is_within


def _closings(
    problem: Problem, fixed: Floats, reach: Floats, slack: float
) -> tuple[NDArray[np.int64], NDArray[np.int64]]:
    nodes = np.flatnonzero(reach > -np.inf)
    nodes = nodes[nodes > 0]
    ends, reels = [], []
    for reel, full in enumerate(problem.reel_lengths.tolist()):
        closing = nodes[(nodes <= full) & (fixed[reel] - reach[nodes] <= slack + TOLERANCE)]
        ends.append(closing)
        reels.append(np.full(len(closing), reel))
    return np.concatenate(ends), np.concatenate(reels)


def improve(problem: Problem, goal: Goal, network: Network, *, aim: int, seconds: float) -> Outcome:
    """The best packing in the network of value at most `aim`; where there is none, a bound beyond it."""
    if not len(network.ends):
        return Outcome(None, float(np.inf))
    costs = _costs(goal, network)
    found = milp(
        costs,
        constraints=_constraints(problem, goal, network, costs, aim),
        integrality=np.ones(len(costs)),
        bounds=Bounds(0, _most(problem, goal, network)),
        options={"time_limit": max(0.05, seconds), "mip_rel_gap": 0.0},
    )
    if found.status == 2:
        return Outcome(None, float(np.inf))
    bound = -np.inf if found.mip_dual_bound is None else float(found.mip_dual_bound)
    if found.x is None:
        return Outcome(None, bound)
    return Outcome(trimmed(problem, _decompose(problem, network, found.x)), bound)


def _costs(goal: Goal, network: Network) -> Floats:
    closing = goal.by_reel[network.reels].astype(float)
    leaving = goal.by_size.astype(float) if goal.may_leave else np.zeros(0)
    return np.concatenate([np.zeros(len(network.tails)), closing, leaving])


def _most(problem: Problem, goal: Goal, network: Network) -> Floats:
    leaving = problem.demand if goal.may_leave else np.zeros(0)
    closing = np.minimum(problem.reel_counts, problem.demand.sum())[network.reels]
    return np.concatenate([problem.demand[network.sizes], closing, leaving]).astype(float)


def _constraints(
    problem: Problem, goal: Goal, network: Network, costs: Floats, aim: int
) -> list[LinearConstraint]:
    item, closing = len(network.tails), len(network.ends)
    width = len(costs)
    columns = np.arange(item)
    heads = network.tails + problem.sizes[network.sizes]
    flow = _rows(
        np.concatenate([heads, network.tails, network.ends]),
        np.concatenate([columns, np.arange(item + closing)]),
        np.concatenate([np.ones(item), -np.ones(item + closing)]),
        (problem.longest + 1, width),
    )
    used = np.flatnonzero(np.diff(flow.indptr))
    cover_rows, cover_columns = network.sizes, columns
    if goal.may_leave:
        cover_rows = np.concatenate([cover_rows, np.arange(len(problem.sizes))])
        cover_columns = np.concatenate([cover_columns, np.arange(item + closing, width)])
    cover = _rows(cover_rows, cover_columns, np.ones(len(cover_rows)), (len(problem.sizes), width))
    kinds = _rows(network.reels, item + np.arange(closing), np.ones(closing), (problem.types, width))
    limits = [
        LinearConstraint(_limit_row(limit, network, goal), -np.inf, limit.most) for limit in goal.limits
    ]
    return [
        LinearConstraint(flow[used[used > 0]], 0, 0),
        LinearConstraint(cover, problem.demand, np.inf),
        LinearConstraint(kinds, -np.inf, problem.reel_counts),
        LinearConstraint(costs[None, :], -np.inf, aim + 0.5),
        *limits,
    ]


def _limit_row(limit: Limit, network: Network, goal: Goal) -> Floats:
    leaving = limit.by_size if goal.may_leave else np.zeros(0)
    row = np.concatenate([np.zeros(len(network.tails)), limit.by_reel[network.reels], leaving])
    return np.asarray(row[None, :], dtype=np.float64)


def _rows(
    rows: NDArray[np.int64], columns: NDArray[np.int64], values: Floats, shape: tuple[int, int]
) -> csr_array:
    return csr_array(coo_array((values, (rows, columns)), shape=shape))


def _decompose(problem: Problem, network: Network, solution: Floats) -> list[Pattern]:
    """The flow as single paths, each one reel."""
    item = len(network.tails)
    flows = np.round(solution[: item + len(network.ends)]).astype(int)
    leaving: dict[int, list[list[int]]] = defaultdict(list)
    for arc in np.flatnonzero(flows[:item]):
        size = int(network.sizes[arc])
        tail = int(network.tails[arc])
        leaving[tail].append([size, tail + int(problem.sizes[size]), int(flows[arc])])
    closing: dict[int, list[list[int]]] = defaultdict(list)
    for arc in np.flatnonzero(flows[item:]):
        closing[int(network.ends[arc])].append([int(network.reels[arc]), int(flows[item + arc])])
    patterns = []
    while any(flow for _, _, flow in leaving[0]):
        patterns.append(_follow(problem, leaving, closing))
    return patterns


def _follow(
    problem: Problem, leaving: dict[int, list[list[int]]], closing: dict[int, list[list[int]]]
) -> Pattern:
    counts, node = np.zeros_like(problem.demand), 0
    while True:
        for close in closing[node]:
            if close[1] > 0:
                close[1] -= 1
                return Pattern(close[0], counts)
        arc = next(arc for arc in leaving[node] if arc[2] > 0)
        arc[2] -= 1
        counts[arc[0]] += 1
        node = arc[1]
