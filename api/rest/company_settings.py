"""What the company sets for kits and estimates, and what reports have taught it."""

from typing import Any

from django.utils.timezone import now
from drf_spectacular.utils import OpenApiParameter, OpenApiResponse, extend_schema
from rest_framework.request import Request
from rest_framework.response import Response

from api.wire.company_settings import (
    ESTIMATING_POLICY,
    FITTING_LIMITS,
    KIT_POLICY,
    fitting_limits_body,
    read_settings,
    settings_body,
)
from api.wire.door import Door
from api.wire.learnt_fits import learnt_fit_body
from api.wire.schemas import listing, of, shape
from api.wire.truck_requests import read_record
from api.wire.versions import etag_of_content, require_match
from inventory.queries.tagged_fittings import get_tagged_fitting_policy
from inventory.services.tagged_fittings import set_fitting_limits
from jobs.queries.access import require_may_change_settings, require_may_set_fitting_limits
from jobs.queries.company_settings import find_changes, get_estimating_values, get_kit_values
from jobs.queries.learnt import list_fits_that_count
from jobs.services.company_settings import set_estimating_policy, set_kit_policy

IF_MATCH = OpenApiParameter(
    "If-Match",
    {"type": "string"},
    location=OpenApiParameter.HEADER,
    required=True,
    description="ETag of the settings as they were seen",
)


def _answer(body: dict[str, Any]) -> Response:
    return Response(body, headers={"ETag": etag_of_content(body)})


class KitPolicyDoor(Door):
    """The company's settings for kits."""

    @extend_schema(operation_id="get_kit_policy", responses={200: OpenApiResponse(of("KitPolicy"))})
    def get(self, request: Request) -> Response:
        """Get what the company has set for its kits."""
        return _answer(settings_body(get_kit_values()))

    @extend_schema(
        operation_id="set_kit_policy",
        parameters=[IF_MATCH],
        request={"application/json": of("KitPolicyRequest")},
        responses={200: OpenApiResponse(of("KitPolicy"))},
    )
    def put(self, request: Request) -> Response:
        """Put all settings in the place of what stands; days ahead need what follows from them.

        What one person may lift is set by safety, the rest by planners.
        """
        standing = get_kit_values()
        values = read_settings(KIT_POLICY, request.data, viewer=self.viewer)
        require_may_change_settings(self.viewer, find_changes(standing, values))
        require_match(request, settings_body(standing))
        return _answer(settings_body(set_kit_policy(values=values, by=self.actor, occurred_at=now())))


class EstimatingPolicyDoor(Door):
    """What the company reckons with before it has learnt better."""

    @extend_schema(
        operation_id="get_estimating_policy", responses={200: OpenApiResponse(of("EstimatingPolicy"))}
    )
    def get(self, request: Request) -> Response:
        """Get the company's estimates."""
        return _answer(settings_body(get_estimating_values()))

    @extend_schema(
        operation_id="set_estimating_policy",
        parameters=[IF_MATCH],
        request={"application/json": of("EstimatingPolicyRequest")},
        responses={200: OpenApiResponse(of("EstimatingPolicy"))},
    )
    def put(self, request: Request) -> Response:
        """Put all estimates in the place of what stands; days ahead need what follows from them.

        The company's own cautions are set by safety, the rest by planners.
        """
        standing = get_estimating_values()
        values = read_settings(ESTIMATING_POLICY, request.data, viewer=self.viewer)
        require_may_change_settings(self.viewer, find_changes(standing, values))
        require_match(request, settings_body(standing))
        found = set_estimating_policy(values=values, by=self.actor, occurred_at=now())
        return _answer(settings_body(found))


class FittingLimitsDoor(Door):
    """Up to when tagged fittings are used."""

    @extend_schema(operation_id="get_fitting_limits", responses={200: OpenApiResponse(of("FittingLimits"))})
    def get(self, request: Request) -> Response:
        """Get the limits of use and age, and how long an inspection holds."""
        return _answer(fitting_limits_body(get_tagged_fitting_policy()))

    @extend_schema(
        operation_id="set_fitting_limits",
        parameters=[IF_MATCH],
        request={"application/json": of("FittingLimitsRequest")},
        responses={200: OpenApiResponse(of("FittingLimits"))},
    )
    def put(self, request: Request) -> Response:
        """Set up to when a tagged fitting is used, by safety; kits plan none past it."""
        require_may_set_fitting_limits(self.viewer)
        values = read_record(FITTING_LIMITS, request.data)
        require_match(request, fitting_limits_body(get_tagged_fitting_policy()))
        return _answer(fitting_limits_body(set_fitting_limits(**values)))


class LearntFits(Door):
    """What field reports have taught."""

    @extend_schema(
        operation_id="list_learnt_fits",
        responses={200: OpenApiResponse(shape(results=listing(of("LearntFit"))))},
    )
    def get(self, request: Request) -> Response:
        """List what counts now of each subject, by cable size, with its readings and their period."""
        return Response({"results": [learnt_fit_body(fit) for fit in list_fits_that_count()]})
