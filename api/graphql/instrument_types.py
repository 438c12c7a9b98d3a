"""Instruments and sums of months over GraphQL, in the shapes of REST."""

from typing import Any

import graphene

from api.graphql.asking import asking
from api.graphql.report_types import make_type
from api.graphql.supply_types import paged_field
from api.wire.fluid_sums import month_fluid_json
from api.wire.instruments import (
    BY_TAG,
    INSTRUMENT_FILTERS,
    instrument_with_checks_json,
    instruments_json,
)
from inventory.queries.instruments import get_instrument, with_places
from jobs.queries.access import require_sees_all_work


class InstrumentQuery(graphene.ObjectType):
    """What measures, how far it is trusted, and what a month's balances sum to."""

    instruments = paged_field(
        "Instrument",
        with_places,
        lambda rows, _asked: instruments_json(rows),
        INSTRUMENT_FILTERS,
        BY_TAG,
    )
    instrument = graphene.Field(make_type("InstrumentWithChecks"), tag=graphene.String(required=True))
    month_fluid = graphene.Field(
        make_type("MonthFluid"),
        month=graphene.String(required=True),
        description="the sums of a month's closed days, such as 2026-03",
    )

    def resolve_instrument(self, info: Any, tag: str) -> Any:
        return instrument_with_checks_json(get_instrument(asking(info).viewer, tag))

    def resolve_month_fluid(self, info: Any, month: str) -> Any:
        require_sees_all_work(asking(info).viewer)
        return month_fluid_json(month)
