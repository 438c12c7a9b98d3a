"""What the description of an operation says beyond what its view declares."""

from typing import Any

from drf_spectacular.openapi import AutoSchema
from drf_spectacular.utils import OpenApiParameter

from api.rest.listing import LINES_TYPE
from api.wire.door import Door
from api.wire.keyed_answers import HEADER, KEPT_FOR


class DoorSchema(AutoSchema):
    """Names the key under which an answer is kept, where a door keeps answers."""

    def get_override_parameters(self) -> list[Any]:
        parameters: list[Any] = super().get_override_parameters()
        if isinstance(self.view, Door) and self.view.takes_key(self.method):
            parameters.append(_key(is_required=self.view.needs_key))
        return parameters

    def map_renderers(self, attribute: str) -> Any:
        """JSON only; that lists may be had as lines is said where all operations are at hand."""
        found = super().map_renderers(attribute)
        return [kind for kind in found if kind != LINES_TYPE] if attribute == "media_type" else found


_EXAMPLE = '"8e03978e-40d5-43dd-bc93-6894a57f9324"'


def _key(*, is_required: bool) -> OpenApiParameter:
    return OpenApiParameter(
        HEADER,
        {"type": "string", "minLength": 1, "maxLength": 257, "examples": [_EXAMPLE]},
        location=OpenApiParameter.HEADER,
        required=is_required,
        description=(
            "a key of your own making, 1 to 255 characters in double quotes. The same request under the same "
            f"key does nothing more and is answered as the first time, for {KEPT_FOR.days} days. Another "
            "request under it is refused with 422, one whose first is still running with 409."
        ),
    )
