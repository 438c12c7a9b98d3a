"""Items of the OWASP API Security Top 10 (2023) that no other test is named for.

API1 and API5 are the tables of `test_every_operation.py` and `graphql/test_roles.py`; API2, API4, API7, API10
stand with sign-in, documents and webhooks.
"""

import re
from collections.abc import Callable

import pytest
from django.test import Client
from rest_framework.test import APIClient

from api.rest.reference import make_schema
from api.rest.urls import ADDRESSES
from inventory.models import Entry
from tests.api.published import assert_refusal
from tests.api.rest import requests
from tests.factories.accounts import PASSWORD, Office

ClientOf = Callable[[str], APIClient]
# Worded by the protocol's own documents, and the page itself.
NOT_DESCRIBED = {"oauth/token", "oauth/revocation", "schema", "reference", "calculations/<str:name>"}


@pytest.mark.parametrize("field", ["actor", "recorded_at", "key", "fingerprint", "booked_date"])
def test_owasp_api3_broken_object_property_level_authorization_field_of_ours_is_refused(
    client_of: ClientOf, office: Office, field: str
) -> None:
    before = Entry.objects.count()
    body = {**requests.a_draw(office), field: "x"}
    response = client_of("admin").post("/api/v1/entries", body, format="json")
    assert_refusal(response, 400, "bad_input", f"/{field}")
    assert Entry.objects.count() == before


def test_owasp_api3_broken_object_property_level_authorization_nobody_gives_themselves_a_role(
    client_of: ClientOf, office: Office
) -> None:
    body = {"current": PASSWORD, "new": "quite another one 7", "role": "admin"}
    response = client_of("crew").put("/api/v1/session/password", body, format="json")
    assert_refusal(response, 400, "bad_input", "/role")
    office.users["crew"].refresh_from_db()
    assert office.users["crew"].role == "crew"
    assert office.users["crew"].check_password(PASSWORD)


def test_owasp_api6_unrestricted_access_to_sensitive_business_flows_sign_in_is_throttled(
    office: Office,
) -> None:
    body = {"name": "crew", "password": PASSWORD}
    found = [APIClient().post("/api/v1/session", body, format="json").status_code for _ in range(21)]
    assert found == [200] * 20 + [429]


def test_owasp_api8_security_misconfiguration_answers_carry_no_more_than_they_must(
    client_of: ClientOf, office: Office
) -> None:
    response = client_of("admin").get("/api/v1/entries", headers={"Origin": "https://elsewhere.example"})
    assert response["X-Content-Type-Options"] == "nosniff"
    assert response["X-Frame-Options"] == "DENY"
    assert not any(name.startswith("Access-Control") for name in response.headers)
    assert "Server" not in response.headers
    assert Client().get("/api/v1/entries", headers={"Host": "elsewhere.example"}).status_code == 400
    assert client_of("admin").generic("TRACE", "/api/v1/entries").status_code == 405


def test_owasp_api9_improper_inventory_management_every_address_is_described() -> None:
    described = {path.removeprefix("/api/v1/") for path in make_schema()["paths"]}
    served = {
        re.sub(r"<\w+:(\w+)>", r"{\1}", address)
        for address, _view, _name in ADDRESSES
        if address not in NOT_DESCRIBED
    }
    assert served <= described
    assert {path.split("/")[0] for path in described} == {
        path.split("/")[0] for path in served | {"calculations"}
    }
