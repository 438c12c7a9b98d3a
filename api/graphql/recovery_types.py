"""Recovery rates, core scrap and the company's limits over GraphQL, in the shapes of REST."""

from typing import Any

import graphene

from api.graphql.asking import asking
from api.graphql.report_types import make_type
from api.graphql.supply_types import paged_field
from api.wire import company_rules as rules_wire
from api.wire import core_scrap as scrap_wire
from api.wire import recovery as recovery_wire
from jobs.models import CoreMass
from jobs.queries import fluid_access as access
from jobs.queries.access import get_visible_job


class RecoveryQuery(graphene.ObjectType):
    """What comes back, and what the company holds against it."""

    recovery_rates = paged_field(
        "RecoveryRate",
        access.visible_rates,  # type: ignore[arg-type]
        lambda rows, _asked: recovery_wire.rates_json(rows),
        recovery_wire.RATE_FILTERS,
    )
    recovery_drifts = paged_field(
        "RecoveryDrift",
        access.visible_drifts,  # type: ignore[arg-type]
        lambda rows, _asked: [recovery_wire.drift_json(row) for row in rows],
        recovery_wire.DRIFT_FILTERS,
    )
    core_masses = paged_field(
        "CoreMass",
        lambda _viewer: CoreMass.objects.select_related("cable_size"),
        lambda rows, _asked: [scrap_wire.mass_json(row) for row in rows],
        {},
    )
    scrap_terms = paged_field(
        "ScrapTerms",
        access.visible_scrap_terms,  # type: ignore[arg-type]
        lambda rows, _asked: [scrap_wire.terms_json(row) for row in rows],
        scrap_wire.TERMS_FILTERS,
    )
    scrap_lots = paged_field(
        "ScrapLot",
        access.visible_lots,  # type: ignore[arg-type]
        lambda rows, asked: scrap_wire.lots_json(rows, asked.writer),
        scrap_wire.LOT_FILTERS,
        scrap_wire.BY_LABEL,
    )
    job_scrap = graphene.Field(make_type("JobScrap"), job=graphene.String(required=True))
    company_rules = graphene.Field(make_type("CompanyRules"), required=True)
    fitting_limits = graphene.Field(make_type("FittingLimits"), required=True)

    def resolve_job_scrap(self, info: Any, job: str) -> Any:
        asked = asking(info)
        return scrap_wire.job_scrap_json(get_visible_job(asked.viewer, job), asked.writer)

    def resolve_company_rules(self, info: Any) -> Any:
        return rules_wire.with_version(rules_wire.current_rules())

    def resolve_fitting_limits(self, info: Any) -> Any:
        return rules_wire.with_version(rules_wire.current_fitting_limits())
