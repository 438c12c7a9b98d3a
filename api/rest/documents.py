"""Documents: photos and papers on reports, incidents, receipts, materials and waste manifests."""

from typing import Any

from django.db.models import QuerySet
from django.http import HttpResponse
from drf_spectacular.utils import OpenApiParameter, OpenApiResponse, extend_schema
from rest_framework.parsers import BaseParser
from rest_framework.request import Request
from rest_framework.response import Response

from api.errors import TooLarge
from api.rest.listing import ListDoor, list_parameters
from api.wire.attached import BY_ARRIVAL, DOCUMENT_FILTERS, WORDS, document_json
from api.wire.door import Door
from api.wire.input_fields import read_uuid
from api.wire.schemas import of, page_of
from inventory.errors import BadInput, Fault
from jobs.models import StoredFile
from jobs.queries.attached import (
    THINGS,
    get_visible_document,
    get_visible_thing,
    require_may_attach,
    visible_documents,
)
from jobs.services.attaching.attaching import attach
from jobs.services.attaching.looking import LARGEST_BYTES
from jobs.services.attaching.storing import open_file

TEXT = {"type": "string", "minLength": 1}
ENDINGS = {StoredFile.Type.JPEG: "jpg", StoredFile.Type.PNG: "png", StoredFile.Type.PDF: "pdf"}


class FileParser(BaseParser):
    """Takes the body as it is: what it holds is found by looking, not by what it says it is."""

    media_type = "*/*"

    def parse(self, stream: Any, media_type: str | None = None, parser_context: Any = None) -> Any:
        # One byte more than is taken: enough to know, whatever length was announced.
        body = stream.read(LARGEST_BYTES + 1)
        if len(body) > LARGEST_BYTES:
            raise TooLarge(f"The file is larger than {LARGEST_BYTES // 1_000_000} MB.")
        return body


class Documents(ListDoor):
    """Documents in the order in which they came in."""

    order = BY_ARRIVAL
    filters = DOCUMENT_FILTERS

    def rows(self) -> QuerySet[Any]:
        return visible_documents(self.viewer)

    def write(self, rows: list[Any]) -> list[dict[str, Any]]:
        return [document_json(row) for row in rows]

    @extend_schema(
        operation_id="list_documents",
        parameters=list_parameters(BY_ARRIVAL, DOCUMENT_FILTERS),
        responses={200: OpenApiResponse(page_of("Document"))},
    )
    def get(self, request: Request) -> Response:
        """List the documents on what the asker sees."""
        return super().get(request)


class OneDocument(Door):
    """One document by the id that its sender made."""

    parser_classes = [FileParser]

    @extend_schema(operation_id="get_document", responses={200: OpenApiResponse(of("Document"))})
    def get(self, request: Request, id: str) -> Response:
        """Tell what a document is and what it hangs on."""
        return Response(document_json(get_visible_document(self.viewer, read_uuid(id))))

    @extend_schema(
        operation_id="attach_document",
        parameters=[
            OpenApiParameter(
                "of", {"type": "string", "enum": WORDS}, required=True, description="sort of thing"
            ),
            OpenApiParameter("on", TEXT, required=True, description="id, code or number of the thing"),
            OpenApiParameter("name", TEXT, required=True, description="what people call it"),
        ],
        request={"application/octet-stream": {"type": "string", "format": "binary"}},
        responses={200: OpenApiResponse(of("Document"))},
    )
    def put(self, request: Request, id: str) -> Response:
        """Hang a photo (JPEG, PNG, WebP) or a PDF on something: the body is the file. Once again is harmless.

        A photo is kept upright, at most 2560 pixels long, and without what the camera wrote beside the
        picture. Other content under the same id is refused with 409.
        """
        word, name, thing_name, uuid = _read_address(request, id)
        thing = get_visible_thing(self.viewer, word=word, name=thing_name)
        require_may_attach(self.viewer, word=word, thing=thing)
        data = request.data if isinstance(request.data, bytes) else b""
        document = attach(id=uuid, by=self.actor, thing=thing, name=name, data=data)
        return Response(document_json(get_visible_document(self.viewer, document.uuid)))


class DocumentContent(Door):
    """What is in a document."""

    @extend_schema(
        operation_id="get_document_content",
        responses={
            (200, "application/octet-stream"): OpenApiResponse(
                {"type": "string", "format": "binary"}, description="the file"
            )
        },
    )
    def get(self, request: Request, id: str) -> HttpResponse:
        """Get the file. It is to be saved, never shown as a page of this service."""
        document = get_visible_document(self.viewer, read_uuid(id))
        kept = document.file
        ending = ENDINGS[StoredFile.Type(kept.media_type)]
        return HttpResponse(
            open_file(kept.sha256),
            content_type=kept.media_type,
            headers={
                "Content-Disposition": f'attachment; filename="{document.uuid}.{ending}"',
                "Content-Security-Policy": "sandbox; default-src 'none'",
                "X-Content-Type-Options": "nosniff",
                "Cache-Control": "private, max-age=3600",
                "ETag": f'"{kept.sha256}"',
            },
        )


def _read_address(request: Request, id: str) -> tuple[str, str, Any, Any]:
    given, faults = request.query_params, []
    uuid, word, on = read_uuid(id), given.get("of", ""), given.get("on", "")
    if uuid is None:
        faults.append(Fault("id", id[:60], "must be a UUID that you made for this document"))
    if word not in THINGS:
        faults.append(Fault("of", word[:60], f"must be one of {', '.join(WORDS)}"))
    if not on:
        faults.append(Fault("on", "", "must be the id, code or number of the thing"))
    if not given.get("name", "").strip():
        faults.append(Fault("name", "", "must say what people call it"))
    faults += [
        Fault(name[:60], "", "is not known here; the parameters are of, on, name")
        for name in given
        if name not in ("of", "on", "name")
    ]
    if faults:
        raise BadInput.of(faults)
    return word, given["name"], read_uuid(on) if THINGS[word][2] == "uuid" else on, uuid
