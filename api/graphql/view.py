"""The GraphQL address: JSON only, weighed before it is validated, silent on what broke inside."""

import json
import logging
from functools import cache
from typing import Any

from graphql import (
    DocumentNode,
    ExecutionResult,
    GraphQLError,
    GraphQLList,
    GraphQLNonNull,
    GraphQLObjectType,
    OperationType,
    execute,
    get_operation_ast,
    validate,
)
from rest_framework.exceptions import MethodNotAllowed
from rest_framework.request import Request
from rest_framework.response import Response

from api.errors import INTERNAL, fault_json, log_refusal, status_of
from api.graphql.asking import make_asking
from api.graphql.guard import BadQuery, Guard, parse_query
from api.graphql.paging import LARGEST_SIZE, USUAL_SIZE
from api.graphql.schema import schema
from api.sign_in.scopes import require_write
from api.wire.door import Door
from api.wire.input_fields import is_storable
from api.wire.json_bodies import JsonBodyParser
from inventory.errors import BadInput, Fault, SpanstockError

logger = logging.getLogger(__name__)
LARGEST_BODY_BYTES = 100_000
MOST_ERRORS = 20


class SmallBodyParser(JsonBodyParser):
    """A question is text that somebody wrote, so it is small."""

    largest_bytes = LARGEST_BODY_BYTES


class GraphQl(Door):
    """One address for all questions. GET answers reads only; forms are not taken."""

    parser_classes = [SmallBodyParser]
    reading_methods = frozenset({"POST"})

    def get(self, request: Request) -> Response:
        given: dict[str, Any] = dict(request.query_params.items())
        if len(given.get("query", "")) > LARGEST_BODY_BYTES:
            raise BadInput("The query is too long.")
        if "variables" in given:
            given["variables"] = _read_variables(given["variables"])
        return self._answer(given, is_read_only=True)

    def post(self, request: Request) -> Response:
        return self._answer(request.data, is_read_only=False)

    def _answer(self, data: Any, *, is_read_only: bool) -> Response:
        query, variables, name = _read_question(data)
        try:
            document = parse_query(query)
            _weigh(document, variables)
        except SpanstockError as refusal:
            return Response({"errors": [_refusal_json(refusal)]}, status=400)
        operation = get_operation_ast(document, name)
        if operation is not None and operation.operation != OperationType.QUERY:
            if is_read_only:
                raise MethodNotAllowed("GET")
            require_write(self.scopes)
        faults = validate(schema.graphql_schema, document, max_errors=MOST_ERRORS)
        if faults:
            return Response({"errors": [_error_json(error) for error in faults]}, status=400)
        result = execute(
            schema.graphql_schema,
            document,
            context_value=make_asking(self.viewer, lambda: self.actor),
            variable_values=variables,
            operation_name=name,
        )
        assert isinstance(result, ExecutionResult)
        for error in result.errors or ():
            if isinstance(error.original_error, SpanstockError):
                refused = error.original_error
                log_refusal(refused.code, status_of(refused), self.request)
        return _respond(result)


def _respond(result: ExecutionResult) -> Response:
    body: dict[str, Any] = {"data": result.data}
    if result.errors:
        body["errors"] = [_error_json(error) for error in result.errors]
    # Without data nothing ran: a variable was wrong, or the operation's name.
    nothing_ran = result.data is None and all(not error.path for error in result.errors or ())
    return Response(body, status=400 if nothing_ran else 200)


def _read_question(data: Any) -> tuple[str, dict[str, Any], str | None]:
    faults: list[Fault] = []
    if not isinstance(data, dict):
        raise BadInput.of([Fault("", "", "must be an object with a query")])
    query, variables, name = data.get("query"), data.get("variables"), data.get("operationName")
    unknown = set(data) - {"query", "variables", "operationName", "extensions"}
    faults += [Fault(f"/{field[:60]}", "", "is not a field here") for field in sorted(unknown)]
    if not isinstance(query, str) or not query:
        faults.append(Fault("/query", "", "must be the text of a query"))
    if variables is not None and not isinstance(variables, dict):
        faults.append(Fault("/variables", "", "must be an object"))
    elif not _is_storable(variables):
        faults.append(Fault("/variables", "", "must hold text that a database keeps"))
    if name is not None and not isinstance(name, str):
        faults.append(Fault("/operationName", "", "must be text"))
    if faults:
        raise BadInput.of(faults)
    assert isinstance(query, str)
    return query, variables or {}, name or None


def _is_storable(values: Any) -> bool:
    if isinstance(values, dict):
        return all(_is_storable(value) for value in values.values())
    if isinstance(values, list):
        return all(_is_storable(value) for value in values)
    return not isinstance(values, str) or is_storable(values)


def _read_variables(text: str) -> Any:
    try:
        return json.loads(text)
    except (ValueError, RecursionError):
        raise BadInput.of([Fault("variables", "", "must be a JSON object")]) from None


def _weigh(document: DocumentNode, variables: dict[str, Any]) -> None:
    page_sizes, plain_lists = _list_fields()
    Guard(page_sizes, plain_lists, LARGEST_SIZE, variables).check(document)


@cache
def _list_fields() -> tuple[dict[str, int], frozenset[str]]:
    """The schema's fields that page, with their usual size, and those that give whole lists."""
    pages, lists = {}, set()
    for kind in schema.graphql_schema.type_map.values():
        if not isinstance(kind, GraphQLObjectType) or kind.name.startswith("__"):
            continue
        for name, field in kind.fields.items():
            inner = field.type.of_type if isinstance(field.type, GraphQLNonNull) else field.type
            if "first" in field.args:
                pages[name] = USUAL_SIZE
            elif isinstance(inner, GraphQLList) and name != "edges":
                lists.add(name)
    return pages, frozenset(lists)


def _error_json(error: GraphQLError) -> dict[str, Any]:
    """An error for the client: a refusal's own words, or none where something broke."""
    found: dict[str, Any]
    original = error.original_error
    if isinstance(original, SpanstockError):
        found = _refusal_json(original)
    elif original is None or isinstance(original, GraphQLError) or not error.path:
        # Of the question itself: no resolver has run where there is no path.
        found = {"message": error.message, "extensions": {"code": BadQuery.code}}
    else:
        logger.error("a resolver failed", exc_info=original)
        found = {"message": INTERNAL[1], "extensions": {"code": INTERNAL[0]}}
    if error.locations:
        found["locations"] = [{"line": place.line, "column": place.column} for place in error.locations]
    if error.path:
        found["path"] = error.path
    return found


def _refusal_json(refusal: SpanstockError) -> dict[str, Any]:
    extensions: dict[str, Any] = {"code": refusal.code}
    if refusal.faults:
        extensions["errors"] = [fault_json(fault) for fault in refusal.faults]
    return {"message": refusal.message, "extensions": extensions}
