"""Acts as mutations. What is refused stands in the payload, so that other parts of a request go on.

Each mutation is one act of `api/wire/acts.py`: REST's request as `input`, REST's answer as `result`.
"""

from collections.abc import Iterable
from typing import Any

import graphene
from django.utils.timezone import now
from graphene.utils.str_converters import to_camel_case

from api.graphql.asking import asking
from api.graphql.inputs import input_type, read_input
from api.graphql.report_types import make_type
from api.wire.acts import Act, Asker
from api.wire.versions import check_match
from inventory.errors import SpanstockError

Json = dict[str, Any]


class ActError(graphene.ObjectType):
    """Why an act was refused; one for each fault, with the field it is about."""

    code = graphene.String(required=True)
    message = graphene.String(required=True)
    pointer = graphene.String(description="path in the input; null where no field is at fault")
    value = graphene.String()


def make_mutation_type(acts: Iterable[Act]) -> Any:
    """The type of all mutations."""
    fields = {act.name: _mutation_field(act) for act in acts}
    return type("Mutation", (graphene.ObjectType,), {**fields, "__doc__": "What may be done."})


def _mutation_field(act: Act) -> graphene.Field:
    name = "".join(part.capitalize() for part in act.name.split("_"))
    payload = type(
        f"{name}Payload",
        (graphene.ObjectType,),
        {
            "result": graphene.Field(make_type(act.answer), description="null where it was refused"),
            "errors": graphene.List(graphene.NonNull(ActError), required=True),
            "__doc__": f"What came of it: {act.summary}",
        },
    )
    arguments: Json = {part: graphene.String(required=True) for part in act.names}
    if act.current is not None:
        arguments["if_match"] = graphene.String(required=True, description="version that was seen")
    elif act.current_of is not None:
        about = "version that was seen, for what is on record already"
        arguments["if_match"] = graphene.String(default_value="", description=about)
    if act.record.fields:
        arguments["input"] = input_type(name, act.record)(required=True)

    def resolve(_root: Any, info: Any, input: Any = None, if_match: str = "", **names: Any) -> Json:
        asked = asking(info)
        try:
            standing = act.find_current(names, asked.viewer)
            if standing is not None:
                check_match(if_match, standing)
            result = act.run(read_input(input or {}), names, Asker(asked.viewer, asked.find_actor(), now()))
        except SpanstockError as refusal:
            return {"result": None, "errors": _errors(refusal)}
        return {"result": result, "errors": []}

    return graphene.Field(
        graphene.NonNull(payload),
        description=act.summary,
        resolver=resolve,
        **arguments,
    )


def _errors(refusal: SpanstockError) -> list[Json]:
    if not refusal.faults:
        return [{"code": refusal.code, "message": refusal.message}]
    return [
        {
            "code": refusal.code,
            "message": fault.message,
            "pointer": "/".join(to_camel_case(part) for part in fault.pointer.split("/")),
            "value": fault.value,
        }
        for fault in refusal.faults
    ]
