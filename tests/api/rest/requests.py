"""Requests that make entries, one of each kind, in the small world of an office."""

from typing import Any
from uuid import uuid4

from tests.factories.accounts import Office

Json = dict[str, Any]
AT = "2026-03-02T12:00:00-06:00"


def gallons(value: str) -> Json:
    return {"value": value, "unit": "[gal_us]"}


def dollars(value: str) -> Json:
    return {"value": value, "currency": "USD"}


def request(kind: str, **fields: Any) -> Json:
    return {"id": str(uuid4()), "kind": kind, "occurred_at": AT, **fields}


def line(material: str, amount: Any, source: Json, target: Json) -> Json:
    return {"material": material, "amount": amount, "source": source, "target": target}


def truck(office: Office) -> Json:
    return {"place": "truck-north", "container": "D-north"}


def span(office: Office) -> Json:
    return {"place": office.span.place.code}


def yard() -> Json:
    return {"place": "main-yard", "container": "D-1"}


def a_receipt() -> Json:
    drum = {
        "label": "D-9",
        "kind": "drum",
        "material": "fluid",
        "place": "main-yard",
        "capacity": gallons("57"),
    }
    return request(
        "receipt",
        source="supplier-1",
        document="slip 7",
        containers=[drum, {"label": "T-1", "kind": "tote", "place": "main-yard", "state": "clean"}],
        lines=[
            {
                "material": "fluid",
                "amount": gallons("55"),
                "target": {"place": "main-yard", "container": "D-9"},
                "cost": dollars("612.505"),
            }
        ],
    )


def a_draw(office: Office, amount: str = "5") -> Json:
    return request("draw", lines=[line("fluid", gallons(amount), yard(), span(office))])


def a_report(office: Office) -> Json:
    used = line("fluid", gallons("5"), truck(office), span(office))
    return request("report", lines=[{**used, "purpose": "lost", "cause": "spill"}])


def a_transfer(office: Office) -> Json:
    return request("transfer", containers=[{"container": "D-north", "place": "site-1"}])


def a_count() -> Json:
    found = {"material": "fluid", "amount": gallons("54"), "place": "main-yard", "container": "D-1"}
    return request("count", found=[found])


def a_disposal() -> Json:
    return request("disposal", lines=[line("fluid", "rest", yard(), {"place": "waste"})], document="M-1")


def a_conversion() -> Json:
    return request(
        "conversion",
        inputs=[{"material": "fluid", "amount": gallons("1"), **yard()}],
        outputs=[{"material": "projectile-12", "amount": {"value": 2, "unit": "1"}, "place": "main-yard"}],
    )


def a_revaluation() -> Json:
    change = {"material": "fluid", "place": "main-yard", "change": dollars("-10")}
    return request("revaluation", against="write-down", changes=[change], reason="aged")


def a_reversal(of: Json) -> Json:
    return {"id": str(uuid4()), "kind": "reversal", "reverses": of["id"], "reason": "typed twice"}
