"""Every role against every operation, on its own things and on those of others."""

from collections.abc import Callable
from typing import Any
from uuid import uuid4

import pytest
from rest_framework.test import APIClient

from inventory.models import Entry
from tests.api.acts.case import undone
from tests.api.acts.every_act import ACTS
from tests.api.rest import requests
from tests.factories.accounts import Office

ClientOf = Callable[[str], APIClient]
ADDRESS = "/api/v1/entries"
ROLES = ("", "stores", "crew", "planner", "accounts", "safety", "admin")

# Status for nobody, stores, crew, planner, accounts, safety, admin.
READS: dict[str, tuple[int, ...]] = {
    "entries": (401, 200, 200, 200, 200, 200, 200),
    "holdings": (401, 200, 200, 200, 200, 200, 200),
    "materials": (401, 200, 200, 200, 200, 200, 200),
    "materials/fluid": (401, 200, 200, 200, 200, 200, 200),
    "places": (401, 200, 200, 200, 200, 200, 200),
    "places/main-yard": (401, 200, 404, 200, 200, 200, 200),
    "places/truck-north": (401, 200, 200, 200, 200, 200, 200),
    "places/truck-south": (401, 200, 200, 200, 200, 200, 200),
    "places/span:J-north:S1": (401, 200, 200, 200, 200, 200, 200),
    "places/span:J-south:S1": (401, 200, 404, 200, 200, 200, 200),
    "containers": (401, 200, 200, 200, 200, 200, 200),
    "containers/D-north": (401, 200, 200, 200, 200, 200, 200),
    "containers/D-south": (401, 200, 404, 200, 200, 200, 200),
    "containers/D-1": (401, 200, 404, 200, 200, 200, 200),
    "jobs": (401, 200, 200, 200, 200, 200, 200),
    "jobs/J-north": (401, 200, 200, 200, 200, 200, 200),
    "jobs/J-south": (401, 200, 404, 200, 200, 200, 200),
    "jobs/J-north/statement": (401, 200, 200, 200, 200, 200, 200),
    "jobs/J-south/statement": (401, 200, 404, 200, 200, 200, 200),
    "pull-sheets/north/2026-03-02": (401, 200, 200, 200, 200, 200, 200),
    "pull-sheets/south/2026-03-02": (401, 200, 404, 200, 200, 200, 200),
    "check-list": (401, 200, 200, 200, 200, 200, 200),
    "jobs/J-north/to-come-back": (401, 200, 200, 200, 200, 200, 200),
    "jobs/J-south/to-come-back": (401, 200, 404, 200, 200, 200, 200),
    "kits-of-day/main-yard/2026-03-02": (401, 200, 403, 200, 200, 200, 200),
    "kits-of-day/yard/2026-03-02": (401, 200, 403, 200, 200, 200, 200),
    "pull-sheets?crew=north&date=2026-03-02": (401, 200, 200, 200, 200, 200, 200),
    "pull-sheets?crew=south&date=2026-03-02": (401, 200, 404, 200, 200, 200, 200),
    "field-reports": (401, 200, 200, 200, 200, 200, 200),
    "hand-overs": (401, 200, 200, 200, 200, 200, 200),
    "unconfirmed-trucks": (401, 200, 200, 200, 200, 200, 200),
    "instruments": (401, 200, 200, 200, 200, 200, 200),
    "crew-days/north/2026-03-02/balance": (401, 404, 404, 404, 404, 404, 404),
    "jobs/J-north/fluid": (401, 200, 200, 200, 200, 200, 200),
    "jobs/J-south/fluid": (401, 200, 404, 200, 200, 200, 200),
    "months/2026-03/fluid": (401, 200, 403, 200, 200, 200, 200),
    "supply-terms": (401, 200, 200, 200, 200, 200, 200),
    "suppliers": (401, 200, 200, 200, 200, 200, 200),
    "expected-credits": (401, 200, 200, 200, 200, 200, 200),
    "orders": (401, 200, 200, 200, 200, 200, 200),
    "receipts": (401, 200, 200, 200, 200, 200, 200),
    "held-goods": (401, 200, 200, 200, 200, 200, 200),
    "shipments": (401, 200, 200, 200, 200, 200, 200),
    "count-plans": (401, 200, 200, 200, 200, 200, 200),
    "count-sheets": (401, 200, 200, 200, 200, 200, 200),
    "restock": (401, 200, 403, 200, 200, 200, 200),
    "restock-runs": (401, 200, 403, 200, 200, 200, 200),
    "top-ups": (401, 200, 403, 200, 200, 200, 200),
    "stock-policies": (401, 200, 403, 200, 200, 200, 200),
    "stock-ahead/fluid?place=main-yard": (401, 404, 403, 404, 404, 404, 404),
    "rules": (200, 200, 200, 200, 200, 200, 200),
    "pressure-limits": (401, 200, 200, 200, 200, 200, 200),
    "findings": (401, 200, 200, 200, 200, 200, 200),
    "incidents": (401, 200, 200, 200, 200, 200, 200),
    "safety-notices": (401, 200, 403, 200, 200, 200, 200),
    "claims": (401, 200, 403, 200, 200, 403, 200),
    "tagged-fittings": (401, 200, 200, 200, 200, 200, 200),
    "recovered-fluid": (401, 200, 200, 200, 200, 200, 200),
    "fluid-tests": (401, 200, 200, 200, 200, 200, 200),
    "fluid-limits": (401, 200, 200, 200, 200, 200, 200),
    "fluid-policies": (401, 200, 200, 200, 200, 200, 200),
    "quarantines": (401, 200, 200, 200, 200, 200, 200),
    "waste-drums": (401, 200, 200, 200, 200, 200, 200),
    "waste-manifests": (401, 200, 200, 200, 200, 200, 200),
    "deposit-terms": (401, 200, 403, 200, 200, 403, 200),
    "deposits": (401, 200, 403, 200, 200, 403, 200),
    "deposit-balances": (401, 200, 403, 200, 200, 403, 200),
    "empties": (401, 200, 403, 200, 200, 403, 200),
    "recovery-rates": (401, 200, 403, 200, 200, 200, 200),
    "recovery-rates/picture": (401, 200, 403, 200, 200, 200, 200),
    "recovery-drifts": (401, 200, 403, 200, 200, 200, 200),
    "core-masses": (401, 200, 200, 200, 200, 200, 200),
    "scrap-terms": (401, 200, 200, 200, 200, 200, 200),
    "scrap-lots": (401, 200, 403, 200, 200, 200, 200),
    "scrap-lots/LOT-9": (401, 404, 403, 404, 404, 404, 404),
    "jobs/J-north/core-scrap": (401, 200, 200, 200, 200, 200, 200),
    "jobs/J-south/core-scrap": (401, 200, 404, 200, 200, 200, 200),
    "company-rules": (401, 200, 200, 200, 200, 200, 200),
    "fitting-limits": (401, 200, 200, 200, 200, 200, 200),
    "fluid-releases": (401, 200, 200, 200, 200, 200, 200),
    "calculations": (401, 200, 200, 200, 200, 200, 200),
    "calculations/bore-volume": (401, 200, 200, 200, 200, 200, 200),
    "problems": (200, 200, 200, 200, 200, 200, 200),
    "schema": (200, 200, 200, 200, 200, 200, 200),
    "reference": (200, 200, 200, 200, 200, 200, 200),
}


def _own_return(office: Office) -> dict[str, Any]:
    line = requests.line("fluid", requests.gallons("1"), requests.span(office), requests.truck(office))
    return requests.request("return", lines=[line])


def _own_recovery(office: Office) -> dict[str, Any]:
    caught = {
        "material": "fluid-recovered",
        "amount": requests.gallons("1"),
        "source": office.span.place.code,
        "target": {"place": "truck-north"},
    }
    return requests.request("recovery", caught=[caught])


def _own_pour(office: Office) -> dict[str, Any]:
    line = requests.line("fluid", requests.gallons("1"), requests.truck(office), {"place": "truck-north"})
    return requests.request("pour", lines=[line])


def _hand_over(office: Office) -> dict[str, Any]:
    return requests.request("transfer", containers=[{"container": "D-north", "place": "truck-south"}])


def _take_from_yard(office: Office) -> dict[str, Any]:
    line = requests.line("fluid", requests.gallons("1"), {"place": "main-yard"}, {"place": "truck-north"})
    return requests.request("transfer", lines=[line])


def _take_from_other_truck(office: Office) -> dict[str, Any]:
    line = requests.line("fluid", requests.gallons("1"), {"place": "truck-south"}, {"place": "truck-north"})
    return requests.request("transfer", lines=[line], as_report=True)


def _use_at_foreign_span(office: Office) -> dict[str, Any]:
    target = {"place": office.foreign_span.place.code}
    line = requests.line("fluid", requests.gallons("1"), requests.truck(office), target)
    return requests.request("report", lines=[line])


def _use_foreign_drum(office: Office) -> dict[str, Any]:
    source = {"place": "truck-north", "container": "D-south"}
    line = requests.line("fluid", requests.gallons("1"), source, requests.span(office))
    return requests.request("report", lines=[line])


def _undo_loading(office: Office) -> dict[str, Any]:
    first = Entry.objects.filter(movements__target_container__label="D-north").get()
    return {"id": str(uuid4()), "kind": "reversal", "reverses": str(first.uuid)}


# What a crew may not see is answered like a misspelling: 400 with a pointer.
WRITES: dict[str, tuple[Callable[[Office], dict[str, Any]], tuple[int, ...]]] = {
    "receipt": (lambda office: requests.a_receipt(), (401, 201, 400, 403, 403, 403, 201)),
    "draw": (requests.a_draw, (401, 201, 400, 403, 403, 403, 201)),
    "report": (requests.a_report, (401, 201, 201, 403, 403, 403, 201)),
    "report at another's span": (_use_at_foreign_span, (401, 201, 400, 403, 403, 403, 201)),
    "report of another's drum": (_use_foreign_drum, (401, 201, 400, 403, 403, 403, 201)),
    "return": (_own_return, (401, 201, 201, 403, 403, 403, 201)),
    "recovery": (_own_recovery, (401, 201, 201, 403, 403, 403, 201)),
    "pour": (_own_pour, (401, 201, 201, 403, 403, 403, 201)),
    "drop at a site": (requests.a_transfer, (401, 201, 201, 403, 403, 403, 201)),
    "hand over": (_hand_over, (401, 201, 201, 403, 403, 403, 201)),
    "take from the yard": (_take_from_yard, (401, 409, 400, 403, 403, 403, 409)),
    "take from another's truck": (_take_from_other_truck, (401, 201, 403, 403, 403, 403, 201)),
    "count": (lambda office: requests.a_count(), (401, 201, 400, 403, 403, 403, 201)),
    "conversion": (lambda office: requests.a_conversion(), (401, 201, 400, 403, 403, 403, 201)),
    "disposal": (lambda office: requests.a_disposal(), (401, 201, 400, 403, 403, 403, 201)),
    "revaluation": (lambda office: requests.a_revaluation(), (401, 403, 400, 403, 201, 403, 201)),
    "reversal": (_undo_loading, (401, 201, 403, 403, 403, 403, 201)),
}


@pytest.mark.parametrize("role", ROLES)
def test_role_reads_what_it_may(client_of: ClientOf, role: str) -> None:
    client, column = client_of(role), ROLES.index(role)
    found = {address: client.get(f"/api/v1/{address}").status_code for address in READS}
    assert found == {address: statuses[column] for address, statuses in READS.items()}


@pytest.mark.parametrize("name", WRITES)
@pytest.mark.parametrize("role", ROLES)
def test_role_writes_what_it_may_and_else_stores_nothing(
    client_of: ClientOf, office: Office, role: str, name: str
) -> None:
    make, statuses = WRITES[name]
    body, before = make(office), Entry.objects.count()
    response = client_of(role).post(ADDRESS, body, format="json")
    assert response.status_code == statuses[ROLES.index(role)], response.content
    assert Entry.objects.count() == before + (response.status_code == 201)


@pytest.mark.parametrize("role", ROLES[1:])
def test_only_who_may_see_money_is_shown_any(client_of: ClientOf, office: Office, role: str) -> None:
    office.world.fluid.standard_unit_cost = 9_000_000
    office.world.fluid.save()
    sees_money = role in {"stores", "planner", "accounts", "admin"}
    for noun in ("entries", "holdings", "materials"):
        text = client_of(role).get(f"/api/v1/{noun}").content.decode()
        assert ("currency" in text) is sees_money, noun


def test_crew_sees_holdings_and_entries_of_its_own_truck_and_jobs_only(
    client_of: ClientOf, office: Office
) -> None:
    both = requests.line(
        "fluid",
        requests.gallons("1"),
        {"place": "truck-south", "container": "D-south"},
        requests.span(office),
    )
    mixed = requests.request("report", lines=[both, {**both, "target": {"place": "span:J-south:S1"}}])
    assert client_of("admin").post(ADDRESS, mixed, format="json").status_code == 201
    crew = client_of("crew")
    holdings = crew.get("/api/v1/holdings").json()["results"]
    assert {row["place"]["code"] for row in holdings} == {"truck-north"}
    lines = [row for entry in crew.get(ADDRESS).json()["results"] for row in entry["movements"]]
    assert {row["target"]["place"]["code"] for row in lines} == {"truck-north", "span:J-north:S1"}


def test_crew_picks_up_at_a_site_what_was_left_there(client_of: ClientOf, office: Office) -> None:
    crew = client_of("crew")
    assert crew.post(ADDRESS, requests.a_transfer(office), format="json").status_code == 201
    line = requests.line("fluid", requests.gallons("5"), {"place": "site-1"}, {"place": "truck-north"})
    again = requests.request("transfer", lines=[line], as_report=True)
    assert crew.post(ADDRESS, again, format="json").status_code == 201


def test_crew_undoes_its_own_report(client_of: ClientOf, office: Office) -> None:
    crew, report = client_of("crew"), requests.a_report(office)
    assert crew.post(ADDRESS, report, format="json").status_code == 201
    assert crew.post(ADDRESS, requests.a_reversal(report), format="json").status_code == 201


def test_stores_of_one_warehouse_leave_the_others_alone(client_of: ClientOf, office: Office) -> None:
    office.users["stores"].warehouses.set([office.world.second_warehouse])
    stores = client_of("stores")
    assert stores.post(ADDRESS, requests.a_draw(office), format="json").status_code == 403
    load = requests.request("transfer", containers=[{"container": "D-north", "place": "north-yard"}])
    assert stores.post(ADDRESS, load, format="json").status_code == 201


def test_account_without_name_in_the_ledger_posts_nothing(client_of: ClientOf, office: Office) -> None:
    office.users["admin"].actor = None
    office.users["admin"].save()
    response = client_of("admin").post(ADDRESS, requests.a_draw(office), format="json")
    assert response.status_code == 403


@pytest.mark.parametrize("name", ACTS)
def test_roles_do_what_they_may_over_rest(client_of: ClientOf, office: Office, name: str) -> None:
    case = ACTS[name]
    body, names, before = case.make(office), case.names(office), Entry.objects.count()
    headers = {"if-match": "*"} if case.method == "put" else {}
    found = []
    for role in ROLES:
        with undone():
            response = case.send(client_of(role), body, names, **headers)
            found.append(response.status_code)
            assert response.status_code < 300 or Entry.objects.count() == before, response.content
    assert tuple(found) == case.statuses
