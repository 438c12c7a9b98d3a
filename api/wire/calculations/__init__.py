"""Stateless calculations for what-if work and for other systems: `calculate(name, data)`.

Each subject has a module here that declares its fields and hands them to the pure functions in
`inventory.calc` and `jobs.calc`; importing this package registers them all.
"""

from api.wire.calculations import (
    balance,
    costs,
    counts,
    fittings,
    fluid,
    forecasts,
    orders,
    pooling,
    reels,
    stock_levels,
    supply_tree,
    volumes,
)
from api.wire.calculations.registry import (
    Calculation,
    UnknownCalculation,
    calculate,
    get_calculation,
    list_calculations,
)

__all__ = [
    "Calculation",
    "UnknownCalculation",
    "balance",
    "calculate",
    "costs",
    "counts",
    "fittings",
    "fluid",
    "forecasts",
    "get_calculation",
    "list_calculations",
    "orders",
    "pooling",
    "reels",
    "stock_levels",
    "supply_tree",
    "volumes",
]
