"""Where along a supply tree to hold safety stock, when each place promises its successors a service time."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from fractions import Fraction
from math import lcm, sqrt

import numpy as np

from inventory.calc.ranges import FloatArray, as_not_negative

# The table of one place has (steps of time on the longest way to it) squared entries of eight bytes.
MOST_CELLS = 20_000_000
# Costs this close differ by rounding only; the shortest service time among them is taken.
TIE = 1e-12


@dataclass(frozen=True)
class SupplyNode:
    """A place in the tree; None where there is none.

    Times are exact fractions, so that a table over a common step holds every one of them.
    """

    processing_time: Fraction
    local_holding_cost: float
    external_inbound_cst: Fraction | None = None
    external_outbound_cst: Fraction | None = None
    demand_bound_constant: float = 1.0
    demand_sd: float | None = None


@dataclass(frozen=True)
class ForwardStock:
    """What each place promises, what it holds for it, and what all of it costs."""

    committed_service_times: dict[str, Fraction]
    safety_stocks: dict[str, float]
    cost: float


def forward_stock(*, nodes: Mapping[str, SupplyNode], edges: Sequence[tuple[str, str]]) -> ForwardStock:
    """Service times of least holding cost in a tree by dynamic programming (guaranteed service).

    A place with inbound service time SI, processing time T and committed service time S covers the demand of
    its net lead time SI + T - S >= 0 by a safety stock of z sigma sqrt(SI + T - S). SI is the longest service
    time of its suppliers, inside the tree and out. Variances of demand add up against the flow. The cost
    sum h z sigma sqrt(SI + T - S) is concave, hence least where times are whole multiples of a common step.

    Parameters
    ----------
    nodes : mapping of str to SupplyNode
        By id: processing_time >= 0 [periods], local_holding_cost >= 0 [money per unit per period], service
        time of outside suppliers and longest one promised to outside customers >= 0 (None where none)
        [periods], demand_bound_constant z >= 0 [1], demand_sd of outside demand per period >= 0 (None where
        none) [units per sqrt(period)]
    edges : sequence of (str, str)
        From supplier to supplied, as ids [-]; no cycle, direction left aside

    Returns
    -------
    ForwardStock
        committed_service_times [periods] and safety_stocks [units] by id, cost [money per period]. Of plans
        that cost the same, one with short service times.

    Raises
    ------
    ValueError
        If a parameter is out of range, an edge names an unknown place, the edges close a cycle, or the tables
        would have more than MOST_CELLS entries in all.

    References
    ----------
    .. [1] Graves, S. C. & Willems, S. P. (2000), Optimizing strategic safety stock placement in supply
       chains, Manufacturing & Service Operations Management 2(1):68-83; correction 5(2):176-177 (2003).
    """
    tree = SupplyTree.of(nodes, edges)
    plan = _Plan(tree, {name: _NodeCosts.of(tree, name) for name in nodes})
    for name in tree.leaves_first:
        plan.settle(name)
    return plan.answer()


@dataclass(frozen=True)
class SupplyTree:
    """A checked forest: neighbours, an order from the leaves in, and times in whole steps."""

    nodes: Mapping[str, SupplyNode]
    suppliers: Mapping[str, list[str]]
    customers: Mapping[str, list[str]]
    leaves_first: list[str]
    inward: Mapping[str, str | None]
    step: Fraction
    longest: Mapping[str, int]
    variance: Mapping[str, float]

    @classmethod
    def of(cls, nodes: Mapping[str, SupplyNode], edges: Sequence[tuple[str, str]]) -> "SupplyTree":
        _check_nodes(nodes)
        suppliers, customers = _neighbours(nodes, edges)
        order, inward = _leaves_first(nodes, suppliers, customers)
        downstream = _downstream(nodes, suppliers, customers)
        step = Fraction(1, lcm(*(time.denominator for node in nodes.values() for time in _times(node))))
        longest: dict[str, int] = {}
        for name in downstream:
            node = nodes[name]
            before = [longest[supplier] for supplier in suppliers[name]]
            arrival = max([int((node.external_inbound_cst or 0) / step), *before])
            longest[name] = arrival + int(node.processing_time / step)
        if sum((steps + 1) ** 2 for steps in longest.values()) > MOST_CELLS:
            raise ValueError("nodes must be fewer, or their times whole numbers of a coarser common step")
        variance: dict[str, float] = {}
        for name in reversed(downstream):
            own = (nodes[name].demand_sd or 0.0) ** 2
            variance[name] = own + sum(variance[customer] for customer in customers[name])
        return cls(nodes, suppliers, customers, order, inward, step, longest, variance)

    def steps(self, time: Fraction) -> int:
        return int(time / self.step)


def _times(node: SupplyNode) -> list[Fraction]:
    times = (node.processing_time, node.external_inbound_cst, node.external_outbound_cst)
    return [time for time in times if time is not None]


def _check_nodes(nodes: Mapping[str, SupplyNode]) -> None:
    if not nodes:
        raise ValueError("nodes must have at least one entry")
    for name, node in nodes.items():
        for field_name, value in vars(node).items():
            if value is not None:
                as_not_negative(f"nodes.{name}.{field_name}", float(value))


def _neighbours(
    nodes: Mapping[str, SupplyNode], edges: Sequence[tuple[str, str]]
) -> tuple[dict[str, list[str]], dict[str, list[str]]]:
    suppliers: dict[str, list[str]] = {name: [] for name in nodes}
    customers: dict[str, list[str]] = {name: [] for name in nodes}
    for source, target in edges:
        for name in (source, target):
            if name not in nodes:
                raise ValueError(f"edges must join nodes that are given, got {name!r}")
        suppliers[target].append(source)
        customers[source].append(target)
    return suppliers, customers


def _leaves_first(
    nodes: Mapping[str, SupplyNode],
    suppliers: Mapping[str, list[str]],
    customers: Mapping[str, list[str]],
) -> tuple[list[str], dict[str, str | None]]:
    """Take off one leaf after the other; what never becomes a leaf lies on a cycle."""
    links = {name: [*suppliers[name], *customers[name]] for name in nodes}
    open_links = {name: len(linked) for name, linked in links.items()}
    waiting = [name for name in nodes if open_links[name] <= 1]
    inward: dict[str, str | None] = {}
    while waiting:
        name = waiting.pop(0)
        if name in inward:
            continue
        left = [linked for linked in links[name] if linked not in inward]
        inward[name] = left[0] if left else None
        for linked in left:
            open_links[linked] -= 1
            if open_links[linked] == 1:
                waiting.append(linked)
    if len(inward) < len(nodes):
        stuck = next(name for name in nodes if name not in inward)
        raise ValueError(f"edges must not close a cycle, direction left aside; node {stuck!r} lies on one")
    return list(inward), inward


def _downstream(
    nodes: Mapping[str, SupplyNode],
    suppliers: Mapping[str, list[str]],
    customers: Mapping[str, list[str]],
) -> list[str]:
    """Suppliers before customers."""
    missing = {name: len(suppliers[name]) for name in nodes}
    order = [name for name in nodes if not missing[name]]
    for name in order:
        for customer in customers[name]:
            missing[customer] -= 1
            if not missing[customer]:
                order.append(customer)
    return order


@dataclass
class _NodeCosts:
    """Cost of a place by inbound (rows) and committed (columns) service time; infinite where impossible."""

    table: FloatArray
    best_inbound: list[int] = field(default_factory=list)
    best_outbound: list[int] = field(default_factory=list)
    by_inbound: FloatArray = field(default_factory=lambda: np.zeros(0))
    by_outbound: FloatArray = field(default_factory=lambda: np.zeros(0))

    @classmethod
    def of(cls, tree: SupplyTree, name: str) -> "_NodeCosts":
        node, longest = tree.nodes[name], tree.longest[name]
        processing = tree.steps(node.processing_time)
        inbound = np.arange(longest - processing + 1)[:, np.newaxis]
        outbound = np.arange(longest + 1)[np.newaxis, :]
        net = inbound + processing - outbound
        is_possible = (net >= 0) & (inbound >= tree.steps(node.external_inbound_cst or Fraction(0)))
        if node.external_outbound_cst is not None:
            is_possible &= outbound <= tree.steps(node.external_outbound_cst)
        stock = np.sqrt(np.maximum(net, 0) * float(tree.step) * tree.variance[name])
        cost = node.local_holding_cost * node.demand_bound_constant * stock
        return cls(np.where(is_possible, cost, np.inf))


@dataclass
class _Plan:
    """The dynamic programme: each place hands its least cost, by the time shared, to the next inward."""

    tree: SupplyTree
    costs: dict[str, _NodeCosts]

    def settle(self, name: str) -> None:
        """Add what the places already settled cost, and minimise over the time not shared inward."""
        own, inward = self.costs[name], self.tree.inward[name]
        rows, columns = own.table.shape
        for supplier in self.tree.suppliers[name]:
            if supplier != inward:
                # Any promise no longer than the inbound time will do.
                own.table += np.minimum.accumulate(_padded(self.costs[supplier].by_outbound, rows))[
                    :, np.newaxis
                ]
        for customer in self.tree.customers[name]:
            if customer != inward:
                # The customer may reckon with any inbound time no shorter than this promise.
                waiting = np.minimum.accumulate(self.costs[customer].by_inbound[::-1])[::-1]
                own.table += _padded(waiting, columns)[np.newaxis, :]
        own.by_outbound, own.by_inbound = own.table.min(axis=0), own.table.min(axis=1)

    def answer(self) -> ForwardStock:
        """Walk from the last places settled back out to the leaves."""
        tree, times = self.tree, dict[str, tuple[int, int]]()
        for name in reversed(tree.leaves_first):
            times[name] = self._chosen(name, times)
        stocks = {}
        for name, node in tree.nodes.items():
            inbound, outbound = times[name]
            net = inbound + tree.steps(node.processing_time) - outbound
            stocks[name] = node.demand_bound_constant * sqrt(net * float(tree.step) * tree.variance[name])
        return ForwardStock(
            committed_service_times={name: times[name][1] * tree.step for name in tree.nodes},
            safety_stocks=stocks,
            cost=sum(node.local_holding_cost * stocks[name] for name, node in tree.nodes.items()),
        )

    def _chosen(self, name: str, times: Mapping[str, tuple[int, int]]) -> tuple[int, int]:
        table, inward = self.costs[name].table, self.tree.inward[name]
        allowed = table
        if inward is not None and inward in self.tree.customers[name]:
            allowed = table[:, : times[inward][0] + 1]
        offset = 0
        if inward is not None and inward in self.tree.suppliers[name]:
            offset = times[inward][1]
            allowed = table[offset:, :]
        least = allowed.min()
        is_best = allowed <= least + TIE * max(1.0, least)
        outbound = int(np.argmax(is_best.any(axis=0)))
        return offset + int(np.argmax(is_best[:, outbound])), outbound


def _padded(costs: FloatArray, length: int) -> FloatArray:
    """Costs by time, cut or lengthened with the impossible."""
    out = np.full(length, np.inf)
    out[: min(length, len(costs))] = costs[:length]
    return out
