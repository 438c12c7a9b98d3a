"""Entries: made by clients under ids of their own, listed in the order of the book."""

from typing import Any

from django.db.models import QuerySet
from django.urls import reverse
from django.utils.timezone import now
from drf_spectacular.utils import OpenApiExample, OpenApiResponse, extend_schema
from rest_framework.request import Request
from rest_framework.response import Response

from api.rest.listing import ListDoor, list_parameters
from api.wire.answers import entry_json, make_writer
from api.wire.door import Door
from api.wire.entry_requests import make_entry
from api.wire.filters import BY_KEY, ENTRY_FILTERS
from api.wire.input_fields import read_uuid
from api.wire.schemas import of, page_of
from inventory.errors import NotFound
from inventory.queries.access import get_entry, visible_entries, with_lines


class Entries(ListDoor):
    """Entries of the book, in its order."""

    order = BY_KEY
    filters = ENTRY_FILTERS

    def rows(self) -> QuerySet[Any]:
        return with_lines(visible_entries(self.viewer), self.viewer)

    def write(self, rows: list[Any]) -> list[dict[str, Any]]:
        writer = make_writer(self.viewer)
        return [entry_json(row, writer) for row in rows]

    @extend_schema(
        operation_id="list_entries",
        parameters=list_parameters(BY_KEY, ENTRY_FILTERS),
        responses={200: OpenApiResponse(page_of("Entry"), description="a page of entries")},
    )
    def get(self, request: Request) -> Response:
        """List entries that the asker may see, oldest first."""
        return super().get(request)

    @extend_schema(
        operation_id="make_entry",
        request={"application/json": of("EntryRequest")},
        responses={201: OpenApiResponse(of("Entry"), description="the entry, now or from the first time")},
        examples=[
            OpenApiExample(
                "five gallons drawn for a span",
                request_only=True,
                value={
                    "id": "7f9c24e8-3b12-4f4e-9a7b-1c1d9b0f6a01",
                    "kind": "draw",
                    "occurred_at": "2026-03-31T09:20:00-05:00",
                    "lines": [
                        {
                            "material": "fluid",
                            "amount": {"value": "5", "unit": "[gal_us]"},
                            "source": {"place": "main-yard", "container": "D-1"},
                            "target": {"place": "span:J-1:S1"},
                        }
                    ],
                },
            )
        ],
    )
    def post(self, request: Request) -> Response:
        """Make an entry. Sending it again under its id is harmless and gives the first answer.

        Other content under the same id is refused with 409 and `entry_conflict`.
        """
        made = make_entry(request.data, viewer=self.viewer, by=self.actor, now=now())
        entry = get_entry(self.viewer, made.uuid)
        headers = {"Location": reverse("entry", kwargs={"id": made.uuid})}
        return Response(entry_json(entry, make_writer(self.viewer)), status=201, headers=headers)


class OneEntry(Door):
    """One entry by its id."""

    @extend_schema(operation_id="get_entry", responses={200: OpenApiResponse(of("Entry"))})
    def get(self, request: Request, id: str) -> Response:
        """Get one entry with its lines."""
        uuid = read_uuid(id)
        if uuid is None:
            raise NotFound("There is no entry of that id.")
        return Response(entry_json(get_entry(self.viewer, uuid), make_writer(self.viewer)))
