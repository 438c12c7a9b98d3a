"""Instruments and sums of months over GraphQL: the same as over REST."""

from collections.abc import Callable
from typing import Any

from rest_framework.test import APIClient

from tests.api.acts.day import INSTRUMENT_ACTS, REPORT_ACTS
from tests.api.graphql.asking import ask, refuse
from tests.api.rest.test_balances import ADDRESS, reported
from tests.factories.accounts import Office
from tests.factories.instruments import make_check, make_instrument

ClientOf = Callable[[str], APIClient]
__all__ = ["reported"]
INSTRUMENTS = """{ instruments(kind: "meter") { results { tag unit accuracyClass trustFactor daysOverdue } }
    instrument(tag: "M-1") { instrument { tag } checks { checkedDate by { code } } version } }"""
MONTH = """query ($month: String!) { monthFluid(month: $month) { month sums { fluid { code } days
    unaccounted { value } amounts { net { value } } } } }"""
CLOSE = """mutation { closeCrewDay(crew: "north", date: "2026-03-02") {
    result { revision fluids { unaccounted { value } } } errors { code } } }"""


def _close(client: APIClient) -> Any:
    return client.post("/graphql", {"query": CLOSE}, format="json").json()["data"]["closeCrewDay"]


def test_instruments_are_the_same_as_over_rest(client_of: ClientOf, office: Office) -> None:
    make_check(make_instrument())
    make_instrument("S-1", kind="scale")
    found = ask(client_of("crew"), INSTRUMENTS)
    rest = client_of("crew").get("/api/v1/instruments/M-1")
    assert [row["tag"] for row in found["instruments"]["results"]] == ["M-1"]
    assert found["instruments"]["results"][0]["accuracyClass"] == 1.0
    assert found["instrument"]["version"] == rest["ETag"]
    assert found["instrument"]["checks"] == [{"checkedDate": "2026-03-01", "by": {"code": "inspector"}}]
    refuse(client_of("crew"), '{ instrument(tag: "M-9") { version } }', "not_found", status=200)


def test_instrument_that_was_changed_since_is_not_overwritten(client_of: ClientOf, office: Office) -> None:
    case, names = INSTRUMENT_ACTS["keep an instrument"], {"tag": make_instrument().tag}
    client, body = client_of("stores"), {"kind": "meter", "unit": "[gal_us]", "resolution": 0.5}
    seen = client.get("/api/v1/instruments/M-1").json()["version"]
    assert [row["code"] for row in case.ask(client, body, names)["errors"]] == ["precondition_missing"]
    saved = case.ask(client, body, names, if_match=seen)["result"]
    assert saved["instrument"]["resolution"] == 0.5
    stale = case.ask(client, {**body, "resolution": 1.0}, names, if_match=seen)
    assert [row["code"] for row in stale["errors"]] == ["stale_version"]
    fresh = case.ask(client, {**body, "resolution": 1.0}, names, if_match=saved["version"])
    assert fresh["errors"] == []


def test_instrument_that_is_new_needs_no_version(client_of: ClientOf, office: Office) -> None:
    body = {"kind": "scale", "unit": "[lb_av]", "resolution": 0.5}
    made = INSTRUMENT_ACTS["keep an instrument"].ask(client_of("stores"), body, {"tag": "S-7"})
    assert (made["errors"], made["result"]["instrument"]["tag"]) == ([], "S-7")


def test_month_is_the_same_as_over_rest(client_of: ClientOf, reported: Office) -> None:
    assert client_of("crew").post(ADDRESS).status_code == 200
    found = ask(client_of("planner"), MONTH, month="2026-03")["monthFluid"]
    rest = client_of("planner").get("/api/v1/months/2026-03/fluid").json()
    assert found["sums"][0]["unaccounted"]["value"] == rest["sums"][0]["unaccounted"]["value"]
    assert (found["month"], found["sums"][0]["days"]) == ("2026-03", 1)
    refuse(client_of("planner"), MONTH, "not_found", status=200, month="2026-13")
    refuse(client_of("crew"), MONTH, "not_allowed", status=200, month="2026-03")


def test_day_is_closed_over_graphql_for_whoever_reports(client_of: ClientOf, reported: Office) -> None:
    assert _close(client_of("planner")) == {"result": None, "errors": [{"code": "not_allowed"}]}
    closed = _close(client_of("crew"))
    assert (closed["errors"], closed["result"]["revision"]) == ([], 1)
    assert _close(client_of("crew"))["result"]["revision"] == 1


def test_report_sent_again_over_graphql_is_the_same(client_of: ClientOf, office: Office) -> None:
    case, crew = REPORT_ACTS["report"], client_of("crew")
    body = case.make(office)
    first = case.ask(crew, body, {}, result="id entries readings { container amount { value } }")
    again = case.ask(crew, body, {}, result="id entries readings { container amount { value } }")
    assert (first["errors"], first["result"]) == ([], again["result"])
    other = case.ask(crew, {**body, "note": "another day"}, {})
    assert [row["code"] for row in other["errors"]] == ["report_conflict"]
