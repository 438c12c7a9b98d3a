"""Rules, pressures, findings, incidents, claims and tagged fittings through the door, role by role."""

from collections.abc import Callable
from typing import Any
from uuid import uuid4

import pytest
from rest_framework.test import APIClient

from inventory.models import Actor, Material, TaggedFitting
from jobs.models import Incident, PressureLimit, RuleFinding
from jobs.queries.rules import list_rules
from jobs.services.reports.content import LossContent, ReportContent, WorkName
from jobs.services.reports.reporting import post_report
from tests.api.published import assert_answer, assert_refusal
from tests.factories.accounts import Office
from tests.factories.inventory import at, gal
from tests.factories.jobs import DAY
from tests.factories.safety import make_finding

ClientOf = Callable[[str], APIClient]
AT = "2026-03-02T12:00:00-06:00"
ROLES = ("stores", "crew", "planner", "accounts", "safety", "admin")


def _limit(**fields: Any) -> dict[str, Any]:
    return {
        "id": str(uuid4()),
        "occurred_at": AT,
        "purpose": "extraction",
        "pressure": {"value": "100", "unit": "[psi]"},
        "weakest_part": "the long hose",
        **fields,
    }


def test_rules_are_served_as_data_to_anybody(client_of: ClientOf) -> None:
    book = assert_answer("get_rules", client_of("").get("/api/v1/rules"))
    assert [rule["code"] for rule in book["rules"]] == [rule.code for rule in list_rules()]


@pytest.mark.parametrize("role", ROLES)
def test_limit_is_approved_and_withdrawn_by_safety_only_and_read_by_all(
    client_of: ClientOf, role: str
) -> None:
    client, withdrawal = client_of(role), {"occurred_at": AT, "purpose": "extraction"}
    made = client.post("/api/v1/pressure-limits", _limit(), format="json")
    if role != "safety":
        assert_refusal(made, 403, "not_allowed")
        gone = client.post("/api/v1/pressure-limits/withdrawal", withdrawal, format="json")
        assert_refusal(gone, 403, "not_allowed")
        assert not PressureLimit.objects.exists()
    else:
        body = assert_answer("approve_pressure_limit", made)
        assert body["pressure"] == {"value": "100", "unit": "[psi]"}
        rows = assert_answer("list_pressure_limits", client_of("crew").get("/api/v1/pressure-limits"))
        assert rows["results"] == [body]
        gone = client.post("/api/v1/pressure-limits/withdrawal", withdrawal, format="json")
        assert assert_answer("withdraw_pressure_limit", gone)["withdrawn_at"] is not None


def test_limit_of_another_dimension_is_refused_by_field(client_of: ClientOf) -> None:
    wrong = _limit(pressure={"value": "5", "unit": "L"}, weakest_part="")
    response = client_of("safety").post("/api/v1/pressure-limits", wrong, format="json")
    assert_refusal(response, 400, "bad_input", "/pressure/unit", "/weakest_part")


def _stop(office: Office, **fields: Any) -> RuleFinding:
    day = office.crew.days.get()
    return make_finding("projectile_inside", crew_day=day, run=office.run, **fields)


@pytest.mark.parametrize("role", ROLES)
def test_stop_is_lifted_by_safety_only(client_of: ClientOf, office: Office, role: str) -> None:
    address = f"/api/v1/findings/{_stop(office).uuid}"
    reason = {"occurred_at": AT, "reason": "all pieces are accounted for"}
    response = client_of(role).post(f"{address}/lift", reason, format="json")
    if role != "safety":
        assert_refusal(response, 403, "not_allowed")
        assert assert_answer("get_finding", client_of(role).get(address))["state"] == "open"
    else:
        assert assert_answer("lift_finding", response)["state"] == "lifted"


def test_stop_is_not_lifted_by_whoever_caused_it(client_of: ClientOf, office: Office) -> None:
    actor = office.users["safety"].actor
    assert isinstance(actor, Actor)
    finding = _stop(office, caused_by=actor)
    reason = {"occurred_at": AT, "reason": "all pieces are accounted for"}
    response = client_of("safety").post(f"/api/v1/findings/{finding.uuid}/lift", reason, format="json")
    assert_refusal(response, 403, "lifted_by_its_causer")


def test_crew_sees_findings_of_its_own_days_only(client_of: ClientOf, office: Office) -> None:
    own = _stop(office)
    foreign = make_finding("projectile_inside", crew_day=office.foreign_crew.days.get())
    rows = assert_answer("list_findings", client_of("crew").get("/api/v1/findings"))["results"]
    assert [row["id"] for row in rows] == [str(own.uuid)]
    for address in (foreign.uuid, "nothing"):
        assert_refusal(client_of("crew").get(f"/api/v1/findings/{address}"), 404, "not_found")
    assert len(client_of("safety").get("/api/v1/findings?severity=stop").json()["results"]) == 2


def _incident(office: Office, **fields: Any) -> dict[str, Any]:
    return {
        "id": str(uuid4()),
        "occurred_at": AT,
        "kind": "spill",
        "job": office.job.reference,
        "span": office.span.name,
        "material": "fluid",
        "amount": {"value": "5", "unit": "[gal_us]"},
        "is_contained": False,
        "cause": "leak",
        **fields,
    }


def test_incident_is_told_by_a_crew_and_closed_by_safety(client_of: ClientOf, office: Office) -> None:
    crew, safety, told = client_of("crew"), client_of("safety"), _incident(office)
    made = assert_answer("open_incident", crew.post("/api/v1/incidents", told, format="json"))
    assert (made["amount_low"]["value"], made["amount_high"]["value"]) == ("2.500000", "7.500000")
    assert crew.post("/api/v1/incidents", told, format="json").json() == made
    other = crew.post("/api/v1/incidents", {**told, "kind": "burst"}, format="json")
    assert_refusal(other, 409, "document_conflict")
    address = f"/api/v1/incidents/{made['id']}"
    line = {"at": AT, "who": "Fire service", "how": "by telephone"}
    assert assert_answer("tell_of_incident", crew.post(f"{address}/told", line, format="json"))["told"]
    closing = {"occurred_at": AT, "note": "Soil taken away under manifest M-7."}
    for role in ("crew", "admin"):
        assert_refusal(client_of(role).post(f"{address}/closing", closing, format="json"), 403, "not_allowed")
    closed = assert_answer("close_incident", safety.post(f"{address}/closing", closing, format="json"))
    assert closed["closing_note"] == "Soil taken away under manifest M-7."
    assert assert_answer("get_incident", safety.get(address)) == closed
    assert assert_answer("list_incidents", safety.get("/api/v1/incidents"))["results"] == [closed]


@pytest.mark.parametrize(
    ("fields", "pointer"),
    [
        ({"job": ""}, "/job"),
        ({"job": "J-south", "span": "S1"}, "/job"),
        ({"span": "S9"}, "/span"),
        ({"material": None}, "/material"),
        ({"amount_low": {"value": "6", "unit": "[gal_us]"}}, "/amount"),
        ({"kind": "party"}, "/kind"),
    ],
)
def test_incident_that_cannot_be_understood_is_refused_by_field(
    client_of: ClientOf, office: Office, fields: dict[str, Any], pointer: str
) -> None:
    response = client_of("crew").post("/api/v1/incidents", _incident(office, **fields), format="json")
    assert_refusal(response, 400, "bad_input", pointer)
    assert not Incident.objects.exists()


def test_claims_are_at_cost_and_for_who_may_see_money(client_of: ClientOf, office: Office) -> None:
    span = WorkName(office.job.reference, office.span.name)
    losses = tuple(
        LossContent(
            material="fluid",
            cause="damage_by_others",
            amount=gal(gallons),
            container="D-north",
            span=span,
            is_contained=True,
            liable_party=party,
        )
        for gallons, party in ((3, "network"), (1, "network"), (4, ""))
    )
    post_report(
        id=uuid4(),
        by=office.world.other_actor,
        occurred_at=at(9),
        crew_code="north",
        date=DAY,
        content=ReportContent(losses=losses[:2]),
    )
    post_report(
        id=uuid4(),
        by=office.world.other_actor,
        occurred_at=at(10),
        crew_code="north",
        date=DAY,
        content=ReportContent(losses=losses[2:]),
    )
    (sheet,) = assert_answer("list_claims", client_of("accounts").get("/api/v1/claims"))["results"]
    assert (sheet["party"]["code"], sheet["cost"]["value"], sheet["unpriced"]) == ("network", "40.00", 0)
    assert [line["cost"]["value"] for line in sheet["lines"]] == ["30.00", "10.00"]
    assert client_of("accounts").get("/api/v1/claims?job=J-south").json() == {"results": []}
    for role in ("crew", "safety"):
        assert_refusal(client_of(role).get("/api/v1/claims"), 403, "not_allowed")
    assert_refusal(client_of("accounts").get("/api/v1/claims?jobs=1"), 400, "bad_input", "jobs")


@pytest.mark.parametrize("role", ROLES)
def test_fitting_is_kept_by_stores_and_approved_by_safety(
    client_of: ClientOf, office: Office, role: str
) -> None:
    Material.objects.create(
        code="pin-500", name="Pin connector", kind="fitting", stock_unit="1", fitting_role="pressure_end"
    )
    fitting = {
        "tag": "PF-1",
        "material": "pin-500",
        "place": "truck-north",
        "made_by": "A. Maker",
        "checked_by": "B. Checker",
        "made_date": "2026-01-05",
    }
    assert client_of("admin").post("/api/v1/tagged-fittings", fitting, format="json").status_code == 201
    client, address = client_of(role), "/api/v1/tagged-fittings/PF-1"
    assert_answer("get_tagged_fitting", client.get(address))
    assert len(assert_answer("list_tagged_fittings", client.get("/api/v1/tagged-fittings"))["results"]) == 1
    seen = {"id": str(uuid4()), "occurred_at": AT, "is_passed": True}
    statuses = [
        client.post("/api/v1/tagged-fittings", fitting, format="json").status_code,
        client.post(f"{address}/inspections", seen, format="json").status_code,
        client.post(
            f"{address}/approval", {"pressure": {"value": "90", "unit": "[psi]"}}, format="json"
        ).status_code,
        client.post(
            f"{address}/withdrawal", {"occurred_at": AT, "reason": "thread worn"}, format="json"
        ).status_code,
    ]
    keeps = role in {"stores", "safety", "admin"}
    if role == "crew":
        assert statuses[0] in {400, 403}
    else:
        assert statuses[0] == (201 if keeps else 403)
    assert statuses[1:] == [
        201 if keeps or role == "crew" else 403,
        200 if role == "safety" else 403,
        200 if keeps else 403,
    ]
    row = TaggedFitting.objects.get()
    assert (row.approved_pressure_kpa is not None) is (role == "safety")
