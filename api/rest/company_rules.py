"""Limits that the company sets for itself."""

from drf_spectacular.utils import OpenApiResponse, extend_schema
from rest_framework.request import Request
from rest_framework.response import Response

from api.rest.acting import act_method, current_tag
from api.wire import company_rules as wire
from api.wire.door import Door
from api.wire.schemas import of


class CompanyRulesDoor(Door):
    """What the company allows itself before somebody is told."""

    @extend_schema(operation_id="get_company_rules", responses={200: OpenApiResponse(of("CompanyRules"))})
    def get(self, request: Request) -> Response:
        """Get the limits, and what is not watched because none is set."""
        return Response(wire.with_version(wire.current_rules()), headers=current_tag(wire.SET_RULES))

    put = act_method(wire.SET_RULES)


class FittingLimitsDoor(Door):
    """Up to when tagged fittings are used."""

    @extend_schema(operation_id="get_fitting_limits", responses={200: OpenApiResponse(of("FittingLimits"))})
    def get(self, request: Request) -> Response:
        """Get the limits of tagged fittings."""
        return Response(
            wire.with_version(wire.current_fitting_limits()), headers=current_tag(wire.SET_FITTING_LIMITS)
        )

    put = act_method(wire.SET_FITTING_LIMITS)
