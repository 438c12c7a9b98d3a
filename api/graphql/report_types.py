"""Field reports and unconfirmed trucks as GraphQL types, made of the shapes that REST publishes.

The same bodies are answered at both doors, so the types follow the shapes instead of saying them again.
"""

from typing import Any

import graphene

from api.graphql.stock_types import Money, Named, Quantity
from api.wire.components import all_components
from api.wire.schemas import Schema

_SCALARS = {
    "string": graphene.String,
    "number": graphene.Float,
    "integer": graphene.Int,
    "boolean": graphene.Boolean,
}
_TYPES: dict[str, Any] = {"Money": Money, "Quantity": Quantity, "Named": Named}
_COMPONENTS = all_components()


def make_type(name: str) -> Any:
    """The type of a component, with those it is made of."""
    if name not in _TYPES:
        shape = _COMPONENTS[name]
        fields = {key: _field(part) for key, part in shape["properties"].items()}
        about = shape.get("description", "")
        _TYPES[name] = type(name, (graphene.ObjectType,), {**fields, "__doc__": about})
    return _TYPES[name]


def _field(schema: Schema) -> Any:
    parts = schema.get("anyOf")
    if parts is not None:
        return graphene.Field(_kind(parts[0]))
    return graphene.Field(graphene.NonNull(_kind(schema)))


def _kind(schema: Schema) -> Any:
    if "$ref" in schema:
        return make_type(schema["$ref"].rsplit("/", 1)[-1])
    if schema["type"] == "array":
        return graphene.List(graphene.NonNull(_kind(schema["items"])))
    return _SCALARS[schema["type"]]


class PlaceName(graphene.ObjectType):
    """A place by its name only."""

    code = graphene.String(required=True)
    name = graphene.String(required=True)
    kind = graphene.String(required=True)


_TYPES["PlaceName"] = PlaceName
FieldReport = make_type("FieldReport")
UnconfirmedTruck = make_type("UnconfirmedTruck")
