"""What is sent to close, bill, map, export and decide, and what it becomes."""

from collections.abc import Mapping
from datetime import datetime
from typing import Any

from api.wire.calculations.faults import Faults
from api.wire.calculations.faults import Place as Pointer
from api.wire.calculations.fields import Choice, Field, Flag, Listing, Record, Schema
from api.wire.entry_requests import END, refuse_ahead
from api.wire.input_fields import (
    AmountField,
    CurrencyField,
    DayField,
    MomentField,
    NoteField,
    PriceField,
    ReferenceField,
    UuidField,
)
from api.wire.references import resolve
from inventory.models import InvoiceCharge, Material, Place, SecondWord
from inventory.queries.access import Viewer
from inventory.queries.company import get_company
from inventory.services.accounting.bills import Bill, BilledCharge, BilledLine
from inventory.services.accounting.journal import AccountSetting
from inventory.services.corrections import Revaluation
from inventory.services.lines import Line
from inventory.services.posting import End

MOST_LINES = 500
LOT = ReferenceField(noun="container", default=None, may_be_null=True)
HAPPENED: dict[str, Field] = {"id": UuidField(), "occurred_at": MomentField()}


def _listing(**fields: Field) -> Listing:
    return Listing(item=Record(fields=fields), most=MOST_LINES)


CLOSING = Record(fields={"id": UuidField(), "last_date": DayField(), "remark": NoteField(default="")})
DECISION = Record(fields={"is_granted": Flag(), "note": NoteField(default="")})
MAPPING = Record(
    fields={
        "accounts": _listing(
            place_kind=Choice(options=tuple(Place.Kind.values)),
            material_kind=Choice(options=("", *Material.Kind.values), default=""),
            account=NoteField(longest=40),
        )
    }
)
BATCH = Record(fields={"booked_until": DayField()})
ANSWER = Record(fields={"is_accepted": Flag(), "answer": NoteField(default="")})
INVOICE = Record(
    fields={
        **HAPPENED,
        "supplier": ReferenceField(noun="party"),
        "number": NoteField(longest=80),
        "invoice_date": DayField(),
        "currency": CurrencyField(),
        "rate": NoteField(longest=40, default="1", about="worth of one unit of it in the company's currency"),
        "lines": Listing(
            item=Record(
                fields={
                    "receipt": ReferenceField(noun="entry"),
                    "material": ReferenceField(noun="material"),
                    "amount": AmountField(),
                    "price": PriceField(),
                }
            ),
            most=MOST_LINES,
            default=[],
        ),
        "charges": Listing(
            item=Record(
                fields={
                    "name": NoteField(longest=80),
                    "amount": PriceField(),
                    "share_by": Choice(options=tuple(InvoiceCharge.ShareBy.values), default="value"),
                    "receipts": Listing(
                        item=ReferenceField(noun="entry"),
                        most=MOST_LINES,
                        default=[],
                        about="receipts it was paid for, whoever billed them; without, the bill's own lines",
                    ),
                }
            ),
            most=MOST_LINES,
            default=[],
        ),
    }
)
UNDOING = Record(fields={"reason": NoteField()})
WRITE_OFF = Record(
    fields={
        "kind": Choice(options=(SecondWord.Kind.WRITE_OFF.value,)),
        **HAPPENED,
        "reason": NoteField(),
        "document": NoteField(longest=200, default=""),
        "lines": _listing(
            material=ReferenceField(noun="material"),
            amount=AmountField(may_be_rest=True),
            source=END,
            target=END,
        ),
    }
)
WRITE_DOWN = Record(
    fields={
        "kind": Choice(options=(SecondWord.Kind.WRITE_DOWN.value,)),
        **HAPPENED,
        "reason": NoteField(),
        "changes": _listing(
            material=ReferenceField(noun="material"),
            place=ReferenceField(noun="place"),
            change=PriceField(may_be_negative=True),
            lot=LOT,
        ),
    }
)
REOPENING = Record(
    fields={
        "kind": Choice(options=(SecondWord.Kind.REOPEN.value,)),
        **HAPPENED,
        "reason": NoteField(),
        "last_date": DayField(),
    }
)
REVALUATION = Record(
    fields={
        **WRITE_DOWN.fields,
        "kind": Choice(options=(SecondWord.Kind.REVALUE.value,)),
        "against": ReferenceField(noun="place", about="a supplier's place or price variance"),
        "document": NoteField(longest=200, default=""),
    }
)
RAISED_LIMIT = Record(
    fields={
        "kind": Choice(options=(SecondWord.Kind.LIMIT.value,)),
        **HAPPENED,
        "reason": NoteField(),
        "limit": PriceField(may_be_null=True),
    }
)
SECOND_WORDS: dict[str, Record] = {
    "write_off": WRITE_OFF,
    "write_down": WRITE_DOWN,
    "revalue": REVALUATION,
    "reopen": REOPENING,
    "limit": RAISED_LIMIT,
}
WRITE_OFF_LIMIT = Record(fields={"limit": PriceField(default=None, may_be_null=True)})
COST_FORMULA = Record(fields={"cost_formula": Choice(options=tuple(Material.CostFormula.values))})
ISSUE = Record(fields={"id": UuidField()})


def read_request(data: Any, record: Record, *, now: datetime | None = None) -> dict[str, Any]:
    """The values of a request; every fault is named by its pointer."""
    faults = Faults()
    values = record.read(data, Pointer(), faults)
    faults.raise_if_any()
    assert values is not None
    refuse_ahead(values, now)
    return values


def read_second_word(data: Any, *, now: datetime) -> dict[str, Any]:
    """The values of a request for a second word, whichever kind it is of."""
    kind = data.get("kind") if isinstance(data, Mapping) else None
    record = SECOND_WORDS.get(kind) if isinstance(kind, str) else None
    if record is None:
        faults = Faults()
        faults.add(Pointer() / "kind", kind, f"must be one of {', '.join(SECOND_WORDS)}")
        faults.raise_if_any()
    assert record is not None
    return read_request(data, record, now=now)


def make_bill(values: dict[str, Any], viewer: Viewer) -> Bill:
    """A bill from its values; money stays in the bill's own currency, which every amount must name."""
    own = get_company().currency
    currency = values["currency"]
    faults = Faults()
    for price in [row["price"] for row in values["lines"]] + [row["amount"] for row in values["charges"]]:
        if price.currency != currency:
            faults.add(price.pointer, price.currency, f"must be {currency}, the bill's currency")
    faults.raise_if_any()
    lines = [{**row, "price": row["price"].millionths} for row in values["lines"]]
    charges = [{**row, "amount": row["amount"].millionths} for row in values["charges"]]
    named = {"supplier": values["supplier"], "lines": lines, "charges": charges}
    resolved = resolve(named, viewer=viewer)
    return Bill(
        supplier=resolved["supplier"],
        number=values["number"],
        invoice_date=values["invoice_date"],
        lines=[
            BilledLine(row["receipt"], row["material"], row["amount"], row["price"])
            for row in resolved["lines"]
        ],
        charges=[
            BilledCharge(row["name"], row["amount"], row["share_by"], tuple(row["receipts"]))
            for row in resolved["charges"]
        ],
        currency="" if currency == own else currency,
        rate=values["rate"],
    )


def make_settings(values: dict[str, Any]) -> list[AccountSetting]:
    return [
        AccountSetting(row["place_kind"], row["account"], row["material_kind"]) for row in values["accounts"]
    ]


def make_write_off_lines(values: dict[str, Any], viewer: Viewer) -> list[Line]:
    rows = resolve({"lines": values["lines"]}, viewer=viewer)["lines"]
    return [Line(row["material"], row["amount"], _end(row["source"]), _end(row["target"])) for row in rows]


def make_changes(values: dict[str, Any], viewer: Viewer) -> list[Revaluation]:
    rows = resolve({"changes": values["changes"]}, viewer=viewer)["changes"]
    return [Revaluation(row["material"], row["place"], row["change"], row["lot"]) for row in rows]


def make_revaluation(values: dict[str, Any], viewer: Viewer) -> dict[str, Any]:
    against = resolve({"against": values["against"]}, viewer=viewer)["against"]
    return values | {"against": against, "changes": make_changes(values, viewer)}


def _end(row: dict[str, Any]) -> End:
    return End(row["place"], row["container"])


def request_schemas() -> dict[str, Schema]:
    """The components that say what may be sent."""
    return {
        "PeriodClosing": CLOSING.schema(),
        "Decision": DECISION.schema(),
        "AccountMappingRequest": MAPPING.schema(),
        "JournalBatchRequest": BATCH.schema(),
        "BatchAnswer": ANSWER.schema(),
        "InvoiceRequest": INVOICE.schema(),
        "InvoiceUndoing": UNDOING.schema(),
        "SecondWordRequest": {"oneOf": [record.schema() for record in SECOND_WORDS.values()]},
        "SheetRequest": ISSUE.schema(),
        "CostFormulaRequest": COST_FORMULA.schema(),
        "WriteOffLimitRequest": WRITE_OFF_LIMIT.schema(),
    }
