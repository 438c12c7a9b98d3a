"""What sold lots of core bring to a job, in JSON's own types; for who may see money."""

from typing import Any

from api.wire.amounts import money_json, quantity_json
from api.wire.moments import moment_json
from inventory.units import MILLION
from jobs.queries.core_scrap import ScrapCredit


def scrap_credit_json(row: ScrapCredit, currency: str) -> dict[str, Any]:
    """One lot's share: credited where the core was the company's own, else owed to its owner."""
    return {
        "lot": row.lot,
        "sold_at": moment_json(row.sold_at),
        "buyer": row.buyer,
        "document": row.document,
        "owner": row.owner.code,
        "mass": quantity_json(row.weighed_g * MILLION // 1000, "kg"),
        "credited": money_json(row.credited, currency),
        "owed": money_json(row.owed, currency),
    }
