"""What is done with it, as GraphQL types: jobs with their runs and spans, pull sheets, statements."""

from typing import Any

import graphene
from graphene import relay

from api.graphql.asking import asking
from api.graphql.balance_types import FluidSum
from api.graphql.batches import find_one, list_many, page_many
from api.graphql.paging import check_size, connect, connection_field
from api.graphql.stock_types import Material, Money, Named, Place, Quantity, find_place
from api.wire.pages import Order
from api.wire.statements import WORDS
from inventory.queries.access import visible_materials, visible_parties
from jobs import models
from jobs.queries import access

BY_KEY = Order("id", is_number=True)


class Span(graphene.ObjectType):
    """One unbroken length of sheath between two access points."""

    name = graphene.String(required=True)
    sequence = graphene.Int(required=True)
    length = graphene.Field(Quantity, required=True, description="as it was entered")
    length_m = graphene.Float(required=True)
    bends = graphene.Int()
    is_extracted = graphene.Boolean(required=True)
    cable_size = graphene.String(required=True)
    near = graphene.String(required=True)
    far = graphene.String(required=True)
    run = graphene.Field(lambda: Run, required=True)
    place = graphene.Field(Place)

    def resolve_length(self, info: Any) -> Any:
        return {"value": self.entered_length, "unit": self.entered_unit}

    def resolve_cable_size(self, info: Any) -> str:
        return _designation(self)

    def resolve_near(self, info: Any) -> str:
        return _point(self, info, "near")

    def resolve_far(self, info: Any) -> str:
        return _point(self, info, "far")

    def resolve_run(self, info: Any) -> Any:
        return find_one(self, "run", models.Run.objects.all())

    def resolve_place(self, info: Any) -> Any:
        return find_place(self, info, "place")


class Run(graphene.ObjectType):
    """Spans joined into one length of one bore."""

    name = graphene.String(required=True)
    is_cleaned = graphene.Boolean(required=True)
    is_blown = graphene.Boolean(required=True)
    cable_size = graphene.String(required=True)
    place = graphene.Field(Place)
    spans = graphene.List(graphene.NonNull(Span), required=True)

    def resolve_cable_size(self, info: Any) -> str:
        return _designation(self)

    def resolve_place(self, info: Any) -> Any:
        return find_place(self, info, "place")

    def resolve_spans(self, info: Any) -> Any:
        rows = access.visible_spans(asking(info).viewer).order_by("run", "sequence")
        return list_many(self, "spans", rows, "run")


class RunConnection(relay.Connection):
    class Meta:
        node = Run


class SpanConnection(relay.Connection):
    class Meta:
        node = Span


class Job(graphene.ObjectType):
    """One piece of work under one reference."""

    class Meta:
        interfaces = (relay.Node,)
        possible_types = (models.Job,)

    reference = graphene.String(required=True)
    name = graphene.String(required=True)
    state = graphene.String(required=True)
    customer = graphene.Field(Named)
    place = graphene.Field(Place)
    fibre = graphene.Field(Material)
    runs = connection_field(RunConnection)
    spans = connection_field(SpanConnection)

    def resolve_id(self, info: Any) -> str:
        return str(self.reference)

    @classmethod
    def get_node(cls, info: Any, id: str) -> models.Job | None:
        return access.visible_jobs(asking(info).viewer).filter(reference=id).first()

    def resolve_customer(self, info: Any) -> Any:
        return find_one(self, "customer", visible_parties(asking(info).viewer))

    def resolve_place(self, info: Any) -> Any:
        return find_place(self, info, "place")

    def resolve_fibre(self, info: Any) -> Any:
        return find_one(self, "fibre", visible_materials(asking(info).viewer))

    def resolve_runs(self, info: Any, first: int, after: str | None = None) -> Any:
        rows = access.visible_runs(asking(info).viewer)
        return connect(RunConnection, _page(self, "runs", rows, first, after))

    def resolve_spans(self, info: Any, first: int, after: str | None = None) -> Any:
        rows = access.visible_spans(asking(info).viewer)
        return connect(SpanConnection, _page(self, "spans", rows, first, after))


class JobConnection(relay.Connection):
    class Meta:
        node = Job


class PullSheetStep(graphene.ObjectType):
    """One step in the order of work."""

    position = graphene.Int(required=True)
    kind = graphene.String(required=True)
    title = graphene.String(required=True)
    detail = graphene.String(required=True)
    job = graphene.String(required=True)
    is_stopped = graphene.Boolean(required=True)


class Pick(graphene.ObjectType):
    """From where a thing is taken."""

    place = graphene.String(required=True)
    container = graphene.String()
    short_code = graphene.String(description="what a person types or scans to name the container")
    quantity = graphene.Field(Quantity, required=True)
    note = graphene.String(required=True)
    place_code = graphene.String(required=True)
    material = graphene.String()
    mass = graphene.Field(Quantity)
    caution = graphene.String(required=True)


class NumberReason(graphene.ObjectType):
    """Where one number of a line comes from."""

    number = graphene.String(required=True)
    quantity = graphene.Field(Quantity, required=True)
    why = graphene.String(required=True)


class PullSheetLine(graphene.ObjectType):
    """One thing that the kit needs, and why."""

    section = graphene.String(required=True)
    title = graphene.String(required=True)
    material = graphene.String()
    owner = graphene.String()
    needed = graphene.Field(Quantity, required=True)
    on_truck = graphene.Field(Quantity, required=True)
    to_take = graphene.Field(Quantity, required=True)
    short = graphene.Field(Quantity, required=True)
    picks = graphene.List(graphene.NonNull(Pick), required=True)
    first_step = graphene.Int(required=True)
    why = graphene.String(required=True)
    reasons = graphene.List(graphene.NonNull(NumberReason), required=True)
    elsewhere = graphene.List(
        graphene.NonNull(Pick), required=True, description="reels of other places, to be brought first"
    )
    group = graphene.String(required=True, description="where along the cable it is used")
    made = graphene.Field(Quantity, required=True, description="what the picks make of it by a recipe")
    there = graphene.List(graphene.NonNull(Pick), required=True)
    tags = graphene.List(graphene.NonNull(graphene.String), required=True)
    help = graphene.String(required=True, description="of what is short: where else it is, what brings it")


class Shortage(graphene.ObjectType):
    """What no place has for the kit."""

    title = graphene.String(required=True)
    material = graphene.String()
    short = graphene.Field(Quantity, required=True)
    help = graphene.String(required=True)


class CheckItem(graphene.ObjectType):
    """Gear or protection to look for before leaving."""

    name = graphene.String(required=True)
    detail = graphene.String(required=True)
    is_protective = graphene.Boolean(required=True)


class TruckLoad(graphene.ObjectType):
    """What the truck carries over the day, against what it may carry."""

    leaving = graphene.Field(Quantity, required=True)
    heaviest = graphene.Field(Quantity, required=True)
    heaviest_after_step = graphene.Int(required=True)
    returning = graphene.Field(Quantity, required=True)
    payload = graphene.Field(Quantity)
    is_over = graphene.Boolean(required=True)
    not_weighed = graphene.List(graphene.NonNull(graphene.String), required=True)
    sentence = graphene.String(required=True)


class ReelCut(graphene.ObjectType):
    """One run off a reel, by the marks on its jacket where they are known."""

    step = graphene.Int(required=True)
    title = graphene.String(required=True)
    length = graphene.Field(Quantity, required=True)
    mark_from = graphene.String()
    mark_to = graphene.String()


class ReelCuts(graphene.ObjectType):
    """The cuts of one reel in the order of work."""

    reel = graphene.String(required=True)
    place = graphene.String(required=True)
    is_elsewhere = graphene.Boolean(required=True)
    held = graphene.Field(Quantity, required=True)
    left = graphene.Field(Quantity, required=True)
    cuts = graphene.List(graphene.NonNull(ReelCut), required=True)


class PullSheet(graphene.ObjectType):
    """What a crew loads for a day, in the order of work."""

    crew = graphene.Field(Named, required=True)
    date = graphene.String(required=True)
    vehicle = graphene.String(required=True)
    warehouse = graphene.String(required=True)
    state = graphene.String(required=True)
    steps = graphene.List(graphene.NonNull(PullSheetStep), required=True)
    lines = graphene.List(graphene.NonNull(PullSheetLine), required=True)
    shortages = graphene.List(graphene.NonNull(Shortage), required=True)
    remarks = graphene.List(graphene.NonNull(graphene.String), required=True)
    cautions = graphene.List(graphene.NonNull(graphene.String), required=True)
    check_list = graphene.List(graphene.NonNull(CheckItem), required=True)
    cuts = graphene.List(graphene.NonNull(ReelCuts), required=True)
    load = graphene.Field(TruckLoad)


class StatedJob(graphene.ObjectType):
    """The job of a statement."""

    reference = graphene.String(required=True)
    name = graphene.String(required=True)
    state = graphene.String(required=True)


StatedValues = type(
    "StatedValues",
    (graphene.ObjectType,),
    {
        "__doc__": "What was drawn and came back, in money.",
        **{word: graphene.Field(Money) for word in ("drawn", *WORDS)},
    },
)


class StatedMaterial(graphene.ObjectType):
    """One material of one owner. Money is null for who may see none."""

    material = graphene.String(required=True)
    name = graphene.String(required=True)
    owner = graphene.String(required=True)
    drawn = graphene.Field(Quantity, required=True)
    stays = graphene.Field(Quantity, required=True)
    used = graphene.Field(Quantity, required=True)
    installed = graphene.Field(Quantity, required=True)
    lost = graphene.Field(Quantity, required=True)
    returned = graphene.Field(Quantity, required=True)
    recovered = graphene.Field(Quantity, required=True)
    adjusted = graphene.Field(Quantity, required=True)
    values = graphene.Field(StatedValues)
    cost = graphene.Field(Money)


class StatedPart(graphene.ObjectType):
    """One span or run, or the job itself for what was charged to none of them."""

    kind = graphene.String(required=True)
    name = graphene.String()
    materials = graphene.List(graphene.NonNull(StatedMaterial), required=True)
    cost = graphene.Field(Money)


class ScrapCredit(graphene.ObjectType):
    """What one sold lot of core brings: credited where it was the company's own, else owed to its owner."""

    lot = graphene.String(required=True)
    sold_at = graphene.String(required=True)
    buyer = graphene.String(required=True)
    document = graphene.String(required=True)
    owner = graphene.Field(Named, required=True)
    expected = graphene.Field(Quantity, required=True)
    weighed = graphene.Field(Quantity, required=True)
    credited = graphene.Field(Money)
    owed = graphene.Field(Money)


class Statement(graphene.ObjectType):
    """What a job's materials were and cost. Goods of others are stated apart, without cost."""

    job = graphene.Field(StatedJob, required=True)
    customer = graphene.String()
    materials = graphene.List(graphene.NonNull(StatedMaterial), required=True)
    furnished = graphene.List(graphene.NonNull(StatedMaterial), required=True)
    parts = graphene.List(graphene.NonNull(StatedPart), required=True)
    fluid = graphene.List(graphene.NonNull(FluidSum), required=True)
    cost = graphene.Field(Money)
    book_value = graphene.Field(Money)
    agrees_with_book = graphene.Boolean()
    scrap = graphene.List(graphene.NonNull(ScrapCredit))
    scrap_credit = graphene.Field(Money)
    cost_less_scrap = graphene.Field(Money)


def _designation(row: Any) -> str:
    return str(find_one(row, "cable_size", models.CableSize.objects.all()).designation)


def _point(row: Any, info: Any, side: str) -> str:
    return str(find_one(row, side, access.visible_access_points(asking(info).viewer)).name)


def _page(row: Any, name: str, rows: Any, first: int, after: str | None) -> Any:
    return page_many(row, name, rows, "job", order=BY_KEY, size=check_size(first), cursor=after)
