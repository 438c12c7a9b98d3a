"""Findings, incidents, pressure limits, tagged fittings and claims over GraphQL, in the shapes of REST."""

from typing import Any

import graphene

from api.graphql.asking import asking
from api.graphql.report_types import make_type
from api.graphql.supply_types import paged_field
from api.wire import safety as wire
from api.wire.answers import make_writer
from api.wire.safety_notices import safety_notices_json
from jobs.queries import safety_access as access
from jobs.queries.claims import list_claims


class SafetyQuery(graphene.ObjectType):
    """What the rules found and what went wrong; reads only."""

    findings = paged_field(
        "Finding",
        access.visible_findings,  # type: ignore[arg-type]
        lambda rows, _asked: [wire.finding_json(row) for row in rows],
        wire.FINDING_FILTERS,
    )
    incidents = paged_field(
        "Incident",
        access.visible_incidents,  # type: ignore[arg-type]
        lambda rows, _asked: [wire.incident_json(row) for row in rows],
        wire.INCIDENT_FILTERS,
    )
    pressure_limits = paged_field(
        "PressureLimit",
        lambda _viewer: access.visible_limits(),
        lambda rows, _asked: [wire.limit_json(row) for row in rows],
        wire.LIMIT_FILTERS,
    )
    tagged_fittings = paged_field(
        "TaggedFitting",
        access.visible_fittings,  # type: ignore[arg-type]
        lambda rows, _asked: [wire.fitting_json(row) for row in rows],
        wire.FITTING_FILTERS,
    )
    safety_notices = graphene.List(graphene.NonNull(make_type("SafetyNotice")), required=True)
    claims = graphene.List(
        graphene.NonNull(make_type("ClaimSheet")),
        required=True,
        job=graphene.String(default_value=""),
        party=graphene.String(default_value=""),
    )

    def resolve_safety_notices(self, info: Any) -> Any:
        return safety_notices_json(asking(info).viewer)

    def resolve_claims(self, info: Any, job: str, party: str) -> Any:
        viewer = asking(info).viewer
        access.require_may_see_claims(viewer)
        writer = make_writer(viewer)
        return [wire.claim_json(sheet, writer) for sheet in list_claims(job=job, party=party)]
