"""What the company has set and learnt over GraphQL, in the shapes of REST."""

from typing import Any

import graphene

from api.graphql.asking import asking
from api.graphql.report_types import make_type
from api.wire import settings_acts as acts
from api.wire.cable_sizes import cable_size_json
from api.wire.learnt_fits import learnt_fit_body
from api.wire.pull_sheets import cuts_body
from jobs.models import CableSize
from jobs.queries.access import get_visible_crew_day
from jobs.queries.learnt import list_fits_that_count
from jobs.queries.pull_sheet import make_pull_sheet


class SettingsQuery(graphene.ObjectType):
    """What kits and estimates go by; reads only."""

    kit_policy = graphene.Field(make_type("KitPolicy"), required=True)
    estimating_policy = graphene.Field(make_type("EstimatingPolicy"), required=True)
    check_lists = graphene.Field(make_type("CheckLists"), required=True)
    cable_sizes = graphene.List(graphene.NonNull(make_type("CableSize")), required=True)
    learnt_fits = graphene.List(
        graphene.NonNull(make_type("LearntFit")),
        required=True,
        description="what counts now of each subject, by cable size, with its readings and their period",
    )
    pull_sheet_cuts = graphene.Field(
        make_type("SheetCuts"),
        crew=graphene.String(required=True),
        date=graphene.Date(required=True),
        description="the cuts of a day's reels with the picture and its table",
    )

    def resolve_kit_policy(self, info: Any) -> Any:
        return acts.get_kit_policy_body()

    def resolve_estimating_policy(self, info: Any) -> Any:
        return acts.get_estimating_policy_body()

    def resolve_check_lists(self, info: Any) -> Any:
        return acts.get_check_lists_body()

    def resolve_cable_sizes(self, info: Any) -> Any:
        return [cable_size_json(row) for row in CableSize.objects.all()]

    def resolve_learnt_fits(self, info: Any) -> Any:
        return [learnt_fit_body(fit) for fit in list_fits_that_count()]

    def resolve_pull_sheet_cuts(self, info: Any, crew: str, date: Any) -> Any:
        day = get_visible_crew_day(asking(info).viewer, crew_code=crew, date=date)
        return cuts_body(make_pull_sheet(day))
