"""What makes no sense of terms, targets and orders is refused at every door; nothing is stored."""

import io
import json
from collections.abc import Callable
from datetime import timedelta
from typing import Any
from uuid import uuid4

import pytest
from django.core.management import call_command
from rest_framework.test import APIClient

from inventory.models import Order, PriceBreak, Requirement, StockPolicy, SupplyTerms
from inventory.queries.company import get_today
from tests.api.acts.case import Json, camel
from tests.api.acts.supply import SUPPLY_ACTS
from tests.api.rest import supply_requests as requests
from tests.api.rest.requests import dollars
from tests.factories.accounts import Office
from tests.factories.supply import make_supplier

ClientOf = Callable[[str], APIClient]
ROWS = (SupplyTerms, PriceBreak, StockPolicy, Order)
STANDING = [
    {"from_quantity": requests.pieces(200), "unit_cost": dollars("1")},
    {"from_quantity": requests.pieces(100), "unit_cost": dollars("1")},
]
TERMS = [
    pytest.param({"lead_time_days": -3}, "/lead_time_days", id="negative lead time"),
    pytest.param({"lead_time_sd_days": -1}, "/lead_time_sd_days", id="negative spread"),
    pytest.param({"breaks": STANDING}, "/breaks/1/from_quantity", id="breaks out of order"),
    pytest.param({"breaks": [STANDING[0], STANDING[0]]}, "/breaks/1/from_quantity", id="a break twice"),
    pytest.param({"pack": requests.pieces(0)}, "/pack", id="pack of nothing"),
    pytest.param({"minimum": requests.pieces(-5)}, "/minimum", id="minimum below nothing"),
]


def stored() -> list[list[Json]]:
    return [list(model.objects.order_by("pk").values()) for model in ROWS]


@pytest.fixture
def stores(client_of: ClientOf, office: Office) -> APIClient:
    make_supplier()
    return client_of("stores")


@pytest.mark.parametrize(("given", "pointer"), TERMS)
def test_terms_that_make_no_sense_are_refused_by_rest_and_graphql(
    stores: APIClient, given: Json, pointer: str
) -> None:
    case, before = SUPPLY_ACTS["terms"], stored()
    body = {**requests.some_terms(), **given}
    answer = case.send(stores, body, {})
    assert answer.status_code == 400
    assert [fault["pointer"] for fault in answer.json()["errors"]] == [pointer]
    payload = case.ask(stores, body, {})
    assert payload["result"] is None
    assert [fault["pointer"] for fault in payload["errors"]] == ["/" + as_input(pointer)]
    assert all(fault["message"] for fault in payload["errors"])
    assert stored() == before


def as_input(pointer: str) -> str:
    """GraphQL names a field as its input is written."""
    return "/".join(next(iter(camel({part: 0}))) for part in pointer.strip("/").split("/"))


@pytest.mark.parametrize("share", [1, "1.0", 1.5, -0.1, 0])
def test_a_service_of_all_or_nothing_is_refused_as_a_policy(stores: APIClient, share: Any) -> None:
    for target in ("cycle_service", "fill_rate"):
        body = {"target": target, "target_share": share}
        answer = stores.put("/api/v1/stock-policies", body, format="json")
        assert answer.status_code == 400
        assert [fault["pointer"] for fault in answer.json()["errors"]] == ["/target_share"]
    assert not StockPolicy.objects.exists()


@pytest.mark.parametrize("wrong", [("--service", "1"), ("--service", "0"), ("--days", "0"), ("--days", "-3")])
def test_a_service_or_horizon_that_cannot_be_is_refused_by_the_command(
    office: Office, wrong: tuple[str, str]
) -> None:
    refused = io.StringIO()
    with pytest.raises(SystemExit) as ended:
        call_command("restock", *wrong, "--format", "json", stdout=io.StringIO(), stderr=refused)
    assert ended.value.code == 1
    assert json.loads(refused.getvalue())["code"] == "bad_input"


@pytest.mark.parametrize(
    ("name", "request_body", "pointer"),
    [
        (
            "reorder-policy",
            {"demand_mean": 40, "demand_sd": 12, "lead_time": -1, "cycle_service": 0.9},
            "/lead_time",
        ),
        (
            "reorder-policy",
            {"demand_mean": 40, "demand_sd": 12, "lead_time": 9, "cycle_service": 1},
            "/cycle_service",
        ),
        (
            "order-quantity",
            {
                "demand_rate": 100,
                "fixed_cost": 5,
                "holding_cost_rate": 0.2,
                "breakpoints": [0, 800, 400],
                "unit_costs": [3, 2, 1],
                "discount": "all_units",
            },
            "/breakpoints",
        ),
    ],
)
def test_calculations_refuse_the_same_at_all_three_doors(
    stores: APIClient, monkeypatch: pytest.MonkeyPatch, name: str, request_body: Json, pointer: str
) -> None:
    answer = stores.post(f"/api/v1/calculations/{name}", request_body, format="json")
    assert answer.status_code == 400
    assert [fault["pointer"] for fault in answer.json()["errors"]] == [pointer]
    query = "query Ask($name: String!, $request: JSONString!) { calculation(name: $name, request: $request) }"
    variables = {"name": name, "request": json.dumps(request_body)}
    body = stores.post("/graphql", {"query": query, "variables": variables}, format="json").json()
    assert body["errors"][0]["extensions"]["code"] == answer.json()["code"]
    refused, given = io.StringIO(), io.BytesIO(json.dumps(request_body).encode())
    monkeypatch.setattr("sys.stdin", io.TextIOWrapper(given))
    with pytest.raises(SystemExit) as ended:
        call_command("calculate", name, stdout=io.StringIO(), stderr=refused)
    assert ended.value.code == 1
    assert [fault["pointer"] for fault in json.loads(refused.getvalue())["errors"]] == [pointer]


def test_nothing_is_ordered_of_a_supplier_without_terms(stores: APIClient, office: Office) -> None:
    world = office.world
    Requirement.objects.create(
        material=world.projectile,
        owner=world.company,
        place=world.warehouse,
        needed_date=get_today() + timedelta(days=3),
        mean=9_000_000_000,
        reference="crew-day:1",
    )
    before = stored()
    for address, body, pointer in (
        ("orders", requests.an_order(), "/lines/0/material"),
        (
            "joint-orders",
            requests.made(
                lines=[{"material": "projectile-12", "amount": requests.pieces(4), "place": "main-yard"}]
            ),
            "/lines/0/material",
        ),
        ("restock-orders", {"id": str(uuid4()), "materials": ["projectile-12"]}, "/materials/0"),
        ("restock-orders", {"id": str(uuid4()), "suppliers": ["source"]}, "/suppliers/0"),
    ):
        answer = stores.post(f"/api/v1/{address}", body, format="json")
        assert answer.status_code == 400, (address, answer.content)
        [fault] = answer.json()["errors"]
        assert fault["pointer"] == pointer
        assert "terms" in fault["detail"]
    assert stored() == before
    # The list says so instead of naming a supplier.
    [line] = stores.get("/api/v1/restock").json()["lines"]
    assert (line["supplier"], line["cost"]) == (None, None)
    assert "No supplier's terms are known for it." in line["why"]
