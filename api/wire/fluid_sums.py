"""Sums of what balances say, and intervals, as JSON."""

import re
from datetime import date
from typing import Any

from api.wire.amounts import quantity_json
from inventory.errors import NotFound
from jobs.queries.fluid_figures import FluidSum, sum_of_month

Json = dict[str, Any]
MONTH = re.compile(r"(\d{4})-(0[1-9]|1[0-2])", re.ASCII)


def fluid_sum_json(found: FluidSum) -> Json:
    """A sum with what is unaccounted in it."""
    unit = found.fluid.stock_unit
    return {
        "fluid": {"code": found.fluid.code, "name": found.fluid.name},
        "amounts": {name: quantity_json(amount, unit) for name, amount in found.amounts.items()},
        "unaccounted": quantity_json(found.unaccounted, unit) if found.interval is not None else None,
        # What of it no span can be charged with.
        "no_span": quantity_json(found.no_span, unit) if found.interval is not None else None,
        "unaccounted_interval": interval_json(found.interval, unit) if found.interval is not None else None,
        "days": len(found.days),
        "days_unknown": len(found.days_unknown),
    }


def month_fluid_json(month: str) -> Json:
    """The sums of a month's closed days, the month as people send it."""
    found = MONTH.fullmatch(month)
    if found is None:
        raise NotFound("That is not a month; write it like 2026-03.")
    first = date(int(found[1]), int(found[2]), 1)
    return {"month": month, "sums": [fluid_sum_json(row) for row in sum_of_month(first)]}


def interval_json(interval: tuple[int, int], unit: str) -> Json:
    low, high = interval
    return {"low": quantity_json(low, unit), "high": quantity_json(high, unit)}
