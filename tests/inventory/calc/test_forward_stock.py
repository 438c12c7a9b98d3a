"""Safety stock along a tree, against textbook networks and a search over all service times."""

from fractions import Fraction
from itertools import product
from math import sqrt

import numpy as np
import pytest

from inventory.calc.forward_stock import SupplyNode, forward_stock


def _node(
    processing: float,
    holding: float,
    inbound: int | None = None,
    outbound: int | None = None,
    factor: float = 1,
    sd: float | None = None,
) -> SupplyNode:
    return SupplyNode(
        processing_time=Fraction(str(processing)),
        local_holding_cost=holding,
        external_inbound_cst=None if inbound is None else Fraction(inbound),
        external_outbound_cst=None if outbound is None else Fraction(outbound),
        demand_bound_constant=factor,
        demand_sd=sd,
    )


DAYS = 365
SERIAL = {"3": _node(1, 2, inbound=1), "2": _node(0, 4), "1": _node(1, 7, outbound=1, sd=1)}
LONGER = {
    "3": _node(1, 2, inbound=1, factor=4), "2": _node(1, 3, factor=4),
    "1": _node(2, 4, outbound=0, factor=4, sd=10),
}  # fmt: skip
FORK = {
    "1": _node(2, 1, inbound=1), "3": _node(1, 2), "2": _node(1, 3, outbound=0, sd=1),
    "4": _node(1, 3, outbound=1, sd=1),
}  # fmt: skip
SIX = {
    "1": _node(7, 44 / DAYS, outbound=3, factor=4, sd=4.1),
    "2": _node(7, 28 / DAYS, outbound=3, factor=4, sd=6.2),
    "3": _node(21, 18 / DAYS, factor=4), "4": _node(3, 1 / DAYS, factor=4),
    "5": _node(8, 4 / DAYS, factor=4), "6": _node(2, 1.5 / DAYS, factor=4),
}  # fmt: skip


@pytest.mark.outside_check(
    "Snyder & Shen 2e, Example 6.3, Problem 6.7, Example 6.5 and Problem 6.9; how known: printed by stockpyl "
    "1.0.2, costs asserted as 2 sqrt 2, 160 sqrt 5, 2 sqrt 2 + sqrt 6 + 3 in its tests, found by enumeration"
)
@pytest.mark.parametrize(
    ("nodes", "edges", "times", "cost"),
    [
        (SERIAL, ["32", "21"], {"3": 0, "2": 0, "1": 1}, 2 * sqrt(2)),
        (LONGER, ["32", "21"], {"3": 2, "2": 3, "1": 0}, 160 * sqrt(5)),
        (FORK, ["13", "32", "34"], {"1": 0, "3": 0, "2": 0, "4": 1}, 2 * sqrt(2) + sqrt(6) + 3),
        (
            SIX,
            ["31", "32", "43", "53", "65"],
            {"1": 3, "2": 3, "3": 0, "4": 0, "5": 0, "6": 2},
            15.649530249501026,
        ),
    ],
)
def test_forward_stock_finds_the_textbook_times(
    nodes: dict[str, SupplyNode], edges: list[str], times: dict[str, int], cost: float
) -> None:
    found = forward_stock(nodes=nodes, edges=[(edge[0], edge[1]) for edge in edges])
    assert found.committed_service_times == times
    assert found.cost == pytest.approx(cost)
    held = sum(nodes[name].local_holding_cost * stock for name, stock in found.safety_stocks.items())
    assert held == pytest.approx(cost)


def _least_cost(nodes: dict[str, SupplyNode], edges: list[tuple[str, str]]) -> float:
    """The least cost over every choice of whole service times up to 9."""
    names, best = list(nodes), np.inf
    for times in product(range(10), repeat=len(names)):
        promised, cost = dict(zip(names, times, strict=True)), 0.0
        for name, node in nodes.items():
            arrivals = [promised[source] for source, target in edges if target == name]
            inbound = max([int(node.external_inbound_cst or 0), *arrivals])
            net = inbound + node.processing_time - promised[name]
            limit = node.external_outbound_cst
            if net < 0 or (limit is not None and promised[name] > limit):
                cost = np.inf
                break
            cost += node.local_holding_cost * float(net) ** 0.5 * _spread(name, nodes, edges)
        best = min(best, cost)
    return best


def _spread(name: str, nodes: dict[str, SupplyNode], edges: list[tuple[str, str]]) -> float:
    own = (nodes[name].demand_sd or 0) ** 2
    return sqrt(own + sum(_spread(target, nodes, edges) ** 2 for source, target in edges if source == name))


def test_forward_stock_is_the_least_of_all_choices() -> None:
    random = np.random.default_rng(5)
    for _ in range(60):
        count = int(random.integers(1, 5))
        names = [str(number) for number in range(count)]
        edges = [
            (names[a], names[b]) if random.random() < 0.5 else (names[b], names[a])
            for b in range(1, count)
            for a in [int(random.integers(0, b))]
        ]
        sources = {source for source, _ in edges}
        nodes = {
            name: _node(
                int(random.integers(0, 2)),
                float(random.uniform(0.5, 9)),
                inbound=int(random.choice([0, 0, 1, 3])),
                outbound=None if name in sources else int(random.integers(0, 3)),
                sd=None if name in sources else float(random.uniform(1, 9)),
            )
            for name in names
        }
        found = forward_stock(nodes=nodes, edges=edges)
        assert found.cost == pytest.approx(_least_cost(nodes, edges))


def test_forward_stock_takes_half_days() -> None:
    half = {name: SupplyNode(node.processing_time / 2, 1.0) for name, node in SERIAL.items()}
    half["1"] = SupplyNode(Fraction(1, 2), 1.0, None, Fraction(0), 1.0, 2.0)
    found = forward_stock(nodes=half, edges=[("3", "2"), ("2", "1")])
    # All of it is held at the customer's end: sqrt(1) is less than sqrt(1/2) twice.
    assert found.committed_service_times == {"3": Fraction(1, 2), "2": Fraction(1, 2), "1": 0}
    assert found.cost == pytest.approx(2)


def test_forward_stock_lets_a_supplier_be_as_slow_as_the_customer_waits_anyway() -> None:
    nodes = {"slow": _node(1, 5), "yard": _node(1, 1, inbound=3, outbound=0, sd=2)}
    # The order in which places are named decides which end the programme starts from.
    for names in (["slow", "yard"], ["yard", "slow"]):
        found = forward_stock(nodes={name: nodes[name] for name in names}, edges=[("slow", "yard")])
        assert found.committed_service_times == {"slow": 1, "yard": 0}
        assert found.cost == pytest.approx(4)


def test_forward_stock_of_one_place_covers_its_own_time() -> None:
    found = forward_stock(nodes={"yard": _node(4, 2, outbound=0, factor=1.5, sd=3)}, edges=[])
    assert found.safety_stocks == {"yard": pytest.approx(9)}
    assert found.cost == pytest.approx(18)


@pytest.mark.parametrize(
    ("nodes", "edges", "message"),
    [
        (SERIAL, [("3", "2"), ("2", "1"), ("1", "3")], "edges must not close a cycle"),
        (SERIAL, [("3", "2"), ("2", "3")], "edges must not close a cycle"),
        (SERIAL, [("3", "3")], "edges must not close a cycle"),
        (SERIAL, [("3", "9")], "edges must join nodes"),
        ({}, [], "nodes must have"),
        ({"1": _node(-1, 1)}, [], r"nodes.1.processing_time must be"),
        ({"1": _node(1, 1, sd=-1)}, [], r"nodes.1.demand_sd must be"),
        ({"1": _node(100_000, 1)}, [], "nodes must be fewer"),
        ({"1": _node(0.0001, 1), "2": _node(1, 1)}, [], "nodes must be fewer"),
    ],
)
def test_forward_stock_names_what_is_out_of_range(
    nodes: dict[str, SupplyNode], edges: list[tuple[str, str]], message: str
) -> None:
    with pytest.raises(ValueError, match=f"^{message}"):
        forward_stock(nodes=nodes, edges=edges)
