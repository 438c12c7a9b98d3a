"""What this door takes and gives, as OpenAPI 3.1 and as a page. Nothing of it is secret.

Both come from the views themselves and need no address outside this service.
"""

from functools import cache
from typing import Any

from django.http import HttpRequest, HttpResponse
from django.shortcuts import render
from django.views.decorators.http import require_safe
from drf_spectacular.generators import SchemaGenerator
from drf_spectacular.utils import OpenApiResponse, extend_schema
from rest_framework.permissions import AllowAny
from rest_framework.request import Request
from rest_framework.response import Response

from api.errors import PROBLEM_TYPE, list_problems
from api.rest.listing import LINES_TYPE
from api.wire.calculations import list_calculations
from api.wire.components import all_components
from api.wire.door import Door
from api.wire.schemas import listing, of, shape
from inventory.errors import NotFound

METHODS = ("get", "post", "put", "patch", "delete")


@cache
def make_schema() -> dict[str, Any]:
    """The whole description; made once a process, since it does not change while it runs."""
    schema: dict[str, Any] = SchemaGenerator().get_schema(request=None, public=True)
    return schema


def keep_addresses_without_slash(endpoints: list[tuple[str, str, str, Any]]) -> list[Any]:
    """Hook: describe each address of REST once, though it is answered with and without a slash."""
    return [row for row in endpoints if row[0].startswith("/api/") and not row[0].endswith("/")]


def add_components_and_problems(
    result: dict[str, Any], generator: Any, request: Any, public: bool
) -> dict[str, Any]:
    """Hook: put in the shapes the views name, and what every address answers when it refuses."""
    result["components"].setdefault("schemas", {}).update(all_components())
    _describe_calculations(result["paths"])
    refusal = {"description": "refused", "content": {PROBLEM_TYPE: {"schema": of("Problem")}}}
    for operations in result["paths"].values():
        _describe_lines(operations.get("get", {}))
        for method in METHODS:
            if method in operations:
                operations[method]["responses"]["default"] = refusal
    return result


def _describe_lines(operation: dict[str, Any]) -> None:
    """Say of a list with pages that it may be had whole, a row on each line."""
    content = operation.get("responses", {}).get("200", {}).get("content", {})
    page = content.get("application/json", {}).get("schema", {}).get("properties", {})
    if "next_cursor" in page:
        about = "all rows from the cursor on, a JSON object on each line, sent as they are read"
        content[LINES_TYPE] = {"schema": {"type": "string", "description": about}}


def _describe_calculations(paths: dict[str, Any]) -> None:
    """Give each calculation an address of its own, since each takes and gives something else."""
    general = paths["/api/v1/calculations/{name}"].pop("post")
    del general["parameters"]
    for calculation in list_calculations():
        content = {"schema": calculation.request_schema(), "example": calculation.example}
        answer = {"application/json": {"schema": calculation.answer_schema()}}
        paths[f"/api/v1/calculations/{calculation.name}"] = {
            "post": {
                **general,
                "operationId": f"calculate_{calculation.name.replace('-', '_')}",
                "description": calculation.summary,
                "requestBody": {"required": True, "content": {"application/json": content}},
                "responses": {"200": {"description": "the answer", "content": answer}},
            }
        }


class OpenApi(Door):
    """The description for programs."""

    permission_classes = [AllowAny]

    @extend_schema(exclude=True)
    def get(self, request: Request) -> Response:
        return Response(make_schema())


class Problems(Door):
    """The codes of refusals."""

    permission_classes = [AllowAny]

    @extend_schema(
        operation_id="list_problems",
        responses={200: OpenApiResponse(shape(results=listing(of("ProblemCode"))))},
    )
    def get(self, request: Request) -> Response:
        """List every code that a refusal may carry."""
        return Response({"results": list_problems()})


class OneProblem(Door):
    """One code: where the `type` of a problem leads."""

    permission_classes = [AllowAny]

    @extend_schema(operation_id="get_problem", responses={200: OpenApiResponse(of("ProblemCode"))})
    def get(self, request: Request, code: str) -> Response:
        """Say what a code means."""
        for found in list_problems():
            if found["code"] == code:
                return Response(found)
        raise NotFound("No refusal carries that code.")


@require_safe
def show_reference(request: HttpRequest) -> HttpResponse:
    """The description as a page to read and print."""
    schema = make_schema()
    context = {"operations": _list_operations(schema), "shapes": _list_shapes(schema)}
    return render(request, "rest/reference.html", context)


def _list_operations(schema: dict[str, Any]) -> list[dict[str, Any]]:
    found = []
    for path, operations in schema["paths"].items():
        for method in METHODS:
            if method not in operations:
                continue
            operation = operations[method]
            found.append(
                {
                    "id": operation["operationId"],
                    "address": f"{method.upper()} {path}",
                    "about": operation.get("description", ""),
                    "parameters": [_parameter(row) for row in operation.get("parameters", [])],
                    "takes": _shape_name(operation.get("requestBody")),
                    "gives": _shape_name(next(iter(operation["responses"].values()))),
                }
            )
    return found


def _parameter(row: dict[str, Any]) -> dict[str, Any]:
    return {
        "name": row["name"],
        "is_required": row.get("required", False),
        "about": row.get("description", ""),
        "form": _form(row.get("schema", {})),
    }


def _list_shapes(schema: dict[str, Any]) -> list[dict[str, Any]]:
    return [
        {
            "name": name,
            "about": shape.get("description", ""),
            "choices": [_form(row) for row in shape.get("oneOf", ())],
            "fields": [
                {"name": field, "form": _form(part), "is_required": field in shape.get("required", ())}
                for field, part in shape.get("properties", {}).items()
            ],
        }
        for name, shape in sorted(schema["components"]["schemas"].items())
    ]


def _shape_name(part: dict[str, Any] | None) -> str:
    if not part or "content" not in part:
        return ""
    return _form(next(iter(part["content"].values()))["schema"])


def _form(schema: dict[str, Any]) -> str:
    """A shape in a few words."""
    if "$ref" in schema:
        return _last(schema["$ref"])
    if "anyOf" in schema or "oneOf" in schema:
        parts = [_form(part) for part in schema.get("anyOf", schema.get("oneOf", ()))]
        return " or ".join(dict.fromkeys(parts))
    if "enum" in schema:
        return ", ".join(str(word) or '""' for word in schema["enum"])
    if "const" in schema:
        return repr(schema["const"])
    if schema.get("type") == "array":
        items = schema.get("prefixItems") or [schema["items"]]
        return f"list of ({', '.join(_form(item) for item in items)})"
    if schema.get("type") == "object" and schema.get("properties"):
        inner = ", ".join(f"{name}: {_form(part)}" for name, part in schema["properties"].items())
        return f"{{{inner}}}"
    kind = str(schema.get("type", "anything"))
    return f"{kind} ({schema['format']})" if "format" in schema else kind


def _last(reference: str) -> str:
    return reference.rsplit("/", 1)[-1]
