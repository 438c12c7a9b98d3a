"""Sums of what balances say, and intervals, as JSON."""

from typing import Any

from api.wire.amounts import quantity_json
from jobs.queries.fluid_figures import FluidSum

Json = dict[str, Any]


def fluid_sum_json(found: FluidSum) -> Json:
    """A sum with what is unaccounted in it."""
    unit = found.fluid.stock_unit
    return {
        "fluid": {"code": found.fluid.code, "name": found.fluid.name},
        "amounts": {name: quantity_json(amount, unit) for name, amount in found.amounts.items()},
        "unaccounted": quantity_json(found.unaccounted, unit) if found.interval is not None else None,
        "unaccounted_interval": interval_json(found.interval, unit) if found.interval is not None else None,
        "days": len(found.days),
        "days_unknown": len(found.days_unknown),
    }


def interval_json(interval: tuple[int, int], unit: str) -> Json:
    low, high = interval
    return {"low": quantity_json(low, unit), "high": quantity_json(high, unit)}
