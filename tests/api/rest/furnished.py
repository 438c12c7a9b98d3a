"""An office with one thing of every sort in it, own and foreign to the crew called north."""

from collections.abc import Callable
from dataclasses import dataclass
from datetime import date
from typing import Any
from uuid import uuid4

from rest_framework.test import APIClient

from inventory.models import Container, Entry, Material, Party, Place, WasteManifest
from inventory.services.parties import save_party
from tests.api.rest import requests, supply_requests
from tests.factories.accounts import Office
from tests.factories.inventory import at
from tests.factories.jobs import make_crew_day
from tests.factories.safety import make_finding
from tests.factories.supply import make_supplier, make_terms

AT = requests.AT
DAY = "2026-03-02"
# The day before, of which both crews have reported.
REPORTED = "2026-03-01"
KINDS = {
    **dict.fromkeys(["job", "run", "span"], "5100"),
    **dict.fromkeys(["warehouse", "bin", "vehicle", "site", "transit"], "1400"),
    **dict.fromkeys(
        ["supplier", "customer", "plant", "waste", "variance", "price_variance", "write_down", "process"],
        "2000",
    ),
}
ACCOUNTS = {"accounts": [{"place_kind": kind, "account": account} for kind, account in KINDS.items()]}
A_PAPER = b"%PDF-1.7 a sheet of paper\n%%EOF"
METER = {"kind": "meter", "unit": "[gal_us]", "place": "truck-north"}


@dataclass
class Furnished:
    """The office, and the names of what was put into it."""

    office: Office
    names: dict[str, str]


def a_hand_over(source: str = "north", target: str = "south", drum: str = "") -> dict[str, Any]:
    boxes = [{"container": drum or f"D-{source}"}]
    return supply_requests.made(source=f"truck-{source}", target=f"truck-{target}", containers=boxes)


def a_field_report(crew: str = "north", **parts: Any) -> dict[str, Any]:
    reading = {"container": f"D-{crew}", "method": "dipped", "value": "50", "unit": "[gal_us]"}
    return supply_requests.made(crew=crew, readings=[reading], **{"date": DAY, **parts})


def an_incident(crew: str = "north") -> dict[str, Any]:
    what = {"kind": "spill", "material": "fluid", "amount": requests.gallons("5"), "cause": "leak"}
    return supply_requests.made(job=f"J-{crew}", span="S1", is_contained=False, **what)


def a_fitting(tag: str, crew: str = "north") -> dict[str, Any]:
    people = {"made_by": "A. Maker", "checked_by": "B. Checker", "made_date": "2026-01-05"}
    return {"tag": tag, "material": "pin-500", "place": f"truck-{crew}", **people}


def a_purchase(crew: str = "north") -> dict[str, Any]:
    line = {"material": "fluid", "amount": requests.gallons("5"), "cost": requests.dollars("61.50")}
    fields = {"supplier": "supplier-1", "vehicle": f"truck-{crew}", "ticket_number": "T-77"}
    return supply_requests.made(lines=[line], **fields)


def a_write_off() -> dict[str, Any]:
    body = requests.a_disposal()
    return {
        "id": body["id"],
        "kind": "write_off",
        "occurred_at": body["occurred_at"],
        "reason": "soaked",
        "lines": body["lines"],
    }


def a_limit() -> dict[str, Any]:
    return supply_requests.made(kind="limit", reason="one person only", limit=None)


def a_change_of_value() -> dict[str, Any]:
    change = {"material": "fluid", "place": "main-yard", "change": requests.dollars("5")}
    fields = {"kind": "revalue", "against": "price-variance", "reason": "worth more"}
    return supply_requests.made(changes=[change], **fields)


def a_bill(receipt: str, number: str = "B-1") -> dict[str, Any]:
    price = {"amount": requests.gallons("55"), "price": requests.dollars("600")}
    line = {"receipt": receipt, "material": "fluid", **price}
    fields = {"supplier": "mill", "number": number, "invoice_date": DAY, "currency": "USD"}
    return supply_requests.made(lines=[line], **fields)


def furnish(office: Office, client_of: Callable[[str], APIClient]) -> Furnished:
    """Put one of everything in, through the doors."""
    world, clients, names = office.world, {}, {}

    def send(role: str, address: str, body: Any, method: str = "post") -> Any:
        clients.setdefault(role, client_of(role))
        response = getattr(clients[role], method)(f"/api/v1/{address}", body, format="json")
        assert response.status_code in {200, 201, 202}, (address, response.content)
        return response.json()

    make_terms(make_supplier(), world.projectile, unit_cost=2, breaks=((100, 1),))
    save_party(code="mill", name="Mill", is_supplier=True)
    Material.objects.create(
        code="pin-500", name="Pin connector", kind="fitting", stock_unit="1", fitting_role="pressure_end"
    )
    Place.objects.create(code="truck-9", name="Truck 9", kind="vehicle")
    pail = {"label": "PAIL", "kind": "pail", "owner": Party.objects.get(is_company=True), "state": "clean"}
    Container.objects.create(**pail, place=Place.objects.get(code="yard"))
    names["finding"] = str(make_finding("projectile_inside", crew_day=office.crew.days.get()).uuid)
    foreign_day = office.foreign_crew.days.get()
    names["foreign finding"] = str(make_finding("projectile_inside", crew_day=foreign_day).uuid)
    for crew in (office.crew, office.foreign_crew):
        make_crew_day(crew, day=date.fromisoformat(REPORTED))
    world.drum("D-2", place=office.foreign_crew.vehicle)
    names["report"] = send("crew", "field-reports", a_field_report(date=REPORTED))["id"]
    names["foreign report"] = send("admin", "field-reports", a_field_report("south", date=REPORTED))["id"]
    names["incident"] = send("crew", "incidents", an_incident())["id"]
    names["foreign incident"] = send("admin", "incidents", an_incident("south"))["id"]
    send("admin", "tagged-fittings", a_fitting("PF-1"))
    send("admin", "tagged-fittings", a_fitting("PF-2", "south"))
    send("stores", "instruments/M-1", METER, "put")
    names["entry"] = send("crew", "entries", requests.a_report(office))["id"]
    foreign = requests.a_draw(office)
    foreign["lines"][0]["target"] = {"place": office.foreign_span.place.code}
    names["foreign entry"] = send("stores", "entries", foreign)["id"]
    names["order"] = send("stores", "orders", supply_requests.an_order())["reference"]
    names["sent order"] = send("stores", "orders", supply_requests.an_order(7))["reference"]
    send("stores", f"orders/{names['sent order']}/sending", {"occurred_at": AT})
    names["receipt"] = send("stores", "receipts", supply_requests.a_delivery(9))["id"]
    names["shipment"] = send("stores", "shipments", supply_requests.a_shipment(5))["reference"]
    names["differing"] = send("stores", "shipments", supply_requests.a_shipment(5))["reference"]
    arrival = supply_requests.made(
        unloaded=[{"position": 1, "amount": supply_requests.pieces(3)}], is_last=True
    )
    send("stores", f"shipments/{names['differing']}/arrivals", arrival)
    send("stores", "count-plans/main-yard", supply_requests.a_count_plan(), "put")
    names["sheet"] = send("stores", "count-sheets", supply_requests.a_sheet())["reference"]
    send("accounts", "accounts", ACCOUNTS, "put")
    send("accounts", "journal-batches", {"booked_until": DAY})
    names["word"] = send("stores", "second-words", a_write_off())["id"]
    for name in ("bill of", "unbilled"):
        body = requests.a_receipt() | {"source": "supplier:mill", "containers": []}
        body["lines"][0]["target"] = {"place": "main-yard", "container": "D-1"}
        names[name] = send("stores", "entries", body)["id"]
    names["bill"] = send("accounts", "invoices", a_bill(names["bill of"]))["id"]
    send("accounts", "jobs/J-north/issued-sheets", {"id": str(uuid4())})
    names["run"] = send("stores", "restock-runs", {"id": str(uuid4()), "place": "main-yard"})["id"]
    names["hand-over"] = send("admin", "hand-overs", a_hand_over("south", "north", "D-2"))["id"]
    for name, label, place in (
        ("quarantine", "D-3", office.crew.vehicle),
        ("foreign quarantine", "D-4", office.foreign_crew.vehicle),
    ):
        world.drum(label, place=place)
        hold = supply_requests.made(container=label, reason="smells of diesel")
        send("stores", "quarantines", hold)
        names[name] = hold["id"]
    for name, role, thing in (
        ("document", "crew", f"field-report&on={names['report']}"),
        ("foreign document", "admin", f"field-report&on={names['foreign report']}"),
        ("receipt document", "stores", f"receipt&on={names['receipt']}"),
    ):
        names[name] = str(uuid4())
        address = f"/api/v1/documents/{names[name]}?of={thing}&name=a"
        clients.setdefault(role, client_of(role))
        sent = clients[role].put(address, A_PAPER, content_type="application/pdf")
        assert sent.status_code == 200, sent.content
    names["import"] = str(uuid4())
    address = f"/api/v1/imports/{names['import']}?kind=field-reports&name=a"
    sent = client_of("admin").put(address, b"{}", content_type="application/octet-stream")
    assert sent.status_code == 202, sent.content
    target = {"id": str(uuid4()), "url": "https://hooks.example/y"}
    names["target"] = send("admin", "webhook-targets", target)["id"]
    manifest = WasteManifest.objects.create(
        number="M-1",
        receiver="Tip",
        entry=Entry.objects.get(uuid=names["foreign entry"]),
        handed_at=at(1),
        by=world.actor,
    )
    names["manifest"] = manifest.number
    return Furnished(office, names)
