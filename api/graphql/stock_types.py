"""What is held, as GraphQL types. What the reader may not see is null, as at the other doors."""

from typing import Any

import graphene
from graphene import relay

from api.graphql.asking import asking
from api.graphql.batches import batch_of, find_one, list_many, page_many
from api.graphql.paging import check_size, connect, connection_field
from api.wire.amounts import quantity_json
from api.wire.answers import entered_json
from api.wire.filters import BY_NAME
from api.wire.input_fields import read_uuid
from inventory import models
from inventory.queries import access
from inventory.queries.unit_costs import find_unit_costs
from inventory.short_codes import make_short_code


class Quantity(graphene.ObjectType):
    """An amount: a decimal string and the UCUM code of its unit."""

    value = graphene.String(required=True)
    unit = graphene.String(required=True)


class Money(graphene.ObjectType):
    """Money: a decimal string, up to six decimals, and ISO 4217."""

    value = graphene.String(required=True)
    currency = graphene.String(required=True)


class Named(graphene.ObjectType):
    """Whoever owns goods, or made an entry."""

    code = graphene.String(required=True)
    name = graphene.String(required=True)


class Material(graphene.ObjectType):
    """A kind of goods, counted in one stock unit."""

    class Meta:
        interfaces = (relay.Node,)
        possible_types = (models.Material,)

    code = graphene.String(required=True)
    name = graphene.String(required=True)
    kind = graphene.String(required=True)
    stock_unit = graphene.String(required=True)
    cost_formula = graphene.String(required=True)
    standard_unit_cost = graphene.Field(Money)
    is_hazardous = graphene.Boolean(required=True)
    is_withdrawn = graphene.Boolean(required=True)
    recovered_from = graphene.Field(lambda: Material)
    holdings = connection_field(lambda: HoldingConnection)

    def resolve_id(self, info: Any) -> str:
        return str(self.code)

    @classmethod
    def get_node(cls, info: Any, id: str) -> models.Material | None:
        return access.visible_materials(asking(info).viewer).filter(code=id).first()

    def resolve_standard_unit_cost(self, info: Any) -> Any:
        return asking(info).money(self.standard_unit_cost)

    def resolve_recovered_from(self, info: Any) -> Any:
        return find_one(self, "recovered_from", access.visible_materials(asking(info).viewer))

    def resolve_holdings(self, info: Any, first: int, after: str | None = None) -> Any:
        return page_holdings(self, info, "material", first, after)


class Place(graphene.ObjectType):
    """Where goods can be."""

    class Meta:
        interfaces = (relay.Node,)
        possible_types = (models.Place,)

    code = graphene.String(required=True)
    name = graphene.String(required=True)
    kind = graphene.String(required=True)
    payload_kg = graphene.Float()
    is_withdrawn = graphene.Boolean(required=True)
    parent = graphene.Field(lambda: Place)
    holdings = connection_field(lambda: HoldingConnection)

    def resolve_id(self, info: Any) -> str:
        return str(self.code)

    @classmethod
    def get_node(cls, info: Any, id: str) -> models.Place | None:
        return access.visible_places(asking(info).viewer).filter(code=id).first()

    def resolve_parent(self, info: Any) -> Any:
        return find_place(self, info, "parent")

    def resolve_holdings(self, info: Any, first: int, after: str | None = None) -> Any:
        return page_holdings(self, info, "place", first, after)


class Container(graphene.ObjectType):
    """A drum, tote, pail, truck tank, reel or lot."""

    class Meta:
        interfaces = (relay.Node,)
        possible_types = (models.Container,)

    label = graphene.String(required=True)
    short_code = graphene.String(required=True)
    kind = graphene.String(required=True)
    state = graphene.String(required=True)
    contents_state = graphene.String(required=True)
    received_at = graphene.DateTime()
    best_before_date = graphene.Date()
    tare_kg = graphene.Float()
    material = graphene.Field(Material)
    owner = graphene.Field(Named, required=True)
    place = graphene.Field(Place)
    holdings = connection_field(lambda: HoldingConnection)

    def resolve_id(self, info: Any) -> str:
        return str(self.label)

    @classmethod
    def get_node(cls, info: Any, id: str) -> models.Container | None:
        return access.visible_containers(asking(info).viewer).filter(label=id).first()

    def resolve_short_code(self, info: Any) -> str:
        return make_short_code(self.pk)

    def resolve_material(self, info: Any) -> Any:
        return find_material(self, info)

    def resolve_owner(self, info: Any) -> Any:
        return find_owner(self, info)

    def resolve_place(self, info: Any) -> Any:
        return find_place(self, info, "place")

    def resolve_holdings(self, info: Any, first: int, after: str | None = None) -> Any:
        return page_holdings(self, info, "container", first, after)


class Holding(graphene.ObjectType):
    """What lies in one place of one material, owner and container."""

    class Meta:
        interfaces = (relay.Node,)
        possible_types = (models.Holding,)

    quantity = graphene.Field(Quantity, required=True)
    unit_cost = graphene.Field(Money, description="average of what lies there")
    is_unsettled = graphene.Boolean(required=True)
    counted_at = graphene.DateTime()
    place = graphene.Field(Place, required=True)
    material = graphene.Field(Material, required=True)
    owner = graphene.Field(Named, required=True)
    container = graphene.Field(Container)

    def resolve_id(self, info: Any) -> str:
        return str(self.key)

    @classmethod
    def get_node(cls, info: Any, id: str) -> models.Holding | None:
        return access.visible_holdings(asking(info).viewer).filter(key=id).first()

    def resolve_quantity(self, info: Any) -> Any:
        return quantity_json(self.quantity, find_material(self, info).stock_unit)

    def resolve_unit_cost(self, info: Any) -> Any:
        if not asking(info).writer.shows_money:
            return None
        costs = batch_of(self).answer("unit_cost", find_unit_costs)
        return asking(info).money(costs[(self.place_id, self.material_id, self.owner_id)])

    def resolve_place(self, info: Any) -> Any:
        return find_place(self, info, "place")

    def resolve_material(self, info: Any) -> Any:
        return find_material(self, info)

    def resolve_owner(self, info: Any) -> Any:
        return find_owner(self, info)

    def resolve_container(self, info: Any) -> Any:
        return find_container(self, info, "container")


class HoldingConnection(relay.Connection):
    class Meta:
        node = Holding


class MaterialConnection(relay.Connection):
    class Meta:
        node = Material


class PlaceConnection(relay.Connection):
    class Meta:
        node = Place


class ContainerConnection(relay.Connection):
    class Meta:
        node = Container


class End(graphene.ObjectType):
    """One end of a movement. Its names are always told; place and container only where they may be seen."""

    place_code = graphene.String(required=True)
    place_name = graphene.String(required=True)
    container_label = graphene.String()
    place = graphene.Field(Place)
    container = graphene.Field(Container)


class Movement(graphene.ObjectType):
    """Goods or value going from one end to the other."""

    line = graphene.Int(required=True)
    purpose = graphene.String(required=True)
    cause = graphene.String(required=True)
    quantity = graphene.Field(Quantity, required=True)
    entered = graphene.Field(Quantity, description="the amount as somebody entered it")
    value = graphene.Field(Money)
    material = graphene.Field(Material, required=True)
    owner = graphene.Field(Named, required=True)
    source = graphene.Field(End, required=True)
    target = graphene.Field(End, required=True)

    def resolve_quantity(self, info: Any) -> Any:
        return quantity_json(self.quantity, find_material(self, info).stock_unit)

    def resolve_entered(self, info: Any) -> Any:
        return entered_json(self.entered_value, self.entered_unit)

    def resolve_value(self, info: Any) -> Any:
        return asking(info).money(self.value)

    def resolve_material(self, info: Any) -> Any:
        return find_material(self, info)

    def resolve_owner(self, info: Any) -> Any:
        return find_owner(self, info)

    def resolve_source(self, info: Any) -> Any:
        return _end(self, info, "source")

    def resolve_target(self, info: Any) -> Any:
        return _end(self, info, "target")


class Entry(graphene.ObjectType):
    """One event of the book."""

    class Meta:
        interfaces = (relay.Node,)
        possible_types = (models.Entry,)

    uuid = graphene.UUID(required=True)
    kind = graphene.String(required=True)
    occurred_at = graphene.DateTime(required=True)
    recorded_at = graphene.DateTime(required=True)
    booked_date = graphene.Date(required=True)
    reason = graphene.String(required=True)
    document = graphene.String(required=True)
    actor = graphene.Field(Named, required=True)
    reverses = graphene.Field(lambda: Entry)
    movements = graphene.List(graphene.NonNull(Movement), required=True)

    def resolve_id(self, info: Any) -> str:
        return str(self.uuid)

    @classmethod
    def get_node(cls, info: Any, id: str) -> models.Entry | None:
        uuid = read_uuid(id)
        return access.visible_entries(asking(info).viewer).filter(uuid=uuid).first() if uuid else None

    def resolve_actor(self, info: Any) -> Any:
        return find_one(self, "actor", models.Actor.objects.all())

    def resolve_reverses(self, info: Any) -> Any:
        return find_one(self, "reverses", access.visible_entries(asking(info).viewer))

    def resolve_movements(self, info: Any) -> Any:
        rows = access.visible_movements(asking(info).viewer).order_by("entry", "line")
        return list_many(self, "movements", rows, "entry")


class EntryConnection(relay.Connection):
    class Meta:
        node = Entry


def find_material(row: Any, info: Any) -> Any:
    return find_one(row, "material", access.visible_materials(asking(info).viewer))


def find_owner(row: Any, info: Any) -> Any:
    return find_one(row, "owner", access.visible_parties(asking(info).viewer))


def find_place(row: Any, info: Any, column: str) -> Any:
    rows = access.visible_places(asking(info).viewer).select_related(None)
    return find_one(row, column, rows)


def find_container(row: Any, info: Any, column: str) -> Any:
    return find_one(row, column, access.visible_containers(asking(info).viewer))


def page_holdings(row: Any, info: Any, column: str, first: int, after: str | None) -> Any:
    rows = access.visible_holdings(asking(info).viewer)
    size = check_size(first)
    page = page_many(row, "holdings", rows, column, order=BY_NAME, size=size, cursor=after)
    return connect(HoldingConnection, page)


def _end(row: Any, info: Any, side: str) -> End:
    """Names come with any visible movement; the records behind them are looked up among the visible."""
    place_column, container_column = f"{side}_place", f"{side}_container"
    place = find_one(row, place_column, models.Place.objects.all(), name=f"{side} place name")
    container = find_one(row, container_column, models.Container.objects.all(), name=f"{side} label")
    return End(
        place_code=place.code,
        place_name=place.name,
        container_label=container.label if container else None,
        place=find_place(row, info, place_column),
        container=find_container(row, info, container_column),
    )
