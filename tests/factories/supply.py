"""A supplier with terms, and orders with it, for the small world of goods. All invented."""

from datetime import datetime
from uuid import uuid4

from inventory.models import Material, Order, OrderLine, Party, SupplyTerms
from inventory.services.orders.life import send_order
from inventory.services.orders.lines import OrderedLine
from inventory.services.orders.terms import Break, save_terms
from inventory.services.orders.writing import write_order
from inventory.services.parties import save_party
from inventory.units import MILLION, Amount
from tests.factories.inventory import World, at


def make_supplier(code: str = "source", name: str = "Source") -> Party:
    return save_party(code=code, name=name, is_supplier=True)


def make_terms(
    supplier: Party,
    material: Material,
    *,
    unit_cost: int = 2,
    days: float = 5.0,
    pack: int = 1,
    breaks: tuple[tuple[int, int], ...] = (),
    **more: object,
) -> SupplyTerms:
    """Terms in whole units and whole money."""
    return save_terms(
        material=material,
        supplier=supplier,
        unit_cost=unit_cost * MILLION,
        lead_time_days=days,
        pack=pack * MILLION,
        breaks=[Break(quantity * MILLION, cost * MILLION) for quantity, cost in breaks],
        **more,  # type: ignore[arg-type]
    )


def make_order(
    world: World,
    supplier: Party,
    material: Material,
    amount: Amount,
    *,
    sent_at: datetime | None = None,
    unit_cost: int | None = None,
) -> OrderLine:
    """A sent order of one line, on terms or at a price of its own; the line is what tests ask about."""
    moment = sent_at or at(0)
    order = write_order(
        id=uuid4(),
        by=world.actor,
        occurred_at=moment,
        supplier=supplier,
        place=world.warehouse,
        lines=[OrderedLine(material, amount, None if unit_cost is None else unit_cost * MILLION)],
    )
    send_order(order=order, by=world.actor, occurred_at=moment)
    return Order.objects.get(pk=order.pk).lines.get()
