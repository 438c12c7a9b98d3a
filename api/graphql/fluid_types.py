"""Recovered fluid and goods held back over GraphQL, in the shapes of REST."""

from typing import Any

import graphene

from api.graphql.asking import asking
from api.graphql.report_types import make_type
from api.graphql.supply_types import paged_field
from api.wire import fluid_answers as fluids
from api.wire import quarantines
from inventory.models import FluidPolicy
from jobs.queries import fluid_access as access


class FluidQuery(graphene.ObjectType):
    """Recovered fluid: what stands where, tests, limits and passes."""

    recovered_fluid = paged_field(
        "RecoveredFluid",
        access.visible_recovered_fluid,  # type: ignore[arg-type]
        lambda rows, _asked: fluids.recovered_json(rows),
        fluids.RECOVERED_FILTERS,
        fluids.BY_KEY,
    )
    fluid_tests = paged_field(
        "FluidTest",
        access.visible_fluid_tests,  # type: ignore[arg-type]
        lambda rows, _asked: [fluids.test_json(row) for row in rows],
        fluids.TEST_FILTERS,
    )
    fluid_limits = paged_field(
        "FluidLimit",
        lambda _viewer: access.visible_fluid_limits(),
        lambda rows, _asked: [fluids.limit_json(row) for row in rows],
        fluids.LIMIT_FILTERS,
    )
    fluid_policies = paged_field(
        "FluidPolicy",
        lambda _viewer: FluidPolicy.objects.select_related("material"),
        lambda rows, _asked: [fluids.policy_json(row) for row in rows],
        fluids.LIMIT_FILTERS,
    )
    fluid_releases = paged_field(
        "FluidRelease",
        access.visible_fluid_releases,  # type: ignore[arg-type]
        lambda rows, _asked: [fluids.release_json(row) for row in rows],
        fluids.RELEASE_FILTERS,
    )
    quarantines = paged_field(
        "Quarantine",
        access.visible_quarantines,  # type: ignore[arg-type]
        lambda rows, asked: quarantines.quarantines_json(rows, asked.viewer),
        quarantines.FILTERS,
    )
    quarantine = graphene.Field(make_type("QuarantineReach"), id=graphene.UUID(required=True))

    def resolve_quarantine(self, info: Any, id: Any) -> Any:
        viewer = asking(info).viewer
        return quarantines.quarantine_json(access.get_visible_quarantine(viewer, id), viewer)
