"""From whom to order what, where an order as a whole costs something too."""

from math import inf

import numpy as np
import pytest
from scipy import optimize, sparse

from inventory.calc.supplier_choice import choose_suppliers


def test_choose_suppliers_gathers_lines_where_an_order_is_dear() -> None:
    costs = [[10.0, 9.0], [10.0, 9.0], [8.0, 12.0]]
    assert choose_suppliers(line_costs=costs, order_costs=[0.0, 0.0]) == [1, 1, 0]
    assert choose_suppliers(line_costs=costs, order_costs=[5.0, 5.0]) == [0, 0, 0]


def test_choose_suppliers_takes_the_only_one_who_sells_a_line() -> None:
    costs = [[1.0, 2.0], [inf, 50.0]]
    assert choose_suppliers(line_costs=costs, order_costs=[100.0, 100.0]) == [1, 1]


@pytest.mark.outside_check("scipy.optimize.milp (HiGHS) on the same 30 random problems; how known: computed")
def test_choose_suppliers_costs_what_an_integer_programme_says() -> None:
    draw = np.random.default_rng(11)
    for _time in range(30):
        lines, suppliers = int(draw.integers(1, 8)), int(draw.integers(1, 6))
        costs = draw.uniform(1, 50, size=(lines, suppliers)).round(2)
        fixed = draw.uniform(0, 40, size=suppliers).round(2)
        chosen = choose_suppliers(line_costs=costs.tolist(), order_costs=fixed.tolist())
        total = sum(costs[line, supplier] for line, supplier in enumerate(chosen))
        total += sum(fixed[supplier] for supplier in set(chosen))
        assert total == pytest.approx(_by_programme(costs, fixed))


def _by_programme(costs: np.ndarray, fixed: np.ndarray) -> float:
    lines, suppliers = costs.shape
    each = sparse.hstack(
        [sparse.kron(sparse.eye(lines), np.ones((1, suppliers))), sparse.csr_matrix((lines, suppliers))]
    )
    linked = sparse.hstack(
        [sparse.eye(lines * suppliers), -sparse.kron(np.ones((lines, 1)), sparse.eye(suppliers))]
    )
    found = optimize.milp(
        np.concatenate([costs.ravel(), fixed]),
        constraints=[
            optimize.LinearConstraint(each.tocsr(), 1, 1),
            optimize.LinearConstraint(linked.tocsr(), -np.inf, 0),
        ],
        integrality=np.ones(lines * suppliers + suppliers),
        bounds=optimize.Bounds(0, 1),
    )
    return float(found.fun)


@pytest.mark.parametrize(
    ("match", "costs", "fixed"),
    [
        ("order_costs", [[1.0]], []),
        ("order_costs", [[1.0]], [-1.0]),
        ("line_costs", [[-1.0]], [1.0]),
        ("sold by nobody", [[inf, inf]], [1.0, 1.0]),
    ],
)
def test_choose_suppliers_refuses_what_is_out_of_range(
    match: str, costs: list[list[float]], fixed: list[float]
) -> None:
    with pytest.raises(ValueError, match=match):
        choose_suppliers(line_costs=costs, order_costs=fixed)
