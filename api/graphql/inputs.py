"""Arguments of mutations, made of the fields that REST reads, so that both take the same requests.

GraphQL only says which fields there are and which must be given; what they may hold is checked by the
fields themselves, which name every fault at once.
"""

from typing import Any

import graphene

from api.wire.calculations.fields import Field, Flag, Listing, Number, Record, Whole
from api.wire.input_fields import REST_WORD, AmountField, PriceField


class QuantityInput(graphene.InputObjectType):
    """A quantity; the unit is a UCUM code. Where it may be all that is left, `rest` says so alone."""

    value = graphene.String()
    unit = graphene.String()
    rest = graphene.Boolean(description="true for all that is left, where that may be meant")


class MoneyInput(graphene.InputObjectType):
    """Money in the company's currency."""

    value = graphene.String(required=True)
    currency = graphene.String(required=True)


_SCALARS: tuple[tuple[type[Field], Any], ...] = (
    (AmountField, QuantityInput),
    (PriceField, MoneyInput),
    (Flag, graphene.Boolean),
    (Whole, graphene.Int),
    (Number, graphene.Float),
)


def input_type(name: str, record: Record) -> Any:
    """The input type of a record, with those of the records in it."""
    fields = {key: _argument(f"{name}{_pascal(key)}", field) for key, field in record.fields.items()}
    return type(f"{name}Input", (graphene.InputObjectType,), {**fields, "__doc__": record.about or name})


def read_input(value: Any) -> Any:
    """An input as REST sends it: all that is left is a word there."""
    if isinstance(value, dict):
        if value == {"rest": True}:
            return REST_WORD
        return {name: read_input(part) for name, part in value.items()}
    return [read_input(part) for part in value] if isinstance(value, list) else value


def _argument(name: str, field: Field) -> Any:
    required = field.is_required and not field.may_be_null
    return graphene.InputField(_kind(name, field), required=required, description=field.about or None)


def _kind(name: str, field: Field) -> Any:
    if isinstance(field, Record):
        return input_type(name, field)
    if isinstance(field, Listing):
        return graphene.List(graphene.NonNull(_kind(name, field.item)))
    return next((kind for known, kind in _SCALARS if isinstance(field, known)), graphene.String)


def _pascal(name: str) -> str:
    return "".join(part.capitalize() for part in name.split("_"))
