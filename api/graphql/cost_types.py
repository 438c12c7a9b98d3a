"""A job's cost sheet over GraphQL, for the same readers as over REST."""

from typing import Any

import graphene

from api.graphql.asking import asking
from api.graphql.report_types import make_type
from api.wire.cost_sheets import cost_sheet_body
from inventory.queries.access import require_sees_accounts
from jobs.queries.access import get_visible_job
from jobs.queries.cost_sheet import make_cost_sheet


class CostQuery:
    """What may be asked of cost."""

    cost_sheet = graphene.Field(make_type("CostSheet"), job=graphene.String(required=True))

    def resolve_cost_sheet(self, info: Any, job: str) -> Any:
        viewer = asking(info).viewer
        require_sees_accounts(viewer)
        return cost_sheet_body(make_cost_sheet(get_visible_job(viewer, job)))
