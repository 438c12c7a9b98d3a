"""Files of many rows: sent, taken in the background, told of row by row."""

from typing import Any

from django.db.models import QuerySet
from django.urls import reverse
from django.utils.timezone import now
from drf_spectacular.utils import OpenApiParameter, OpenApiResponse, extend_schema
from rest_framework.parsers import BaseParser
from rest_framework.request import Request
from rest_framework.response import Response

from api.errors import TooLarge
from api.imports.asking import LARGEST_FILE_BYTES, ask_for_import, get_visible_import, visible_imports
from api.imports.working import MOST_ATTEMPTS
from api.models import BulkImport
from api.rest.listing import ListDoor, list_parameters
from api.wire.bulk_imports import (
    BY_ARRIVAL,
    BY_LINE,
    IMPORT_FILTERS,
    ROW_FILTERS,
    import_json,
    import_row_json,
)
from api.wire.door import Door
from api.wire.input_fields import read_uuid
from api.wire.schemas import FLAG, MOMENT, TEXT, of, page_of
from inventory.errors import BadInput, Fault

KINDS = list(BulkImport.Kind.values)
LONGEST_NAME = 200
OPTIONS = [
    OpenApiParameter("kind", {"type": "string", "enum": KINDS}, required=True),
    OpenApiParameter("name", TEXT, required=True, description="what people call the file"),
    OpenApiParameter("job", TEXT, description="reference of the job; needed for spans"),
    OpenApiParameter("create_job", FLAG, description="spans: make the job where there is none yet"),
    OpenApiParameter("job_name", TEXT, description="spans: name of a job that is made"),
    OpenApiParameter("customer", TEXT, description="spans: code of the customer of a job that is made"),
    OpenApiParameter("create_crews", FLAG, description="crew-days: set up crews that are not known yet"),
    OpenApiParameter("at", MOMENT, description="stock: when it was counted; when the file came without"),
    OpenApiParameter("document", TEXT, description="stock: what entries refer to; the file's name without"),
]


class ImportFileParser(BaseParser):
    """Takes the body as it is: what it holds is found by looking, not by what it says it is."""

    media_type = "*/*"

    def parse(self, stream: Any, media_type: str | None = None, parser_context: Any = None) -> Any:
        # One byte more than is taken: enough to know, whatever length was announced.
        body = stream.read(LARGEST_FILE_BYTES + 1)
        if len(body) > LARGEST_FILE_BYTES:
            raise TooLarge(f"The file is larger than {LARGEST_FILE_BYTES // 1_000_000} MB. Send it in parts.")
        return body


class Imports(ListDoor):
    """Imports in the order in which they came."""

    order = BY_ARRIVAL
    filters = IMPORT_FILTERS

    def rows(self) -> QuerySet[Any]:
        return visible_imports(self.viewer)

    def write(self, rows: list[Any]) -> list[dict[str, Any]]:
        return [import_json(row, most_attempts=MOST_ATTEMPTS, now=now()) for row in rows]

    @extend_schema(
        operation_id="list_imports",
        parameters=list_parameters(BY_ARRIVAL, IMPORT_FILTERS),
        responses={200: OpenApiResponse(page_of("Import"))},
    )
    def get(self, request: Request) -> Response:
        """List the asker's imports with how far each is; an admin's list has all."""
        return super().get(request)


class OneImport(Door):
    """One import by the id that its sender made."""

    parser_classes = [ImportFileParser]

    @extend_schema(operation_id="get_import", responses={200: OpenApiResponse(of("Import"))})
    def get(self, request: Request, id: str) -> Response:
        """Get how far an import is, and what it did or why it was refused."""
        found = get_visible_import(self.viewer, read_uuid(id))
        return Response(import_json(found, most_attempts=MOST_ATTEMPTS, now=now()))

    @extend_schema(
        operation_id="send_import",
        parameters=OPTIONS,
        request={"application/octet-stream": {"type": "string", "format": "binary"}},
        responses={202: OpenApiResponse(of("Import"), description="a worker takes it up")},
    )
    def put(self, request: Request, id: str) -> Response:
        """Send a file to be taken in the background: the body is the file. Once again is harmless.

        Spans, crew-days and stock come as CSV or XLSX (spans as GeoJSON too) and are taken whole or not at
        all. Field reports come as a JSON list or one on each line, each with an id of its own, and are
        taken one by one. `Location` says where to look how far it is.
        """
        uuid, kind, name, options = _read_address(request, id)
        asked = ask_for_import(
            id=uuid,
            kind=kind,
            name=name,
            options=options,
            content=request.data if isinstance(request.data, bytes) else b"",
            user=self._user,
            scopes=self.scopes,
            viewer=self.viewer,
            by=self.actor,
            now=now(),
        )
        found = get_visible_import(self.viewer, asked.uuid)
        headers = {"Location": reverse("import", kwargs={"id": asked.uuid})}
        return Response(
            import_json(found, most_attempts=MOST_ATTEMPTS, now=now()), status=202, headers=headers
        )


class ImportRows(ListDoor):
    """The rows of an import that are told of one by one."""

    order = BY_LINE
    filters = ROW_FILTERS

    def rows(self) -> QuerySet[Any]:
        return get_visible_import(self.viewer, read_uuid(self.kwargs["id"])).rows.defer("body")

    def write(self, rows: list[Any]) -> list[dict[str, Any]]:
        return [import_row_json(row) for row in rows]

    @extend_schema(
        operation_id="list_import_rows",
        parameters=list_parameters(BY_LINE, ROW_FILTERS),
        responses={200: OpenApiResponse(page_of("ImportRow"))},
    )
    def get(self, request: Request, id: str) -> Response:  # type: ignore[override]
        """List what became of each report, or of a file that was refused whole each line with a fault."""
        return super().get(request)


def _read_address(request: Request, id: str) -> tuple[Any, str, str, dict[str, str]]:
    given = {word: str(text) for word, text in request.query_params.items()}
    faults = []
    uuid, kind, name = read_uuid(id), given.pop("kind", ""), given.pop("name", "").strip()
    if uuid is None:
        faults.append(Fault("id", id[:60], "must be a UUID that you made for this import"))
    if kind not in KINDS:
        faults.append(Fault("kind", kind[:60], f"must be one of {', '.join(KINDS)}"))
    if not 1 <= len(name) <= LONGEST_NAME:
        faults.append(Fault("name", name[:60], f"must say in 1 to {LONGEST_NAME} characters what it is"))
    if faults:
        raise BadInput.of(faults)
    return uuid, kind, name, given
