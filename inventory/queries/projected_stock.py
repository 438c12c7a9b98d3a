"""One material's stock day by day if nothing more is ordered: mean, band, receipts, planned steps."""

from dataclasses import dataclass
from datetime import date, timedelta

from scipy import special

from inventory.models import Material, Place
from inventory.queries.expected_receipts import ExpectedReceipt
from inventory.queries.restock import reckon_restock
from inventory.queries.restock_facts import factor_between
from inventory.queries.restock_lines import RestockLine

# The band holds the stock on nine days in ten.
BAND_SHARE = 0.9
DAYS_AFTER_RUN_OUT = 4


@dataclass(frozen=True)
class ProjectedDay:
    """Stock on a day in stock units, what is planned to be taken and to come back, and the chance to lack."""

    day: date
    level: float
    low: float
    high: float
    scheduled_out: float
    scheduled_back: float
    chance_short: float


@dataclass(frozen=True)
class AwaitedReceipt:
    """What is on order for a day, in stock units of the material; `doubt` says why the day is a guess."""

    day: date
    quantity: float
    reference: str
    doubt: str = ""


@dataclass(frozen=True)
class ProjectedStock:
    """The days ahead of one material in one warehouse's area, and what restocking makes of them."""

    place: Place
    material: Material
    as_of: date
    days: tuple[ProjectedDay, ...]
    receipts: tuple[AwaitedReceipt, ...]
    reorder_point: float
    order_quantity: float
    rate_per_week: float
    service: float
    line: RestockLine | None


def project_stock(
    *, as_of: date, place: Place, material: Material, horizon_days: int = 28, service: float = 0.95
) -> ProjectedStock | None:
    """Return the company's own stock of a material as it will go; None where it is neither needed nor used.

    Raises
    ------
    BadInput
        If the horizon is out of range.
    """
    fresh = material.recovered_from or material
    answer = reckon_restock(
        as_of=as_of,
        place=place,
        horizon_days=horizon_days,
        cover_days=min(14, horizon_days),
        service=service,
        materials=(fresh.pk, fresh.pk),
    )
    facts, plans = answer.facts, answer.plans
    rows = [
        row for row, key in enumerate(facts.keys) if key[0] == place.pk and facts.owners[key[2]].is_company
    ]
    if not rows:
        return None
    row = rows[0]
    levels, spreads = answer.outlook.levels()[row], answer.outlook.spreads()[row]
    chances = answer.outlook.chance_short()[row]
    reach = float(special.ndtri((1 + BAND_SHARE) / 2))
    line = answer.lines.get(row)
    shown = horizon_days
    if line is not None:
        # The day on which it runs out is what the reader wants to see, however far it lies.
        shown = min(max(shown, (line.run_out_date - as_of).days + DAYS_AFTER_RUN_OUT), facts.scope.days)
    days = tuple(
        ProjectedDay(
            day=as_of + timedelta(days=number),
            level=float(levels[number]),
            low=float(levels[number] - reach * spreads[number]),
            high=float(levels[number] + reach * spreads[number]),
            scheduled_out=float(facts.scheduled_out[row, number]),
            scheduled_back=float(facts.scheduled_back[row, number]),
            chance_short=float(chances[number]),
        )
        for number in range(shown)
    )
    return ProjectedStock(
        place=place,
        material=fresh,
        as_of=as_of,
        days=days,
        receipts=tuple(_awaited(receipt, fresh) for receipt in facts.expected.get(row, [])),
        reorder_point=float(plans.levels.reorder_point[row]),
        order_quantity=float(plans.order_quantity[row]),
        rate_per_week=float(plans.rate_per_week[row]),
        service=float(plans.service[row]),
        line=line,
    )


def _awaited(receipt: ExpectedReceipt, material: Material) -> AwaitedReceipt:
    quantity = receipt.quantity / 10**6 * factor_between(receipt.material, material)
    doubt = "overdue" if receipt.is_late else "" if receipt.planned_date else "day not known"
    return AwaitedReceipt(receipt.due_date, quantity, receipt.reference, doubt)
