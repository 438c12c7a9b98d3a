"""What the company sets for kits and estimates, and what reports have taught it."""

from typing import Any

from drf_spectacular.utils import OpenApiResponse, extend_schema
from rest_framework.request import Request
from rest_framework.response import Response

from api.rest.acting import act_method, current_tag
from api.wire import settings_acts as acts
from api.wire.cable_sizes import SAVE, cable_size_json, cable_sizes_body
from api.wire.door import Door
from api.wire.learnt_fits import learnt_fit_body
from api.wire.schemas import listing, of, shape
from api.wire.versions import etag_of_content
from jobs.queries.jobs import get_cable_size
from jobs.queries.learnt import list_fits_that_count


def _answer(body: dict[str, Any]) -> Response:
    return Response(body, headers={"ETag": etag_of_content(body)})


class KitPolicyDoor(Door):
    """The company's settings for kits."""

    @extend_schema(operation_id="get_kit_policy", responses={200: OpenApiResponse(of("KitPolicy"))})
    def get(self, request: Request) -> Response:
        """Get what the company has set for its kits."""
        return _answer(acts.get_kit_policy_body())

    put = act_method(acts.SET_KIT_POLICY)


class EstimatingPolicyDoor(Door):
    """What the company reckons with before it has learnt better."""

    @extend_schema(
        operation_id="get_estimating_policy", responses={200: OpenApiResponse(of("EstimatingPolicy"))}
    )
    def get(self, request: Request) -> Response:
        """Get the company's estimates."""
        return _answer(acts.get_estimating_policy_body())

    put = act_method(acts.SET_ESTIMATING_POLICY)


class CheckListDoor(Door):
    """The company's check list and protective equipment."""

    @extend_schema(operation_id="get_check_lists", responses={200: OpenApiResponse(of("CheckLists"))})
    def get(self, request: Request) -> Response:
        """Get what crews look for before leaving, and on which days."""
        return _answer(acts.get_check_lists_body())

    put = act_method(acts.SET_CHECK_LISTS)


class LearntFits(Door):
    """What field reports have taught."""

    @extend_schema(
        operation_id="list_learnt_fits",
        responses={200: OpenApiResponse(shape(results=listing(of("LearntFit"))))},
    )
    def get(self, request: Request) -> Response:
        """List what counts now of each subject, by cable size, with its readings and their period."""
        return Response({"results": [learnt_fit_body(fit) for fit in list_fits_that_count()]})


class CableSizes(Door):
    """The sizes of cable that the company knows."""

    @extend_schema(
        operation_id="list_cable_sizes",
        responses={200: OpenApiResponse(shape(results=listing(of("CableSize"))))},
    )
    def get(self, request: Request) -> Response:
        """List cable sizes, the smallest bore first, each with how sound its nominal values are."""
        return _answer(cable_sizes_body())


class OneCableSize(Door):
    """One cable size by its designation."""

    @extend_schema(operation_id="get_cable_size", responses={200: OpenApiResponse(of("CableSize"))})
    def get(self, request: Request, designation: str) -> Response:
        """Get one cable size; its version is that of all."""
        return Response(cable_size_json(get_cable_size(designation)), headers=current_tag(SAVE))

    put = act_method(SAVE)
