"""One act of the doors, with what it answers to every role: held against REST and GraphQL alike."""

from collections.abc import Callable, Iterator
from contextlib import contextmanager
from dataclasses import dataclass, field
from typing import Any
from uuid import uuid4

from django.db import transaction
from graphene.utils.str_converters import to_camel_case
from rest_framework.test import APIClient

from tests.factories.accounts import Office

Json = dict[str, Any]


AT = "2026-03-02T12:00:00-06:00"
OWN, YARD_ONLY = (401, 201, 201, 403, 403, 403, 201), (401, 201, 403, 403, 403, 201, 201)


@contextmanager
def undone() -> Iterator[None]:
    """Leave nothing of what is done within, so that the next role finds what the first one found."""
    with transaction.atomic():
        yield
        transaction.set_rollback(True)


def gallons(value: str) -> Json:
    return {"value": value, "unit": "[gal_us]"}


def dollars(value: str) -> Json:
    return {"value": value, "currency": "USD"}


def head() -> Json:
    return {"id": str(uuid4()), "occurred_at": AT}


@dataclass(frozen=True)
class ActCase:
    """One act as it is sent, and its status for nobody, stores, crew, planner, accounts, safety, admin.

    `address` and `method` are REST's, `mutation` is GraphQL's name for it; `names` are parts of the address.
    """

    mutation: str
    address: str
    make: Callable[[Office], Json]
    statuses: tuple[int, ...]
    names: Callable[[Office], Json] = field(default=lambda _office: {})
    method: str = "post"
    result: str = "__typename"

    def send(self, client: APIClient, body: Json, names: Json, **headers: str) -> Any:
        """Send it over REST."""
        address = f"/api/v1/{self.address.format(**names)}"
        return getattr(client, self.method)(address, body, format="json", headers=headers)

    def ask(self, client: APIClient, body: Json, names: Json, result: str = "", **extra: str) -> Any:
        """Send it over GraphQL; the payload of the mutation."""
        kind = self.mutation[0].upper() + self.mutation[1:]
        given = {**names, **extra}
        declared = "".join(f", ${to_camel_case(name)}: String!" for name in given)
        passed = "".join(f", {to_camel_case(name)}: ${to_camel_case(name)}" for name in given)
        if body:
            declared, passed = f"$input: {kind}Input!{declared}", f"input: $input{passed}"
        query = (
            f"mutation Do({declared.strip(', ')}) {{ {self.mutation}({passed.strip(', ')}) "
            f"{{ result {{ {result or self.result} }} errors {{ code message pointer value }} }} }}"
        )
        given_body = {"input": camel(body)} if body else {}
        variables = {**given_body, **{to_camel_case(name): value for name, value in given.items()}}
        response = client.post("/graphql", {"query": query, "variables": variables}, format="json")
        answer = response.json()
        assert response.status_code == 200, answer
        assert "errors" not in answer, answer
        return answer["data"][self.mutation]


def camel(value: Any) -> Any:
    """A body of REST with the names of GraphQL."""
    if isinstance(value, dict):
        return {to_camel_case(name): camel(part) for name, part in value.items()}
    if isinstance(value, list):
        return [camel(part) for part in value]
    return value
