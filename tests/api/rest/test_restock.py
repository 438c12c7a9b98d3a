"""Restocking over REST: what to order, the stock ahead, runs, policies, and lines turned into orders."""

from collections.abc import Callable
from datetime import date, timedelta
from uuid import uuid4

import pytest
from rest_framework.test import APIClient

from inventory.models import (
    DemandWeek,
    Order,
    Party,
    Place,
    RestockRun,
    StockPolicy,
    SupplierTerms,
    SupplyTerms,
)
from inventory.queries.company import get_today
from inventory.services.restocking import runs
from inventory.tasks import work_restock_chunks
from tests.factories.accounts import Office

pytestmark = pytest.mark.django_db
ClientOf = Callable[[str], APIClient]
API = "/api/v1"


@pytest.fixture(autouse=True)
def _no_broker(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(runs, "_hint", lambda: None)


@pytest.fixture
def yard(office: Office) -> Place:
    """The main yard, whose projectiles go at seventy a week and can be bought."""
    world = office.world
    monday = get_today() - timedelta(days=get_today().weekday())
    DemandWeek.objects.bulk_create(
        DemandWeek(
            place=world.warehouse,
            material=world.projectile,
            owner=world.company,
            week_date=monday - timedelta(weeks=week),
            used=70_000_000,
        )
        for week in range(1, 31)
    )
    supplier = Party.objects.create(code="foam", name="Foam Works", is_supplier=True)
    SupplyTerms.objects.create(
        material=world.projectile, supplier=supplier, unit_cost=1_900_000, lead_time_days=7, pack=50_000_000
    )
    return world.warehouse


def test_restock_says_what_to_order_and_why(client_of: ClientOf, yard: Place) -> None:
    answer = client_of("planner").get(f"{API}/restock?place={yard.code}&days=21")
    assert answer.status_code == 200
    [line] = answer.json()["lines"]
    assert line["material"] == "projectile-12"
    assert date.fromisoformat(line["run_out_date"]) <= get_today() + timedelta(days=21)
    assert "at the usual 70 a week" in line["why"]
    assert line["supplier"] == "foam"
    wrong = client_of("planner").get(f"{API}/restock?days=0&until=never")
    assert wrong.status_code == 400
    assert {fault["pointer"] for fault in wrong.json()["errors"]} == {"days", "until"}


def test_restock_withholds_costs_from_who_may_not_see_money(client_of: ClientOf, yard: Place) -> None:
    [seen] = client_of("accounts").get(f"{API}/restock?place={yard.code}").json()["lines"]
    [withheld] = client_of("safety").get(f"{API}/restock?place={yard.code}").json()["lines"]
    assert seen["unit_cost"]["value"] == "1.90"
    assert withheld["unit_cost"] is None
    assert withheld["cost"] is None


def test_stock_ahead_comes_with_its_picture_and_table(client_of: ClientOf, yard: Place) -> None:
    address = f"{API}/stock-ahead/projectile-12"
    body = client_of("stores").get(f"{address}?place={yard.code}&days=14").json()
    assert len(body["days"]) >= 14
    assert body["days"][13]["level"] < body["days"][0]["level"]
    assert body["picture"]["svg"].startswith("<svg")
    assert len(body["picture"]["table"]["rows"]) == len(body["days"])
    picture = client_of("stores").get(f"{address}/picture.svg?place={yard.code}")
    assert picture["Content-Type"].startswith("image/svg+xml")
    assert client_of("stores").get(address).status_code == 400


def test_restock_runs_are_taken_once_and_tell_how_far_they_are(client_of: ClientOf, yard: Place) -> None:
    stores, request = client_of("stores"), {"id": str(uuid4()), "place": yard.code}
    first = stores.post(f"{API}/restock-runs", request, format="json")
    assert first.status_code == 202
    assert (first.json()["done"], first.json()["finished_at"]) == (0, None)
    assert stores.post(f"{API}/restock-runs", request, format="json").json() == first.json()
    other = stores.post(f"{API}/restock-runs", {**request, "horizon_days": 7}, format="json")
    assert other.status_code == 409
    work_restock_chunks()
    address = f"{API}/restock-runs/{request['id']}"
    done = stores.get(address).json()
    assert done["done"] == done["chunks"] > 0
    assert done["finished_at"] is not None
    found = {row["material"]: row for row in stores.get(f"{address}/results").json()["results"]}
    assert found["projectile-12"]["demand_class"] == "smooth"
    assert found["projectile-12"]["per_week"] == pytest.approx(70, abs=0.1)
    assert float(found["projectile-12"]["reorder_point"]["value"]) >= 140
    assert RestockRun.objects.filter(kind="on_demand").count() == 1


def test_stock_policies_are_set_and_refused(client_of: ClientOf, yard: Place) -> None:
    stores = client_of("stores")
    policy = {
        "place": yard.code,
        "material": "projectile-12",
        "target": "fill_rate",
        "target_share": "0.97",
        "minimum_level": {"value": "10", "unit": "1"},
        "maximum_level": {"value": "60", "unit": "1"},
    }
    answer = stores.put(f"{API}/stock-policies", policy, format="json")
    assert answer.status_code == 200
    assert answer.json()["minimum_level"] == {"value": "10.000000", "unit": "1"}
    assert stores.get(f"{API}/stock-policies").json()["results"] == [answer.json()]
    assert client_of("planner").put(f"{API}/stock-policies", policy, format="json").status_code == 403


@pytest.mark.parametrize(
    ("wrong", "pointer"),
    [
        ({"target": "cycle_service", "target_share": 1.0}, "/target_share"),
        ({"target": "cost"}, "/shortage_cost_per_day"),
        ({"return_lag_days": -1}, "/return_lag_days"),
        ({"minimum_level": {"value": "5", "unit": "1"}, "material": "projectile-12"}, "/maximum_level"),
        ({"storage_limit": {"value": "5", "unit": "1"}}, "/material"),
        ({"place": "truck-north", "holding_cost_rate": 0}, "/holding_cost_rate"),
    ],
)
def test_stock_policies_refuse_what_makes_no_sense(
    client_of: ClientOf, yard: Place, wrong: dict[str, object], pointer: str
) -> None:
    answer = client_of("stores").put(f"{API}/stock-policies", wrong, format="json")
    assert answer.status_code == 400
    assert pointer in {fault["pointer"] for fault in answer.json()["errors"]}
    assert not StockPolicy.objects.exists()


def test_restock_orders_write_a_line_once(client_of: ClientOf, yard: Place) -> None:
    stores, request = client_of("stores"), {"id": str(uuid4()), "materials": ["projectile-12"]}
    first = stores.post(f"{API}/restock-orders", request, format="json")
    assert first.status_code == 201
    again = stores.post(f"{API}/restock-orders", request, format="json")
    assert again.json() == first.json()
    order = Order.objects.get()
    [line] = order.lines.all()
    assert (order.state, order.supplier.code, line.quantity % 50_000_000) == ("written", "foam", 0)
    assert "at the usual 70 a week" in line.why
    wrong = stores.post(
        f"{API}/restock-orders", {**request, "id": str(uuid4()), "materials": ["fluid"]}, format="json"
    )
    assert wrong.status_code == 400
    assert Order.objects.count() == 1


def test_restock_proposes_orders_and_writes_a_supplier_s_whole_group(
    client_of: ClientOf, office: Office, yard: Place
) -> None:
    world, stores = office.world, client_of("stores")
    monday = get_today() - timedelta(days=get_today().weekday())
    DemandWeek.objects.bulk_create(
        DemandWeek(
            place=yard, material=world.fluid, owner=world.company, week_date=monday - timedelta(weeks=week),
            used=90_000_000,
        )
        for week in range(1, 31)
    )  # fmt: skip
    foam = Party.objects.get(code="foam")
    SupplyTerms.objects.create(material=world.fluid, supplier=foam, unit_cost=2_000_000, lead_time_days=7)
    SupplierTerms.objects.create(supplier=foam, order_cost=20_000_000, least_order_value=9_000_000_000)
    [order] = stores.get(f"{API}/restock").json()["orders"]
    assert (order["supplier"], order["place"], len(order["lines"])) == ("foam", yard.code, 2)
    assert client_of("safety").get(f"{API}/restock").json()["orders"][0]["least_value"] is None
    seen = order
    assert seen["least_value"] == {"value": "9000.00", "currency": "USD"}
    assert float(seen["missing_value"]["value"]) == 9000 - float(seen["goods"]["value"])
    request = {"id": str(uuid4()), "suppliers": ["foam"]}
    answer = stores.post(f"{API}/restock-orders", request, format="json")
    assert answer.status_code == 201
    written = Order.objects.get()
    assert {(row.material.code, row.quantity) for row in written.lines.all()} == {
        (row["material"], round(float(row["quantity"]["value"]) * 10**6)) for row in order["lines"]
    }
    wrong = {"id": str(uuid4()), "suppliers": ["nobody"]}
    refused = stores.post(f"{API}/restock-orders", wrong, format="json")
    assert (refused.status_code, refused.json()["errors"][0]["pointer"]) == (400, "/suppliers/0")
    nothing = stores.post(f"{API}/restock-orders", {"id": str(uuid4())}, format="json")
    assert nothing.status_code == 400
    assert Order.objects.count() == 1


def test_restock_orders_are_written_for_own_warehouses_only(
    client_of: ClientOf, office: Office, yard: Place
) -> None:
    DemandWeek.objects.update(place=office.world.second_warehouse)
    office.users["stores"].warehouses.set([yard])
    there = {"id": str(uuid4()), "materials": ["projectile-12"]}
    assert client_of("stores").post(f"{API}/restock-orders", there, format="json").status_code == 400
    named = {**there, "place": office.world.second_warehouse.code}
    assert client_of("stores").post(f"{API}/restock-orders", named, format="json").status_code == 403
    assert not Order.objects.exists()
    assert client_of("admin").post(f"{API}/restock-orders", there, format="json").status_code == 201
