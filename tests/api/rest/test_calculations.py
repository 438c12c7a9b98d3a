"""Calculations over REST are those of the command."""

import json
from collections.abc import Callable
from io import BytesIO, StringIO, TextIOWrapper
from typing import Any

import pytest
from django.core.management import call_command
from rest_framework.test import APIClient

from api.wire.calculations import list_calculations
from tests.api.published import assert_answer, assert_refusal

ClientOf = Callable[[str], APIClient]
NAMES = [calculation.name for calculation in list_calculations()]


def _by_command(name: str, request: Any, monkeypatch: pytest.MonkeyPatch) -> Any:
    monkeypatch.setattr("sys.stdin", TextIOWrapper(BytesIO(json.dumps(request).encode())))
    written = StringIO()
    call_command("calculate", name, stdout=written)
    return json.loads(written.getvalue())


@pytest.mark.parametrize("name", NAMES)
def test_calculation_answers_as_the_command_does(
    client_of: ClientOf, name: str, monkeypatch: pytest.MonkeyPatch
) -> None:
    client = client_of("planner")
    found = assert_answer("get_calculation", client.get(f"/api/v1/calculations/{name}"))
    answer = client.post(f"/api/v1/calculations/{name}", found["example"], format="json")
    assert_answer(f"calculate_{name.replace('-', '_')}", answer)
    expected = _by_command(name, found["example"], monkeypatch)
    assert json.loads(answer.content) == expected


def test_calculations_are_listed_by_name(client_of: ClientOf) -> None:
    found = assert_answer("list_calculations", client_of("crew").get("/api/v1/calculations/"))
    assert [row["name"] for row in found["results"]] == NAMES


def test_wrong_dimension_is_named(client_of: ClientOf) -> None:
    body = {
        "bore": {"value": "0.452", "unit": "[psi]"},
        "length": {"value": "412", "unit": "[ft_i]"},
        "volume_unit": "[gal_us]",
    }
    response = client_of("planner").post("/api/v1/calculations/bore-volume", body, format="json")
    assert_refusal(response, 400, "bad_input", "/bore/unit")
