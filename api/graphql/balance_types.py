"""Closings of crew-days and their sums as GraphQL types. They are written out as for REST."""

from typing import Any

import graphene

from api.graphql.stock_types import Named, Quantity
from jobs.queries.fluid_figures import AMOUNTS


def _list_of(kind: Any) -> Any:
    return graphene.List(graphene.NonNull(kind), required=True)


class Interval(graphene.ObjectType):
    """Where an amount lies at 95 %."""

    low = graphene.Field(Quantity, required=True)
    high = graphene.Field(Quantity, required=True)


FluidAmounts = type(
    "FluidAmounts",
    (graphene.ObjectType,),
    {
        "__doc__": "What went into spans, came back, stays there, and what the book has of it.",
        **{word: graphene.Field(Quantity, required=True) for word in AMOUNTS},
    },
)


class FluidSum(graphene.ObjectType):
    """One fluid over the closed days of a job or month."""

    fluid = graphene.Field(Named, required=True)
    amounts = graphene.Field(FluidAmounts, required=True)
    unaccounted = graphene.Field(Quantity)
    no_span = graphene.Field(Quantity, description="of the unaccounted, what no span can be charged with")
    unaccounted_interval = graphene.Field(Interval)
    days = graphene.Int(required=True)
    days_unknown = graphene.Int(required=True)


class FluidWay(graphene.ObjectType):
    """One way that a day's fluid took."""

    word = graphene.String(required=True)
    amount = graphene.Field(Quantity, required=True)
    interval = graphene.Field(Interval, required=True)


class Suspect(graphene.ObjectType):
    """One thing that would explain why a day does not close."""

    kind = graphene.String(required=True)
    name = graphene.String(required=True)
    statistic = graphene.Float(required=True)
    amount = graphene.Float(required=True)
    standard_uncertainty = graphene.Float(required=True)


class BalanceStream(graphene.ObjectType):
    """One stream: what was read or expected of it, and what the balance makes of it."""

    kind = graphene.String(required=True)
    name = graphene.String(required=True)
    source = graphene.String()
    target = graphene.String()
    instrument = graphene.String()
    measured = graphene.Field(Quantity)
    standard_uncertainty = graphene.Float()
    reconciled = graphene.Field(Quantity)
    reconciled_uncertainty = graphene.Float()
    test_statistic = graphene.Float()


class SpanFigure(graphene.ObjectType):
    """A span's fluid on that day."""

    job = graphene.String(required=True)
    span = graphene.String(required=True)
    amounts = graphene.Field(FluidAmounts, required=True)
    unaccounted = graphene.Field(Quantity)


class FluidBalance(graphene.ObjectType):
    """One fluid of a closed day."""

    fluid = graphene.Field(Named, required=True)
    is_consistent = graphene.Boolean(required=True)
    global_statistic = graphene.Float(required=True)
    degrees_of_freedom = graphene.Int(required=True)
    critical_value = graphene.Float()
    confidence = graphene.Float(required=True)
    unaccounted = graphene.Field(Quantity)
    unaccounted_interval = graphene.Field(Interval)
    left_out = _list_of(graphene.String)
    limit = graphene.Field(Quantity)
    is_above_limit = graphene.Boolean(required=True)
    suspects = _list_of(Suspect)
    freed = _list_of(Suspect)
    ways = _list_of(FluidWay)
    streams = _list_of(BalanceStream)
    spans = _list_of(SpanFigure)


class DayBalance(graphene.ObjectType):
    """The last closing of a crew-day."""

    crew = graphene.String(required=True)
    date = graphene.String(required=True)
    revision = graphene.Int(required=True)
    closed_at = graphene.String(required=True)
    by = graphene.Field(Named, required=True)
    entry = graphene.String()
    fluids = _list_of(FluidBalance)
