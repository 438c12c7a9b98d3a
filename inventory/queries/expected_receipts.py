"""What is on its way to our warehouses: open orders, and shipments from one warehouse to another.

Goods held back in quarantine are not among them, nor are they taken off what is awaited: whoever plans is to
plan as if they had not come.
"""

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import date, timedelta
from math import ceil
from zoneinfo import ZoneInfo

from inventory.calc.lead_times import LearntLeadTime
from inventory.models import Material, Order, OrderLine, Party, Place, Shipment, ShipmentLine, SupplyTerms
from inventory.queries.company import get_company
from inventory.queries.lead_times import find_lead_times
from inventory.queries.order_progress import find_progress
from inventory.queries.supply_areas import MaterialRange, select_materials

# Ordered at a price of its own from somebody who states no terms: it may come any day.
UNKNOWN = LearntLeadTime(mean_days=0.0, sd_days=0.0, deliveries=0)


@dataclass(frozen=True)
class ExpectedReceipt:
    """So much of a material that should come to a warehouse on a day. Millionths of the stock unit.

    `due_date` is never before the day asked about: what is late may come any day. `lateness_sd_days` is the
    spread of the day around it. `reference` is the order's or shipment's.
    """

    place: Place
    material: Material
    owner: Party
    due_date: date
    quantity: int
    lateness_sd_days: float
    reference: str
    is_shipment: bool = False
    is_late: bool = False


def list_expected_receipts(
    areas: Mapping[int, Place], *, as_of: date, materials: MaterialRange | None = None
) -> list[ExpectedReceipt]:
    """Return what sent orders and shipments under way should bring to these areas, soonest first.

    `areas` names, by key of each stock place, the warehouse whose stock it is (see `find_supply_areas`).
    `materials` narrows it to some. Orders that are only written bring nothing yet. The number of queries does
    not grow with the rows.
    """
    rows = [*_from_orders(areas, as_of, materials), *_from_shipments(areas, as_of, materials)]
    return sorted(rows, key=lambda row: (row.due_date, row.place.code, row.material.code, row.reference))


def _from_orders(
    areas: Mapping[int, Place], as_of: date, materials: MaterialRange | None
) -> list[ExpectedReceipt]:
    lines = list(
        OrderLine.objects.filter(
            select_materials(materials), order__place__in=list(areas), order__state__in=Order.AWAITED
        )
        .select_related("order", "material")
        .order_by("pk")
    )
    if not lines:
        return []
    company = get_company()
    zone = ZoneInfo(company.time_zone)
    progress = find_progress(lines)
    lead_times = _lead_times_of(lines)
    found = []
    for line in lines:
        awaited = progress[line.pk].awaited
        if not awaited:
            continue
        order = line.order
        assert order.sent_at is not None
        lead_time = lead_times.get((line.material_id, order.supplier_id), UNKNOWN)
        sent_date = order.sent_at.astimezone(zone).date()
        due = order.promised_date or sent_date + timedelta(days=ceil(lead_time.mean_days))
        found.append(
            ExpectedReceipt(
                place=areas[order.place_id],
                material=line.material,
                owner=company.party,
                due_date=max(due, as_of),
                quantity=awaited,
                lateness_sd_days=lead_time.sd_days,
                reference=order.reference,
                is_late=due < as_of,
            )
        )
    return found


def _lead_times_of(lines: list[OrderLine]) -> dict[tuple[int, int], LearntLeadTime]:
    terms = SupplyTerms.objects.filter(
        material__in={line.material_id for line in lines},
        supplier__in={line.order.supplier_id for line in lines},
    )
    learnt = find_lead_times(list(terms))
    return {(row.material_id, row.supplier_id): learnt[row.pk] for row in terms}


def _from_shipments(
    areas: Mapping[int, Place], as_of: date, materials: MaterialRange | None
) -> list[ExpectedReceipt]:
    lines = (
        ShipmentLine.objects.filter(
            select_materials(materials),
            shipment__target__in=list(areas),
            shipment__state__in=Shipment.OPEN,
            material__isnull=False,
        )
        .select_related("shipment", "material", "owner")
        .prefetch_related("arrived")
        .order_by("pk")
    )
    found = []
    for line in lines:
        left = line.quantity - sum(row.quantity for row in line.arrived.all())
        if left <= 0:
            continue
        due = line.shipment.expected_date or as_of
        assert line.material is not None
        found.append(
            ExpectedReceipt(
                place=areas[line.shipment.target_id],
                material=line.material,
                owner=line.owner,
                due_date=max(due, as_of),
                quantity=left,
                lateness_sd_days=0.0,
                reference=line.shipment.reference,
                is_shipment=True,
                is_late=due < as_of,
            )
        )
    return found
