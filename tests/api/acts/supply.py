"""Acts of buying."""

from typing import Any
from uuid import uuid4

from inventory.services.posting import End
from inventory.services.receiving.judging import ArrivedLine
from inventory.services.receiving.outcomes import Decision, decide_held
from inventory.services.receiving.receipts import receive_delivery
from tests.api.acts.case import ActCase, Json, head
from tests.factories.accounts import Office
from tests.factories.inventory import at, each
from tests.factories.supply import make_supplier


def a_supplier(_office: Office, **fields: Any) -> Json:
    return {
        "code": "pipes",
        "name": "Pipe Supply",
        "order_cost": {"value": "30.00", "currency": "USD"},
        "least_order_value": {"value": "500.00", "currency": "USD"},
        **fields,
    }


def some_terms(office: Office, **fields: Any) -> Json:
    make_supplier()
    return {
        "material": "fluid",
        "supplier": "source",
        "unit_cost": {"value": "2.00", "currency": "USD"},
        "lead_time_days": 5,
        **fields,
    }


def a_credit(_office: Office, **fields: Any) -> Json:
    return {**head(), "amount": {"value": "70.00", "currency": "USD"}, "document": "CN-1", **fields}


def sent_back(office: Office) -> Json:
    """The name of goods that went back to their supplier, 80.00 to be credited."""
    world, supplier = office.world, make_supplier()
    arrived = ArrivedLine(
        world.projectile, each(10), End(world.warehouse), unit_cost=8_000_000, finding="unordered"
    )
    receipt = receive_delivery(
        id=uuid4(),
        by=world.actor,
        occurred_at=at(0),
        supplier=supplier,
        place=world.warehouse,
        lines=[arrived],
    )
    decision = Decision("sent_back", expected_credit=80_000_000)
    made = decide_held(
        id=uuid4(),
        by=world.actor,
        occurred_at=at(1),
        received_line=receipt.lines.get(),
        decision=decision,
    )
    return {"outcome": str(made.uuid)}


BUYERS = (401, 201, 403, 403, 403, 403, 201)


SUPPLY_ACTS: dict[str, ActCase] = {
    "supplier": ActCase("setSupplier", "suppliers", a_supplier, BUYERS),
    "terms": ActCase("setSupplyTerms", "supply-terms", some_terms, BUYERS),
    "credit": ActCase(
        "noteSupplierCredit",
        "expected-credits/{outcome}/credit",
        a_credit,
        (401, 403, 403, 403, 201, 403, 201),
        names=sent_back,
    ),
}
