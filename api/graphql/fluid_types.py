"""Recovered fluid, goods held back, waste and deposits over GraphQL, in the shapes of REST."""

from typing import Any

import graphene

from api.graphql.asking import asking
from api.graphql.report_types import make_type
from api.graphql.supply_types import paged_field
from api.wire import deposits as deposit_wire
from api.wire import fluid_answers as fluids
from api.wire import quarantines as quarantine_wire
from api.wire import waste as waste_wire
from inventory.models import FluidPolicy
from inventory.queries.recovered_fluid import list_deposit_balances
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
        lambda rows, asked: quarantine_wire.quarantines_json(rows, asked.viewer),
        quarantine_wire.FILTERS,
    )
    quarantine = graphene.Field(make_type("QuarantineReach"), id=graphene.UUID(required=True))

    waste_drums = graphene.List(graphene.NonNull(make_type("WasteDrum")), required=True)
    waste_manifests = paged_field(
        "WasteManifest",
        lambda viewer: access.with_goods(access.visible_manifests(viewer)),  # type: ignore[arg-type]
        lambda rows, _asked: waste_wire.manifests_json(rows),
        waste_wire.MANIFEST_FILTERS,
    )
    deposit_terms = paged_field(
        "DepositTerms",
        access.visible_deposit_terms,  # type: ignore[arg-type]
        lambda rows, asked: [deposit_wire.terms_json(row, asked.writer) for row in rows],
        deposit_wire.TERMS_FILTERS,
    )
    deposits = paged_field(
        "Deposit",
        access.visible_deposits,  # type: ignore[arg-type]
        lambda rows, asked: deposit_wire.deposits_json(rows, asked.writer),
        deposit_wire.DEPOSIT_FILTERS,
    )
    empties = paged_field(
        "Deposit",
        access.visible_empties,  # type: ignore[arg-type]
        lambda rows, asked: deposit_wire.deposits_json(rows, asked.writer),
        deposit_wire.DEPOSIT_FILTERS,
    )
    deposit_balances = graphene.List(graphene.NonNull(make_type("DepositBalance")), required=True)

    def resolve_waste_drums(self, info: Any) -> Any:
        return waste_wire.waste_due_json(asking(info).viewer)

    def resolve_deposit_balances(self, info: Any) -> Any:
        access.require_sees_money(asking(info).viewer)
        return [deposit_wire.balance_json(row, asking(info).writer) for row in list_deposit_balances()]

    def resolve_quarantine(self, info: Any, id: Any) -> Any:
        viewer = asking(info).viewer
        return quarantine_wire.quarantine_json(access.get_visible_quarantine(viewer, id), viewer)
