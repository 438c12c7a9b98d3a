"""Asking GraphQL in tests."""

from typing import Any

from rest_framework.test import APIClient


def ask(client: APIClient, query: str, **variables: Any) -> Any:
    """The data of a question that is answered without an error."""
    response = client.post("/graphql", {"query": query, "variables": variables}, format="json")
    body = response.json()
    assert "errors" not in body, body
    assert response.status_code == 200
    return body["data"]


def refuse(client: APIClient, query: str, code: str, *, status: int = 400, **variables: Any) -> Any:
    """The errors of a question that is refused under one code."""
    response = client.post("/graphql", {"query": query, "variables": variables}, format="json")
    body = response.json()
    assert response.status_code == status, body
    assert {error["extensions"]["code"] for error in body["errors"]} == {code}, body
    assert "Traceback" not in response.content.decode()
    return body["errors"]
