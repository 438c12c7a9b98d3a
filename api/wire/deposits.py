"""Vessels that belong to their supplier until they are back, and the money that lies there for them."""

from collections.abc import Iterable

from api.wire.acts import Act, Asker, Json
from api.wire.answers import Writer, make_writer, named_json
from api.wire.calculations.fields import Choice, Listing, Record, Schema
from api.wire.entry_requests import MOST_LINES
from api.wire.entry_requests import listing as listing_of
from api.wire.filters import Filter, by_text
from api.wire.input_fields import MomentField, NoteField, PriceField, ReferenceField, UuidField
from api.wire.pages import Order
from api.wire.schemas import DAY, TEXT, UUID, WHOLE, listing, nullable, of, shape, words
from inventory.models import Container, Deposit, DepositTerms
from inventory.queries.recovered_fluid import DepositBalance
from inventory.services.deposits import charge_deposits, return_empties, set_deposit_terms
from jobs.queries import fluid_access as access

BY_PK = Order("pk", is_number=True)
BOX, SUPPLIER = ReferenceField(noun="container"), ReferenceField(noun="party")
VESSEL_KINDS = tuple(kind for kind in Container.Kind.values if kind != Container.Kind.LOT)
DEPOSIT_FILTERS: dict[str, Filter] = {
    "supplier": by_text("supplier__code", "code of the supplier"),
    "container": by_text("container__label", "label of the vessel"),
}
TERMS_FILTERS: dict[str, Filter] = {"supplier": by_text("supplier__code", "code of the supplier")}
COMPONENTS: dict[str, Schema] = {
    "DepositTerms": shape(
        supplier=of("Named"), container_kind=words(Container.Kind), amount=nullable(of("Money"))
    ),
    "Deposit": shape(
        container=TEXT,
        supplier=of("Named"),
        amount=nullable(of("Money")),
        paid_date=DAY,
        paid_document=TEXT,
        refunded=nullable(of("Money")),
        returned_under=nullable(UUID),
    ),
    "DepositBalance": shape(
        supplier=of("Named"), vessels=WHOLE, amount=nullable(of("Money")), lost=nullable(of("Money"))
    ),
    "ChargedDeposits": shape(deposits=listing(of("Deposit"))),
    "EmptiesReturn": shape(
        id=UUID, containers=listing(TEXT), deposits=listing(of("Deposit")), refunded=nullable(of("Money"))
    ),
}


def terms_json(row: DepositTerms, writer: Writer) -> Json:
    return {
        "supplier": named_json(row.supplier),
        "container_kind": row.container_kind,
        "amount": writer.money(row.amount),
    }


def deposits_json(rows: Iterable[Deposit], writer: Writer) -> list[Json]:
    return [
        {
            "container": row.container.label,
            "supplier": named_json(row.supplier),
            "amount": writer.money(row.amount),
            "paid_date": row.paid_date.isoformat(),
            "paid_document": row.paid_document,
            "refunded": writer.money(row.refunded),
            "returned_under": str(row.return_entry.uuid) if row.return_entry is not None else None,
        }
        for row in rows
    ]


def balance_json(row: DepositBalance, writer: Writer) -> Json:
    return {
        "supplier": named_json(row.supplier),
        "vessels": row.vessels,
        "amount": writer.money(row.amount),
        "lost": writer.money(row.lost),
    }


def _set_terms(values: Json, asker: Asker) -> Json:
    access.require_role(asker.viewer, access.KEEPS_DEPOSITS, "set deposits")
    return terms_json(set_deposit_terms(**values), make_writer(asker.viewer))


def _charge(values: Json, asker: Asker) -> Json:
    access.require_role(asker.viewer, access.KEEPS_DEPOSITS, "note deposits")
    charged = {row.pk for row in charge_deposits(**values)}
    rows = access.visible_deposits(asker.viewer).filter(pk__in=charged).order_by("pk")
    return {"deposits": deposits_json(rows, make_writer(asker.viewer))}


def _return(values: Json, asker: Asker) -> Json:
    access.require_may_send_back(asker.viewer, values["containers"])
    refunds = {row["container"].label: row["refunded"] for row in values.pop("refunds")}
    entry = return_empties(by=asker.by, refunds=refunds, **values)
    rows = list(access.visible_deposits(asker.viewer).filter(return_entry=entry).order_by("pk"))
    writer = make_writer(asker.viewer)
    return {
        "id": str(entry.uuid),
        "containers": sorted(box.label for box in values["containers"]),
        "deposits": deposits_json(rows, writer),
        "refunded": writer.money(sum(row.refunded or 0 for row in rows)),
    }


BOXES = Listing(item=BOX, most=MOST_LINES, default=[])
SET_TERMS = Act(
    name="set_deposit_terms",
    summary="Say what a supplier charges for a vessel of a kind until it is back.",
    record=Record(
        fields={"supplier": SUPPLIER, "container_kind": Choice(options=VESSEL_KINDS), "amount": PriceField()}
    ),
    request="DepositTermsRequest",
    answer="DepositTerms",
    do=_set_terms,
)
CHARGE = Act(
    name="charge_deposits",
    summary="Note what was paid for vessels; without an amount what the supplier's terms say.",
    record=Record(
        fields={
            "occurred_at": MomentField(),
            "supplier": SUPPLIER,
            "containers": BOXES,
            "amount": PriceField(default=None, may_be_null=True, about="for each of the vessels"),
            "document": NoteField(longest=200, default=""),
        }
    ),
    request="DepositCharge",
    answer="ChargedDeposits",
    do=_charge,
)
RETURN = Act(
    name="return_empties",
    summary="Send empty vessels back to their supplier; their deposits come back with them.",
    record=Record(
        fields={
            "id": UuidField(),
            "occurred_at": MomentField(),
            "supplier": SUPPLIER,
            "containers": BOXES,
            "refunds": listing_of(container=BOX, refunded=PriceField(about="where it is not the deposit")),
            "document": NoteField(longest=200, default=""),
            "reason": NoteField(default=""),
        }
    ),
    request="EmptiesReturnRequest",
    answer="EmptiesReturn",
    do=_return,
)
ACTS = (SET_TERMS, CHARGE, RETURN)
