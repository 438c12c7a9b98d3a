"""The change feed, and the addresses that are told of changes."""

from typing import Any

from django.db.models import QuerySet
from django.utils.timezone import now
from drf_spectacular.utils import OpenApiParameter, OpenApiResponse, extend_schema
from rest_framework.request import Request
from rest_framework.response import Response

from api.feed.changes import changes_json, read_changes, require_may_follow
from api.feed.webhooks import add_target, close_target, delivery_json, send_again, target_json
from api.models import WebhookDelivery, WebhookTarget
from api.rest.listing import LARGEST_SIZE, USUAL_SIZE, ListDoor, list_parameters, read_size
from api.wire.door import Door
from api.wire.feed import BY_NUMBER, DELIVERY_FILTERS, REPLAY, TARGET, read_number
from api.wire.input_fields import read_uuid
from api.wire.schemas import of, page_of, shape
from api.wire.truck_requests import read_record
from inventory.errors import BadInput, Fault, NotFound
from jobs.queries.access import require_admin


class ChangesDoor(Door):
    """What happened, in the order in which it was sealed."""

    @extend_schema(
        operation_id="list_changes",
        parameters=[
            OpenApiParameter("after", {"type": "string"}, description="`next_cursor` of the answer before"),
            OpenApiParameter(
                "limit", {"type": "integer", "minimum": 1, "maximum": LARGEST_SIZE, "default": USUAL_SIZE}
            ),
        ],
        responses={200: OpenApiResponse(of("Changes"))},
    )
    def get(self, request: Request) -> Response:
        """Read on from a cursor; nothing is ever skipped. A cursor of another book is answered 410."""
        require_may_follow(self.viewer)
        given, faults = request.query_params, list[Fault]()
        faults += [
            Fault(name[:60], "", "is not known here; the parameters are after, limit")
            for name in given
            if name not in ("after", "limit")
        ]
        size = read_size(given.get("limit"), faults)
        if faults:
            raise BadInput.of(faults)
        found = read_changes(after=given.get("after"), limit=size)
        return Response(
            {
                "results": changes_json(found.seals, self.viewer),
                "next_cursor": found.next_cursor,
                "has_more": found.has_more,
            }
        )


class Targets(ListDoor):
    """Addresses that are told of changes."""

    # It is answered with the target's secret.
    keeps_answers = False
    order = BY_NUMBER

    def rows(self) -> QuerySet[Any]:
        require_admin(self.viewer)
        return WebhookTarget.objects.all()

    def write(self, rows: list[Any]) -> list[dict[str, Any]]:
        return [target_json(row) for row in rows]

    @extend_schema(
        operation_id="list_webhook_targets",
        parameters=list_parameters(BY_NUMBER, {}),
        responses={200: OpenApiResponse(page_of("WebhookTarget"))},
    )
    def get(self, request: Request) -> Response:
        """List the addresses that are told of changes."""
        return super().get(request)

    @extend_schema(
        operation_id="add_webhook_target",
        request={"application/json": of("WebhookTargetRequest")},
        responses={201: OpenApiResponse(of("WebhookTarget"))},
    )
    def post(self, request: Request) -> Response:
        """Name an address that is told of what is sealed from now on. Sending it again is harmless."""
        require_admin(self.viewer)
        values = read_record(TARGET, request.data)
        target = add_target(by=self.actor, made_at=now(), **{**values, "kinds": list(values["kinds"])})
        return Response(target_json(target), status=201)


class OneTarget(Door):
    """One address."""

    @extend_schema(operation_id="get_webhook_target", responses={200: OpenApiResponse(of("WebhookTarget"))})
    def get(self, request: Request, id: str) -> Response:
        """Get an address with the secret of its signatures."""
        return Response(target_json(_find(self, id)))

    @extend_schema(operation_id="close_webhook_target", responses={200: OpenApiResponse(of("WebhookTarget"))})
    def delete(self, request: Request, id: str) -> Response:
        """Tell the address nothing more."""
        return Response(target_json(close_target(id=_find(self, id).uuid)))


class Replay(Door):
    """Deliveries that were given up."""

    @extend_schema(
        operation_id="replay_webhook_deliveries",
        request={"application/json": of("WebhookReplay")},
        responses={200: OpenApiResponse(shape(sent_again={"type": "integer"}))},
    )
    def post(self, request: Request, id: str) -> Response:
        """Send parked deliveries again: one by its number, or all."""
        target = _find(self, id)
        values = read_record(REPLAY, request.data)
        count = send_again(target=target, delivery=read_number(values["delivery"]), now=now())
        return Response({"sent_again": count})


class Deliveries(ListDoor):
    """What was told to whom, and what was not taken."""

    order = BY_NUMBER
    filters = DELIVERY_FILTERS

    def rows(self) -> QuerySet[Any]:
        require_admin(self.viewer)
        return WebhookDelivery.objects.select_related("target")

    def write(self, rows: list[Any]) -> list[dict[str, Any]]:
        return [delivery_json(row) for row in rows]

    @extend_schema(
        operation_id="list_webhook_deliveries",
        parameters=list_parameters(BY_NUMBER, DELIVERY_FILTERS),
        responses={200: OpenApiResponse(page_of("WebhookDelivery"))},
    )
    def get(self, request: Request) -> Response:
        """List deliveries, oldest first."""
        return super().get(request)


def _find(door: Door, id: str) -> WebhookTarget:
    require_admin(door.viewer)
    uuid = read_uuid(id)
    target = WebhookTarget.objects.filter(uuid=uuid).first() if uuid is not None else None
    if target is None:
        raise NotFound("There is no target of that id.")
    return target
