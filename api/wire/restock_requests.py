"""What a client sends about restocking: runs to be made, policies, lines to be written as orders."""

from typing import Any

from api.wire.calculations.faults import Faults
from api.wire.calculations.faults import Place as Pointer
from api.wire.calculations.fields import Choice, Field, Limits, Listing, Number, Record, Schema, Text, Whole
from api.wire.entry_requests import MATERIAL, PLACE
from api.wire.input_fields import AmountField, DayField, PriceField, UuidField
from api.wire.references import resolve
from inventory.models import StockPolicy
from inventory.queries.access import Viewer
from inventory.services.lines import quantity_of
from inventory.services.restocking.policies import PolicyFields

Values = dict[str, Any]
SOMEWHERE: Field = type(PLACE)(noun="place", default=None, may_be_null=True)
SOMETHING: Field = type(MATERIAL)(noun="material", default=None, may_be_null=True)
OPEN: dict[str, Any] = {"default": None, "may_be_null": True}
RUN = Record(
    fields={
        "id": UuidField(),
        "as_of": DayField(default=None, may_be_null=True, about="today without"),
        "place": SOMEWHERE,
        "horizon_days": Whole(default=28, limits=Limits(least=1, most=730)),
    }
)
POLICY = Record(
    fields={
        "place": SOMEWHERE,
        "material": SOMETHING,
        "target": Choice(options=("", *StockPolicy.Target.values), default=""),
        "target_share": Number(**OPEN),
        "shortage_cost_per_day": PriceField(**OPEN, about="of one stock unit lacking for a day"),
        "holding_cost_rate": Number(**OPEN),
        "review_days": Whole(**OPEN),
        "forecast_method": Choice(options=("", *StockPolicy.Forecast.values), default=""),
        "return_lag_days": Number(**OPEN),
        "return_lag_sd_days": Number(**OPEN),
        "storage_limit": AmountField(**OPEN),
        "minimum_level": AmountField(**OPEN),
        "maximum_level": AmountField(**OPEN),
    }
)
ORDERS = Record(
    fields={
        "id": UuidField(),
        "place": SOMEWHERE,
        "materials": Listing(item=Text(is_id=True), most=500, default=()),
        "suppliers": Listing(item=Text(is_id=True), most=500, default=()),
    }
)
AMOUNTS = ("storage_limit", "minimum_level", "maximum_level")


def read_run(data: Any, *, viewer: Viewer) -> Values:
    """A run to be made, with its place."""
    return resolve(_read(RUN, data), viewer=viewer)


def read_orders(data: Any, *, viewer: Viewer) -> Values:
    """Lines of the list, by their materials or suppliers, to be written as orders."""
    return resolve(_read(ORDERS, data), viewer=viewer)


def read_policy(data: Any, *, viewer: Viewer) -> Values:
    """A policy with its place and material; amounts in the material's unit."""
    values = resolve(_read(POLICY, data), viewer=viewer)
    place, material = values.pop("place"), values.pop("material")
    for name in AMOUNTS:
        amount = values[name]
        if amount is not None and material is not None:
            values[name] = quantity_of(amount, material, pointer=f"/{name}")
        elif amount is not None:
            # The service refuses an amount of nothing in particular; any number will do for that.
            values[name] = 1
    return {"place": place, "material": material, "fields": PolicyFields(**values)}


def request_schemas() -> dict[str, Schema]:
    """What these requests look like, by the name of their component."""
    return {
        "RestockRunRequest": RUN.schema(),
        "StockPolicyRequest": POLICY.schema(),
        "RestockOrdersRequest": ORDERS.schema(),
    }


def _read(record: Record, data: Any) -> Values:
    faults = Faults()
    values = record.read(data, Pointer(), faults)
    faults.raise_if_any()
    assert values is not None
    return values
