"""What is said of suppliers: who they are, what they ask, what they have credited."""

from api.wire.acts import Act, Asker, Json
from api.wire.answers import make_writer
from api.wire.calculations.fields import Choice, Limits, Number, Record, Whole
from api.wire.entry_requests import AMOUNT, MATERIAL, listing
from api.wire.input_fields import (
    AmountField,
    MomentField,
    NoteField,
    PriceField,
    ReferenceField,
    UuidField,
    read_uuid,
)
from api.wire.supply_answers import credit_json, supplier_json, terms_json
from inventory.models import SupplyTerms
from inventory.queries.access import require_may_account
from inventory.queries.supply_access import get_credit, require_may_buy, visible_suppliers
from inventory.services.lines import stored_quantity
from inventory.services.orders.terms import Break, save_supplier, save_terms
from inventory.services.receiving.credits import note_credit
from inventory.units import MILLION

_DAYS = Limits(least=-1e6, most=1e6)
_PRICE = PriceField(default=None, may_be_null=True)
_AMOUNT = AmountField(default=None, may_be_null=True)


def _set_supplier(values: Json, asker: Asker) -> Json:
    require_may_buy(asker.viewer)
    party = save_supplier(
        code=values["code"],
        name=values["name"],
        order_cost=values["order_cost"] or 0,
        least_order_value=values["least_order_value"] or 0,
    )
    return supplier_json(visible_suppliers(asker.viewer).get(pk=party.pk), make_writer(asker.viewer))


def _set_terms(values: Json, asker: Asker) -> Json:
    require_may_buy(asker.viewer)
    unit = values["material"].stock_unit
    pack, minimum = values["pack"], values["minimum"]
    values["pack"] = MILLION if pack is None else stored_quantity(pack, unit, pointer="/pack")
    values["minimum"] = 0 if minimum is None else stored_quantity(minimum, unit, pointer="/minimum")
    values["line_cost"] = values["line_cost"] or 0
    for name in ("lead_time_days", "lead_time_sd_days"):
        values[name] = float(values[name])
    values["breaks"] = [
        Break(
            stored_quantity(row["from_quantity"], unit, pointer=f"/breaks/{number}/from_quantity"),
            row["unit_cost"],
        )
        for number, row in enumerate(values["breaks"])
    ]
    return terms_json([save_terms(**values)], make_writer(asker.viewer))[0]


def _note_credit(values: Json, asker: Asker) -> Json:
    require_may_account(asker.viewer)
    outcome = get_credit(asker.viewer, read_uuid(values.pop("outcome")))
    note_credit(by=asker.by, outcome=outcome, **values)
    return credit_json(get_credit(asker.viewer, outcome.uuid), make_writer(asker.viewer))


SET_SUPPLIER = Act(
    name="set_supplier",
    summary="Make a supplier or change it, with what it asks for an order as a whole.",
    record=Record(
        fields={
            "code": NoteField(longest=64),
            "name": NoteField(longest=200),
            "order_cost": PriceField(default=None, may_be_null=True, about="shared by the lines of an order"),
            "least_order_value": PriceField(
                default=None, may_be_null=True, about="what an order must come to, to be delivered"
            ),
        }
    ),
    request="SupplierRequest",
    answer="Supplier",
    do=_set_supplier,
)
SET_TERMS = Act(
    name="set_supply_terms",
    summary="Set what a supplier asks for a material, all of it at once; the same again changes nothing.",
    record=Record(
        fields={
            "material": MATERIAL,
            "supplier": ReferenceField(noun="party"),
            "unit_cost": PriceField(about="for one stock unit, below the first break"),
            "lead_time_days": Number(limits=_DAYS),
            "lead_time_sd_days": Number(default=0.0, limits=_DAYS),
            "pack": _AMOUNT,
            "minimum": _AMOUNT,
            "discount": Choice(
                options=tuple(SupplyTerms.Discount.values), default=SupplyTerms.Discount.ALL_UNITS.value
            ),
            "breaks": listing(from_quantity=AMOUNT, unit_cost=PriceField()),
            "line_cost": _PRICE,
            "shelf_life_days": Whole(limits=_DAYS, default=None, may_be_null=True),
        }
    ),
    request="SupplyTermsRequest",
    answer="SupplyTerms",
    do=_set_terms,
)
NOTE_CREDIT = Act(
    name="note_supplier_credit",
    summary="Note what a supplier credited for goods sent back. Nothing more is awaited then.",
    record=Record(
        fields={
            "id": UuidField(),
            "occurred_at": MomentField(),
            "amount": PriceField(),
            "document": NoteField(longest=120, default=""),
        }
    ),
    request="SupplierCreditRequest",
    answer="ExpectedCredit",
    do=_note_credit,
    names=("outcome",),
)
ACTS = (SET_SUPPLIER, SET_TERMS, NOTE_CREDIT)
