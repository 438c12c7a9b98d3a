"""Acts at their addresses: each becomes the `post` or `put` of a view."""

from collections.abc import Callable
from typing import Any

from django.utils.timezone import now
from drf_spectacular.utils import OpenApiParameter, OpenApiResponse, extend_schema
from rest_framework.request import Request
from rest_framework.response import Response

from api.wire.acts import Act, Asker
from api.wire.door import Door
from api.wire.schemas import of
from api.wire.versions import etag_of_content, require_match

IF_MATCH = OpenApiParameter(
    "If-Match",
    {"type": "string"},
    location=OpenApiParameter.HEADER,
    description="ETag of the record as it was seen",
)
Method = Callable[..., Response]


def act_method(act: Act) -> Method:
    """The method of a view that does one act."""

    @extend_schema(
        operation_id=act.name,
        parameters=[IF_MATCH] if act.current is not None else None,
        request={"application/json": of(act.request)} if act.request else None,
        responses={act.status: OpenApiResponse(of(act.answer))},
    )
    def method(self: Door, request: Request, **names: Any) -> Response:
        if act.current is not None:
            require_match(request, act.current())
        body = act.run(request.data if act.request else {}, names, Asker(self.viewer, self.actor, now()))
        return Response(body, status=act.status, headers=current_tag(act))

    method.__doc__ = act.summary
    return method


def current_tag(act: Act) -> dict[str, str]:
    """The version of the record that an act changes, as it stands now."""
    return {} if act.current is None else {"ETag": etag_of_content(act.current())}
