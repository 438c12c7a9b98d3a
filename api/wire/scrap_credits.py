"""What sold lots of core bring to a job, in JSON's own types."""

from collections.abc import Callable
from typing import Any

from api.wire.amounts import quantity_json
from api.wire.answers import named_json
from api.wire.moments import moment_json
from inventory.units import MILLION
from jobs.queries.core_scrap import ScrapCredit


def scrap_credit_json(row: ScrapCredit, money: Callable[[int], Any]) -> dict[str, Any]:
    """One lot's share: credited where the core was the company's own, else owed to its owner."""
    return {
        "lot": row.lot,
        "sold_at": moment_json(row.sold_at),
        "buyer": row.buyer,
        "document": row.document,
        "owner": named_json(row.owner),
        "expected": quantity_json(row.expected_g * MILLION, "g"),
        "weighed": quantity_json(row.weighed_g * MILLION, "g"),
        "credited": money(row.credited),
        "owed": money(row.owed),
    }
