"""A bill's difference on goods of which a hundred thousand movements were booked since, and its undoing.

The movements are written by SQL past the service; pools and holdings stand as they add up.
"""

import time
import uuid
from collections.abc import Callable
from datetime import date

from django.db import transaction
from django.db.models import Count, Sum

from inventory.models import CostPool, Holding, Material, Movement, Party, Place
from inventory.money import to_money_millionths
from inventory.services.accounting.bills import Bill, BilledLine
from inventory.services.accounting.invoices import record_invoice, undo_invoice
from inventory.services.parties import save_party
from inventory.services.posting import End
from inventory.services.receipts import ReceiptLine, receive
from tests.benchmarks.cost_sheets import analyse, lay_out, write_movements
from tests.benchmarks.measurement import Measurement
from tests.factories.inventory import World, at, each, make_world
from tests.factories.jobs import make_job

MOVEMENTS = 120_000
SPANS = 200
RECEIVED = 200_000


def main() -> list[Measurement]:
    world = make_world()
    places = lay_out(make_job("J-1"), SPANS)
    save_party(code="mill", name="Mill", is_supplier=True)
    line = ReceiptLine(world.projectile, each(RECEIVED), End(world.warehouse), to_money_millionths("400000"))
    mill = Place.objects.get(code="supplier:mill")
    receipt = receive(id=uuid.uuid4(), by=world.actor, occurred_at=at(0), source=mill, lines=[line])
    write_movements(world, places, MOVEMENTS)
    _set_right(world, world.projectile)
    analyse()
    bill = Bill(
        supplier=Party.objects.get(code="mill"),
        number="B-1",
        invoice_date=date(2026, 3, 20),
        lines=[BilledLine(receipt, world.projectile, each(RECEIVED), to_money_millionths("401000"))],
    )
    invoice = None

    def record() -> None:
        nonlocal invoice
        invoice = record_invoice(id=uuid.uuid4(), by=world.actor, occurred_at=at(9000), bill=bill)

    recorded = _time(record)
    assert invoice is not None
    undone = _time(
        lambda: undo_invoice(invoice=invoice, by=world.actor, occurred_at=at(9001), reason="Another's.")
    )
    moved = Movement.objects.aggregate(count=Count("pk"))["count"]
    return [
        Measurement(what="movements of the material", value=moved, unit=""),
        Measurement(what="a bill's difference on goods of them", value=recorded, unit="s", at_most=1.0),
        Measurement(what="the bill undone", value=undone, unit="s", at_most=1.0),
    ]


def _time(work: Callable[[], object]) -> float:
    started = time.perf_counter()
    work()
    return time.perf_counter() - started


def _set_right(world: World, material: Material) -> None:
    """Let pools and holdings say what the movements add up to."""
    came = Movement.objects.filter(material=material, target_place__kind="span").order_by()
    sums = came.values_list("target_place").annotate(Sum("quantity"), Sum("value"))
    with transaction.atomic():
        for place, quantity, value in sums:
            CostPool.objects.filter(place=place, material=material).update(quantity=quantity, value=value)
        gone = came.aggregate(quantity=Sum("quantity"), value=Sum("value"))
        pool = CostPool.objects.get(place=world.warehouse, material=material, lot=None)
        pool.quantity, pool.value = pool.quantity - gone["quantity"], pool.value - gone["value"]
        pool.save()
        Holding.objects.filter(place=world.warehouse, material=material).update(quantity=pool.quantity)
