"""Field reports and unconfirmed trucks as GraphQL types, made of the shapes that REST publishes.

The same bodies are answered at both doors, so the types follow the shapes instead of saying them again.
"""

from typing import Any

import graphene

from api.graphql.balance_types import DayBalance, FluidSum
from api.graphql.stock_types import Money, Named, Quantity
from api.graphql.work_types import ScrapCredit, StatedMaterial
from api.wire.components import all_components
from api.wire.schemas import Schema

_SCALARS = {
    "string": graphene.String,
    "number": graphene.Float,
    "integer": graphene.Int,
    "boolean": graphene.Boolean,
}
_TYPES: dict[str, Any] = {
    "Money": Money,
    "Quantity": Quantity,
    "Named": Named,
    "DayBalance": DayBalance,
    "FluidSum": FluidSum,
    "ScrapCredit": ScrapCredit,
    "StatedMaterial": StatedMaterial,
}
_COMPONENTS = all_components()


def make_type(name: str) -> Any:
    """The type of a component, with those it is made of."""
    return _make(name, _COMPONENTS.get(name, {}))


def _make(name: str, shape: Schema) -> Any:
    if name not in _TYPES:
        fields = {
            key: _field(part, f"{name}{key.title().replace('_', '')}")
            for key, part in shape["properties"].items()
        }
        about = shape.get("description", "")
        _TYPES[name] = type(name, (graphene.ObjectType,), {**fields, "__doc__": about})
    return _TYPES[name]


def _field(schema: Schema, name: str) -> Any:
    parts, about = schema.get("anyOf"), schema.get("description")
    if parts is not None:
        return graphene.Field(_kind(parts[0], name), description=about)
    return graphene.Field(graphene.NonNull(_kind(schema, name)), description=about)


def _kind(schema: Schema, name: str) -> Any:
    """What a shape is over GraphQL; `name` is for an object that has none of its own."""
    if "$ref" in schema:
        return make_type(schema["$ref"].rsplit("/", 1)[-1])
    if schema["type"] == "array":
        return graphene.List(graphene.NonNull(_kind(schema["items"], name)))
    if schema["type"] == "object":
        # An object whose keys are data has no type of its own; it goes as JSON text.
        return _make(name, schema) if "properties" in schema else graphene.JSONString
    return _SCALARS[schema["type"]]


class PlaceName(graphene.ObjectType):
    """A place by its name only."""

    code = graphene.String(required=True)
    name = graphene.String(required=True)
    kind = graphene.String(required=True)


_TYPES["PlaceName"] = PlaceName
FieldReport = make_type("FieldReport")
UnconfirmedTruck = make_type("UnconfirmedTruck")
