"""Recovery rates, core scrap and the company's limits through the door; faults by field, nothing stored."""

from collections.abc import Callable
from typing import Any

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext
from rest_framework.test import APIClient

from inventory.models import DomainEvent, Entry, TaggedFittingPolicy
from jobs.models import CompanyRules, CoreMass, RecoveryDrift, RecoveryRate, ScrapLot, ScrapPart, ScrapTerms
from tests.api.acts.case import dollars, head
from tests.api.acts.recovery import (
    RECOVERY_ACTS,
    a_core_mass,
    a_drift,
    a_finding,
    a_part,
    a_sale,
    a_weighing,
    company_rules,
    fitting_limits,
    gathered,
    scrap_terms,
    weighed,
)
from tests.api.graphql.asking import ask
from tests.api.published import assert_answer, assert_refusal
from tests.factories.accounts import Office
from tests.factories.inventory import at

ClientOf = Callable[[str], APIClient]
Json = dict[str, Any]


def send(client: APIClient, name: str, body: Json, names: Json | None = None, **headers: str) -> Any:
    return RECOVERY_ACTS[name].send(client, body, names or {}, **headers)


def make_rate(group: str, name: str, ratio: float, **fields: Any) -> RecoveryRate:
    values = {
        "readings": 12,
        "spans": 14,
        "injected_m3": 1.0,
        "recovered_m3": ratio,
        "low": ratio - 0.05,
        "high": ratio + 0.05,
        "confidence": 0.95,
        "computed_at": at(0),
    }
    return RecoveryRate.objects.create(group=group, name=name, ratio=ratio, **{**values, **fields})


def test_rates_say_who_drifts_and_what_is_out_of_bounds(client_of: ClientOf, office: Office) -> None:
    a_drift(office)
    make_rate("crew", "north", 0.9)
    make_rate("crew", "south", 0.45)
    make_rate("size", ".500", 1.2)
    make_rate("size", ".750", 1.02)
    make_rate("month", "2026-03", 0.9, readings=1, low=None, high=None)
    rows = assert_answer("list_recovery_rates", client_of("planner").get("/api/v1/recovery-rates"))["results"]
    found = {row["name"]: (row["is_drifting"], row["remark"]) for row in rows}
    assert found == {
        "north": (True, ""),
        "south": (False, "less than half of what was injected came back"),
        ".500": (False, "more came back than was injected, beyond what the readings scatter"),
        ".750": (False, ""),
        "2026-03": (False, ""),
    }
    crews = client_of("planner").get("/api/v1/recovery-rates?group=crew").json()["results"]
    assert [row["name"] for row in crews] == ["north", "south"]
    query = '{ recoveryRates(group: "month") { results { ratio low } } recoveryDrifts { results { crew } } }'
    assert ask(client_of("safety"), query) == {
        "recoveryRates": {"results": [{"ratio": 0.9, "low": None}]},
        "recoveryDrifts": {"results": [{"crew": "north"}]},
    }


def test_picture_comes_with_its_table(client_of: ClientOf, office: Office) -> None:
    make_rate("size", ".500", 0.9)
    make_rate("all", "", 0.91)
    body = assert_answer("get_recovery_picture", client_of("stores").get("/api/v1/recovery-rates/picture"))
    assert [row["size"] for row in body["table"]["rows"]] == [".500", "all"]
    assert body["svg"].startswith("<svg")


def test_drift_is_looked_at_once(client_of: ClientOf, office: Office) -> None:
    names, client = a_drift(office), client_of("planner")
    made = assert_answer("look_at_drift", send(client, "look at a drift", a_finding(office), names))
    assert (made["finding"], made["looked_by"]["code"]) == ("a worn seal", "user-planner")
    again = send(client_of("stores"), "look at a drift", a_finding(office, finding="nothing"), names)
    assert again.json() == made
    rows = assert_answer("list_recovery_drifts", client.get("/api/v1/recovery-drifts?crew=north"))["results"]
    assert rows == [made]
    for unknown in ("9999", "x", "9" * 30):
        response = send(client, "look at a drift", a_finding(office), {"drift": unknown})
        assert_refusal(response, 404, "not_found")


def test_core_is_gathered_weighed_split_and_sold(client_of: ClientOf, office: Office) -> None:
    admin = client_of("admin")
    mass = assert_answer("set_core_mass", send(admin, "core mass", a_core_mass(office, grams_per_m=50)))
    assert mass["is_measured"] is True
    for job, owner in (("J-north", "own"), ("J-south", "network")):
        terms = send(admin, "whose core", scrap_terms(office, job=job, owner=owner))
        assert assert_answer("set_scrap_terms", terms)["owner"]["code"] == owner
    metres = {"value": "100", "unit": "m"}
    part = a_part(office, length=metres)
    made = assert_answer("gather_core", send(client_of("crew"), "gather core", part))
    assert (made["expected"], made["cable_size"]) == ({"value": "5000.000000", "unit": "g"}, ".500")
    assert send(client_of("crew"), "gather core", part).json() == made
    send(admin, "gather core", a_part(office, job="J-south", length={"value": "300", "unit": "m"}))
    lot = {"lot": "LOT-1"}
    closed = assert_answer(
        "weigh_scrap_lot", send(client_of("stores"), "weigh core", a_weighing(office), lot)
    )
    shares = {row["job"]: row["weighed"]["value"] for row in closed["shares"]}
    assert shares == {"J-north": "2250.000000", "J-south": "6750.000000"}
    sold = assert_answer("sell_scrap_lot", send(client_of("accounts"), "sell core", a_sale(office), lot))
    assert [row["proceeds"] for row in sold["shares"]] == [dollars("7.50"), dollars("22.50")]
    assert sold["state"] == "sold"
    job = assert_answer("get_job_scrap", client_of("accounts").get("/api/v1/jobs/J-north/core-scrap"))
    assert (job["credited"], job["owed"]) == (dollars("7.50"), dollars("0.00"))
    assert [row["credited"] for row in job["credits"]] == [dollars("7.50")]
    theirs = client_of("accounts").get("/api/v1/jobs/J-south/core-scrap").json()
    assert (theirs["credited"], theirs["owed"]) == (dollars("0.00"), dollars("22.50"))
    assert assert_answer("get_scrap_lot", admin.get("/api/v1/scrap-lots/LOT-1")) == sold
    assert assert_answer("list_scrap_lots", admin.get("/api/v1/scrap-lots?state=sold"))["results"] == [sold]
    assert_answer("list_scrap_terms", admin.get("/api/v1/scrap-terms?job=J-north"))
    assert_answer("list_core_masses", admin.get("/api/v1/core-masses"))
    again = send(client_of("accounts"), "sell core", a_sale(office, proceeds=dollars("31.00")), lot)
    assert_refusal(again, 409, "scrap_lot_closed")


@pytest.mark.parametrize("role", ["crew", "safety"])
def test_who_sees_no_money_does_not_see_what_core_brought(
    client_of: ClientOf, office: Office, role: str
) -> None:
    names = weighed(office)
    send(client_of("accounts"), "sell core", a_sale(office), names)
    client = client_of(role)
    job = assert_answer("get_job_scrap", client.get("/api/v1/jobs/J-north/core-scrap"))
    assert (job["credited"], job["credits"][0]["credited"]) == (None, None)
    assert job["weighed"]["value"] == "4500.000000"
    assert "USD" not in client.get("/api/v1/scrap-lots").content.decode()
    found = ask(client, '{ jobScrap(job: "J-north") { credited { value } credits { owed { value } } } }')
    assert found["jobScrap"] == {"credited": None, "credits": [{"owed": None}]}


def test_lot_of_unknown_owner_is_not_split(client_of: ClientOf, office: Office) -> None:
    names = gathered(office)
    ScrapTerms.objects.all().delete()
    response = send(client_of("stores"), "weigh core", a_weighing(office), names)
    body = assert_refusal(response, 409, "scrap_owner_unknown")
    assert "J-north, J-south" in body["detail"]
    assert ScrapLot.objects.get().state == "gathered"


def test_rules_are_changed_by_who_saw_them(client_of: ClientOf, office: Office) -> None:
    safety, address = client_of("safety"), "/api/v1/company-rules"
    seen = safety.get(address)
    body = assert_answer("get_company_rules", seen)
    assert body["unaccounted_limit"] == {"value": "20.000000", "unit": "L"}
    assert body["remarks"] == ["No cut-off is set: no loaded kit without report is flagged."]
    wanted = company_rules(office, unaccounted_limit={"value": "4", "unit": "[gal_us]"})
    assert_refusal(send(safety, "company rules", wanted), 428, "precondition_missing")
    changed = send(safety, "company rules", wanted, **{"if-match": seen["ETag"]})
    told = assert_answer("set_company_rules", changed)
    assert told["unaccounted_limit"]["value"] == "15.141647"
    assert (told["report_cut_off_time"], told["remarks"]) == ("19:30", [])
    assert told["version"] == changed["ETag"] != seen["ETag"]
    assert_refusal(send(safety, "company rules", wanted, **{"if-match": seen["ETag"]}), 412, "stale_version")
    event = DomainEvent.objects.get(kind="company_rules_changed")
    assert event.body["by"] == "user-safety"
    assert set(event.body["changed"]) == {
        "unaccounted_limit_l",
        "unaccounted_limit_share",
        "report_cut_off_time",
    }
    send(safety, "company rules", wanted, **{"if-match": "*"})
    assert DomainEvent.objects.filter(kind="company_rules_changed").count() == 1
    none = company_rules(office, unaccounted_limit=None, unaccounted_limit_share=None)
    case = RECOVERY_ACTS["company rules"]
    payload = case.ask(safety, none, {}, "remarks version", if_match=told["version"])
    assert payload["result"]["remarks"] == [
        "No limit of unaccounted fluid is set: safety is never told of any."
    ]
    stale = case.ask(safety, none, {}, "version", if_match=told["version"])
    assert [error["code"] for error in stale["errors"]] == ["stale_version"]


def test_fitting_limits_say_where_none_is_approved(client_of: ClientOf, office: Office) -> None:
    safety = client_of("safety")
    body = assert_answer("get_fitting_limits", safety.get("/api/v1/fitting-limits"))
    assert (body["most_uses"], len(body["remarks"])) == (None, 2)
    wanted = fitting_limits(office, longest_age_days=None)
    told = assert_answer(
        "set_fitting_limits", send(safety, "fitting limits", wanted, **{"if-match": body["version"]})
    )
    assert (told["most_uses"], told["remarks"]) == (40, ["No limit of age approved for tagged fittings."])
    found = ask(client_of("crew"), "{ fittingLimits { mostUses } companyRules { markToleranceFraction } }")
    assert found == {"fittingLimits": {"mostUses": 40}, "companyRules": {"markToleranceFraction": 0.01}}


WRONG: list[tuple[str, Callable[..., Json], Json, tuple[str, ...]]] = [
    ("look at a drift", a_finding, {"finding": " "}, ("/finding",)),
    ("core mass", a_core_mass, {"grams_per_m": 0}, ("/grams_per_m",)),
    ("core mass", a_core_mass, {"source": ""}, ("/source",)),
    ("core mass", a_core_mass, {"cable_size": ".999"}, ("/cable_size",)),
    ("whose core", scrap_terms, {"job": ""}, ("/job",)),
    ("whose core", scrap_terms, {"owner": "nobody"}, ("/owner",)),
    ("gather core", a_part, {"length": {"value": "1", "unit": "kg"}}, ("/length/unit",)),
    ("gather core", a_part, {"length": {"value": "0", "unit": "m"}}, ("/length",)),
    ("gather core", a_part, {"lot": " "}, ("/lot",)),
    ("gather core", a_part, {"span": "S9"}, ("/span",)),
    ("gather core", a_part, {"span": ""}, ("/cable_size",)),
    ("weigh core", a_weighing, {"mass": {"value": "1", "unit": "m"}}, ("/mass/unit",)),
    ("weigh core", a_weighing, {"mass": {"value": "0", "unit": "kg"}}, ("/mass",)),
    ("sell core", a_sale, {"buyer": " "}, ("/buyer",)),
    ("sell core", a_sale, {"proceeds": dollars("-1")}, ("/proceeds/value",)),
    ("company rules", company_rules, {"unaccounted_limit_share": 1.5}, ("/unaccounted_limit_share",)),
    ("company rules", company_rules, {"unaccounted_limit": {"value": "9", "unit": "kg"}},
     ("/unaccounted_limit/unit",)),
    ("company rules", company_rules, {"unaccounted_limit": {"value": "2000000", "unit": "L"}},
     ("/unaccounted_limit",)),
    ("company rules", company_rules, {"report_cut_off_time": "25:00"}, ("/report_cut_off_time",)),
    ("company rules", company_rules, {"recovered_coverage_factor": 11}, ("/recovered_coverage_factor",)),
    ("fitting limits", fitting_limits, {"most_uses": 0}, ("/most_uses",)),
    ("fitting limits", fitting_limits, {"inspection_holds_days": -1}, ("/inspection_holds_days",)),
]  # fmt: skip


@pytest.mark.parametrize(("name", "make", "fields", "pointers"), WRONG)
def test_what_is_wrong_is_named_and_nothing_is_stored(
    client_of: ClientOf,
    office: Office,
    name: str,
    make: Callable[..., Json],
    fields: Json,
    pointers: tuple[str, ...],
) -> None:
    names = RECOVERY_ACTS[name].names(office)
    kinds = (Entry, ScrapPart, ScrapTerms, CompanyRules, TaggedFittingPolicy, DomainEvent)
    before = [kind.objects.count() for kind in kinds]
    client = client_of("safety" if name in {"company rules", "fitting limits"} else "admin")
    response = send(client, name, make(office, **fields), names, **{"if-match": "*"})
    assert_refusal(response, 400, "bad_input", *pointers)
    assert before == [kind.objects.count() for kind in kinds]
    assert not CoreMass.objects.filter(is_measured=True).exists()
    assert not ScrapLot.objects.filter(state="sold").exists()
    assert not RecoveryDrift.objects.filter(looked_at__isnull=False).exists()


def test_queries_do_not_grow_with_rates_and_lots(client_of: ClientOf, office: Office) -> None:
    counts, client = [], client_of("admin")
    a_drift(office)
    for many in (2, 8):
        for number in range(many):
            make_rate("month", f"20{many}{number}-03", 0.9)
            send(client, "gather core", {**a_part(office), **head(), "lot": f"L-{many}-{number}"})
        for noun in ("recovery-rates", "recovery-drifts", "scrap-lots", "scrap-terms"):
            with CaptureQueriesContext(connection) as queries:
                assert client.get(f"/api/v1/{noun}").status_code == 200
            counts.append(len(queries))
    assert counts[:4] == counts[4:]
