"""The published description: valid, complete, and readable without any other address."""

import re
from collections.abc import Callable

from django.test import Client
from drf_spectacular.validation import validate_schema
from jsonschema import Draft202012Validator
from rest_framework.test import APIClient

from api.rest.reference import make_schema
from api.wire.entry_requests import ENTRY_REQUESTS
from tests.api.rest import requests
from tests.factories.accounts import Office

ClientOf = Callable[[str], APIClient]


def test_schema_is_valid_openapi_3_1() -> None:
    schema = make_schema()
    assert schema["openapi"].startswith("3.1")
    validate_schema(schema)
    for shape in schema["components"]["schemas"].values():
        Draft202012Validator.check_schema(shape)


def test_schema_names_only_shapes_that_are_there() -> None:
    schema = make_schema()
    named = set(re.findall(r"#/components/schemas/(\w+)", repr(schema)))
    assert named <= set(schema["components"]["schemas"])


def test_every_operation_says_what_it_does_and_how_it_refuses() -> None:
    for path, operations in make_schema()["paths"].items():
        for method, operation in operations.items():
            assert operation["description"], (method, path)
            assert "application/problem+json" in operation["responses"]["default"]["content"]
            assert operation.get("security") or "problems" in path


def test_published_requests_take_what_the_door_takes_and_refuse_what_it_refuses(office: Office) -> None:
    schema = make_schema()
    validator = Draft202012Validator(
        {"$ref": "#/components/schemas/EntryRequest", "components": schema["components"]}
    )
    for body in (
        requests.a_receipt(),
        requests.a_draw(office),
        requests.a_report(office),
        requests.a_transfer(office),
        requests.a_count(),
        requests.a_conversion(),
        requests.a_disposal(),
        requests.a_revaluation(),
        requests.a_reversal(requests.a_draw(office)),
    ):
        validator.validate(body)
        assert not validator.is_valid({**body, "colour": "red"})
        assert not validator.is_valid({**body, "id": 7})
    assert set(schema["components"]["schemas"]["EntryRequest"]["discriminator"]["mapping"]) == set(
        ENTRY_REQUESTS
    )


def test_page_names_every_operation_and_no_outside_address() -> None:
    page = Client().get("/api/v1/reference/").content.decode()
    for operations in make_schema()["paths"].values():
        for operation in operations.values():
            assert f'id="{operation["operationId"]}"' in page
    assert re.findall(r'(?:href|src)="(?!#|/)[^"]*"', page) == []
    assert "http://" not in page
    assert "https://" not in page


def test_schema_names_no_outside_address(client_of: ClientOf) -> None:
    text = client_of("").get("/api/v1/schema").content.decode()
    outside = set(re.findall(r"https?://[^\"]*", text))
    assert outside <= {"https://json-schema.org/draft/2020-12/schema"}
