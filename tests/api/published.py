"""Holds answers against the schema that the service publishes."""

import json
from functools import cache
from typing import Any

from jsonschema import Draft202012Validator
from rest_framework.response import Response

from api.errors import PROBLEM_TYPE
from api.rest.reference import make_schema


@cache
def _validator(name: str) -> Draft202012Validator:
    schema = make_schema()
    operation = _operation(name)
    status, answer = next(iter(operation["responses"].items()))
    assert status != "default"
    # A list may be had as lines too.
    content = next(iter(answer["content"].values()))
    return Draft202012Validator({**content["schema"], "components": schema["components"]})


def _operation(name: str) -> dict[str, Any]:
    for operations in make_schema()["paths"].values():
        for operation in operations.values():
            if isinstance(operation, dict) and operation.get("operationId") == name:
                return operation
    raise AssertionError(f"no operation {name}")


def assert_answer(name: str, response: Response) -> Any:
    """The body of a granted request, after it was held against the operation's schema."""
    assert response.status_code in {200, 201, 202}, response.content
    body = response.json()
    _validator(name).validate(body)
    return body


def assert_refusal(response: Response, status: int, code: str, *pointers: str) -> Any:
    """The body of a refusal, after it was held against the problem's schema; it names these pointers."""
    assert response.status_code == status, response.content
    assert response["Content-Type"] == PROBLEM_TYPE
    body = json.loads(response.content)
    schema = make_schema()["components"]["schemas"]["Problem"]
    Draft202012Validator({**schema, "components": make_schema()["components"]}).validate(body)
    assert body["code"] == code
    assert body["status"] == status
    assert [fault["pointer"] for fault in body.get("errors", [])] == list(pointers), body
    assert "Traceback" not in response.content.decode()
    return body
