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
from inventory.queries.lead_times import UNKNOWN_LEAD_TIME, find_lead_times, prior_spread
from inventory.queries.order_progress import find_progress
from inventory.queries.supply_areas import MaterialRange, select_materials

# A shipment of which nobody said when it is to arrive (an estimate, no source).
UNKNOWN_TRANSIT_DAYS, UNKNOWN_TRANSIT_SD_DAYS = 3.0, 2.0


@dataclass(frozen=True)
class ExpectedReceipt:
    """So much of a material that should come to a warehouse on a day. Millionths of the stock unit.

    `planned_date` is the day that was promised or follows from the supplier's lead time; None where nobody
    knows. `due_date` is the day it is reckoned with, never before the day asked about, `lateness_sd_days` the
    spread around it. `reference` is the order's or shipment's.
    """

    place: Place
    material: Material
    owner: Party
    due_date: date
    quantity: int
    lateness_sd_days: float
    reference: str
    planned_date: date | None
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
        lead_time = lead_times.get((line.material_id, order.supplier_id))
        sent_date = order.sent_at.astimezone(zone).date()
        planned, due, spread = _when_ordered(sent_date, order.promised_date, lead_time)
        due, spread = _reckon_with(due, spread, as_of)
        found.append(
            ExpectedReceipt(
                place=areas[order.place_id],
                material=line.material,
                owner=company.party,
                due_date=due,
                quantity=awaited,
                lateness_sd_days=spread,
                reference=order.reference,
                planned_date=planned,
                is_late=planned is not None and planned < as_of,
            )
        )
    return found


def _when_ordered(
    sent: date, promised: date | None, lead_time: LearntLeadTime | None
) -> tuple[date | None, date, float]:
    """The day that was said, the day to reckon with and its spread, before it is asked what is overdue."""
    if promised is not None:
        spread = lead_time.sd_days if lead_time else prior_spread((promised - sent).days)
        return promised, promised, spread
    usual = lead_time or UNKNOWN_LEAD_TIME
    due = sent + timedelta(days=ceil(usual.mean_days))
    return due if lead_time else None, due, usual.sd_days


def _reckon_with(due: date, spread: float, as_of: date) -> tuple[date, float]:
    """What is overdue is expected to take as much longer again, give or take as much.

    An estimate without source: all that is known of it is how long it has not come.
    """
    late = (as_of - due).days
    if late <= 0:
        return due, spread
    return as_of + timedelta(days=late), max(spread, float(late))


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
    lines = list(
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
    if not lines:
        return []
    zone = ZoneInfo(get_company().time_zone)
    found = []
    for line in lines:
        left = line.quantity - sum(row.quantity for row in line.arrived.all())
        if left <= 0:
            continue
        planned = line.shipment.expected_date
        due, spread = _reckon_with(*_when_shipped(line.shipment, zone), as_of)
        assert line.material is not None
        found.append(
            ExpectedReceipt(
                place=areas[line.shipment.target_id],
                material=line.material,
                owner=line.owner,
                due_date=due,
                quantity=left,
                lateness_sd_days=spread,
                reference=line.shipment.reference,
                planned_date=planned,
                is_shipment=True,
                is_late=planned is not None and planned < as_of,
            )
        )
    return found


def _when_shipped(shipment: Shipment, zone: ZoneInfo) -> tuple[date, float]:
    """Our own goods come on the day that was said; where none was, within the next days."""
    if shipment.expected_date is not None:
        return shipment.expected_date, 0.0
    sent = shipment.sent_at.astimezone(zone).date()
    return sent + timedelta(days=ceil(UNKNOWN_TRANSIT_DAYS)), UNKNOWN_TRANSIT_SD_DAYS
