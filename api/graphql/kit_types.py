"""A warehouse's day of kits, as GraphQL types."""

import graphene

from api.graphql.stock_types import Named, Quantity
from api.graphql.work_types import PullSheet


class CrewAmount(graphene.ObjectType):
    """So much of a line is for one crew."""

    crew = graphene.String(required=True)
    quantity = graphene.Field(Quantity, required=True)


class BinLine(graphene.ObjectType):
    """One thing to fetch from one place, and for which crews."""

    place = graphene.Field(Named, required=True)
    container = graphene.String()
    short_code = graphene.String()
    title = graphene.String(required=True)
    material = graphene.String()
    quantity = graphene.Field(Quantity, required=True)
    crews = graphene.List(graphene.NonNull(CrewAmount), required=True)
    note = graphene.String(required=True)
    caution = graphene.String(required=True)


class BinChange(graphene.ObjectType):
    """A line that is not as it was printed: new, changed or gone."""

    kind = graphene.String(required=True)
    line = graphene.Field(BinLine, required=True)
    before = graphene.List(graphene.NonNull(CrewAmount), required=True)


class ListPrint(graphene.ObjectType):
    """The last print of a list."""

    number = graphene.Int(required=True)
    printed_at = graphene.String(required=True)


class KitsOfDay(graphene.ObjectType):
    """All kits that a warehouse gives out on a day, and one list by bin."""

    warehouse = graphene.Field(Named, required=True)
    date = graphene.String(required=True)
    sheets = graphene.List(graphene.NonNull(PullSheet), required=True)
    lines = graphene.List(graphene.NonNull(BinLine), required=True)
    last_print = graphene.Field(ListPrint)
    changes = graphene.List(graphene.NonNull(BinChange), required=True)
