"""What a client sends to buy, receive, send between warehouses and count."""

from typing import Any

from api.wire.calculations.faults import Faults
from api.wire.calculations.faults import Place as Pointer
from api.wire.calculations.fields import Choice, Field, Flag, Limits, Listing, Number, Record, Schema, Whole
from api.wire.entry_requests import AMOUNT, CONTAINER, END, MATERIAL, NEW_CONTAINERS, PLACE, Values, listing
from api.wire.input_fields import (
    AmountField,
    DayField,
    MomentField,
    NoteField,
    PriceField,
    ReferenceField,
    UuidField,
)
from api.wire.new_containers import HEAVIEST_KG, read_new_containers
from api.wire.references import resolve
from api.wire.truck_requests import read_record
from inventory.errors import BadInput, Fault
from inventory.models import HeldOutcome, Instrument, Movement, OrderLine, ReceivedLine, ShipmentDifference
from inventory.queries.access import Viewer
from inventory.queries.supply_access import find_order_line
from inventory.services.counting.entering import COUNTED, Finding
from inventory.services.counting.finding import VESSELS, Come, NewVessel
from inventory.services.counting.plans import ClassRule
from inventory.services.lines import stored_quantity
from inventory.services.measuring import Method
from inventory.services.orders.joint import Wanted
from inventory.services.orders.lines import OrderedLine
from inventory.services.posting import End
from inventory.services.receiving.judging import ArrivedLine
from inventory.services.receiving.outcomes import Decision
from inventory.services.shipments.arriving import Unloaded
from inventory.services.shipments.sending import SentLine
from inventory.units import MILLION

PARTY, NOTE = ReferenceField(noun="party"), NoteField(default="")
PRICE = PriceField(about="for one stock unit", default=None, may_be_null=True)
DAY = DayField(default=None, may_be_null=True)
OPTIONAL_PLACE = ReferenceField(noun="place", default=None, may_be_null=True)
OPTIONAL_AMOUNT = AmountField(default=None, may_be_null=True)
POSITION = Whole(limits=Limits(least=1, most=10_000))
SHARE = Number(limits=Limits(least=0, most=1))
DAYS = Number(limits=Limits(least=-1e6, most=1e6))
WHEN: dict[str, Field] = {"occurred_at": MomentField()}
MADE: dict[str, Field] = {"id": UuidField(), **WHEN}
ORDER_LINE = Record(fields={"order": NoteField(longest=40), "line": POSITION}, default=None, may_be_null=True)
ORDERED = listing(material=MATERIAL, amount=AMOUNT, unit_cost=PRICE, why=NOTE)

ORDER = Record(
    fields={**MADE, "supplier": PARTY, "place": PLACE, "lines": ORDERED, "promised_date": DAY, "note": NOTE}
)
ORDER_CHANGE = Record(fields={"lines": ORDERED, "promised_date": DAY, "note": NOTE})
JOINT_ORDERS = Record(
    fields={
        **MADE,
        "lines": listing(
            place=PLACE,
            material=MATERIAL,
            amount=AMOUNT,
            supplier=ReferenceField(noun="party", default=None, may_be_null=True),
            why=NOTE,
        ),
    }
)
SENDING = Record(fields=WHEN)
PROMISE = Record(fields={"promised_date": DAY})
CALLING_OFF = Record(
    fields={**WHEN, "lines": Listing(item=POSITION, most=500, default=None, may_be_null=True)}
)
RECEIPT = Record(
    fields={
        **MADE,
        "supplier": PARTY,
        "place": PLACE,
        "delivery_note": NoteField(longest=120, default=""),
        "note": NOTE,
        "containers": NEW_CONTAINERS,
        "lines": listing(
            material=MATERIAL,
            amount=AMOUNT,
            target=END,
            ordered=ORDER_LINE,
            finding=Choice(options=tuple(ReceivedLine.Finding.values), default="sound"),
            unit_cost=PRICE,
            lot=CONTAINER,
            note=NOTE,
        ),
    }
)
OUTCOME = Record(
    fields={
        **MADE,
        "outcome": Choice(options=tuple(HeldOutcome.Outcome.values)),
        "amount": OPTIONAL_AMOUNT,
        "unit_cost": PRICE,
        "ordered": ORDER_LINE,
        "is_extra": Flag(default=False, about="true for goods that fill no order line"),
        "target": OPTIONAL_PLACE,
        "expected_credit": PriceField(default=None, may_be_null=True),
        "note": NOTE,
    }
)
SHIPMENT = Record(
    fields={
        **MADE,
        "source": PLACE,
        "target": PLACE,
        "lines": listing(material=MATERIAL, amount=AMOUNT, place=PLACE, lot=CONTAINER),
        "containers": Listing(item=ReferenceField(noun="container"), most=500, default=[]),
        "expected_date": DAY,
        "note": NOTE,
    }
)
ARRIVAL = Record(
    fields={
        **MADE,
        "unloaded": listing(position=POSITION, amount=OPTIONAL_AMOUNT, place=OPTIONAL_PLACE),
        "is_last": Flag(default=False, about="true when nothing more of it is to come"),
        "note": NOTE,
    }
)
DIFFERENCE = Record(
    fields={
        **MADE,
        "position": POSITION,
        "reason": Choice(options=tuple(ShipmentDifference.Reason.values)),
        "cause": Choice(options=tuple(Movement.Cause.values), default=""),
        "note": NOTE,
    }
)
COUNT_PLAN = Record(
    fields={
        "days_of_use": Whole(limits=Limits(least=1, most=3650), default=365),
        "rules": listing(
            upto_share=SHARE,
            counts_per_year=Whole(limits=Limits(least=0, most=366)),
            limit_share=SHARE,
            limit_value=PriceField(default=None, may_be_null=True),
        ),
    }
)
COUNT_SHEET = Record(
    fields={
        **MADE,
        "place": PLACE,
        "materials": Listing(item=MATERIAL, most=500, default=[]),
        "most": Whole(limits=Limits(least=1, most=500), default=500),
        "note": NOTE,
    }
)
COUNTING: dict[str, Field] = {
    "id": UuidField(),
    "counted_at": MomentField(),
    "amount": OPTIONAL_AMOUNT,
    "method": Choice(options=(COUNTED, *Method), default=COUNTED),
    "temperature_c": Number(default=None, may_be_null=True, limits=Limits(least=-60, most=120)),
    "instrument": NoteField(longest=64, default=""),
    "note": NOTE,
}
COUNT_OF_LINE = Record(fields={**COUNTING, "position": POSITION})
VESSEL = Record(
    fields={
        "kind": Choice(options=tuple(kind.value for kind in VESSELS)),
        "label": NoteField(longest=64, default="", about="its short code where left out"),
        "capacity": OPTIONAL_AMOUNT,
        "tare_kg": Number(default=None, may_be_null=True, limits=Limits(least=0, most=HEAVIEST_KG)),
    },
    default=None,
    may_be_null=True,
)
COUNT_OF_FOUND = Record(
    fields={
        **COUNTING,
        "place": ReferenceField(noun="place"),
        "material": ReferenceField(noun="material"),
        "owner": ReferenceField(noun="party", default=None, may_be_null=True),
        "container": ReferenceField(noun="container", default=None, may_be_null=True),
        "vessel": VESSEL,
    }
)
POSTING = Record(fields={**WHEN, "reasons": listing(position=POSITION, reason=NoteField(longest=500))})


def request_schemas() -> dict[str, Schema]:
    """The shapes of these requests, for the published schema."""
    return {
        "OrderRequest": ORDER.schema(),
        "OrderChange": ORDER_CHANGE.schema(),
        "JointOrdersRequest": JOINT_ORDERS.schema(),
        "OrderSending": SENDING.schema(),
        "OrderPromise": PROMISE.schema(),
        "OrderCallingOff": CALLING_OFF.schema(),
        "DeliveryRequest": RECEIPT.schema(),
        "HeldOutcomeRequest": OUTCOME.schema(),
        "ShipmentRequest": SHIPMENT.schema(),
        "ShipmentArrivalRequest": ARRIVAL.schema(),
        "ShipmentDifferenceRequest": DIFFERENCE.schema(),
        "CountPlanChange": COUNT_PLAN.schema(),
        "CountSheetRequest": COUNT_SHEET.schema(),
        "LineCountRequest": COUNT_OF_LINE.schema(),
        "FoundCountRequest": COUNT_OF_FOUND.schema(),
        "CountSheetPosting": POSTING.schema(),
    }


def read_values(record: Record, data: Any, viewer: Viewer) -> Values:
    """The values of a request with the records they name."""
    values: Values = resolve(read_record(record, data), viewer=viewer)
    return values


def ordered_lines(rows: list[Values]) -> list[OrderedLine]:
    return [OrderedLine(row["material"], row["amount"], row["unit_cost"], row["why"]) for row in rows]


def wanted_lines(rows: list[Values]) -> list[Wanted]:
    return [
        Wanted(
            row["place"],
            row["material"],
            stored_quantity(row["amount"], row["material"].stock_unit, pointer=f"/lines/{number}/amount"),
            row["supplier"],
            row["why"],
        )
        for number, row in enumerate(rows)
    ]


def read_receipt(data: Any, viewer: Viewer) -> Values:
    """A delivery with its new containers; those that no line names came empty."""
    values = read_record(RECEIPT, data)
    made = read_new_containers(values.pop("containers"), viewer)
    values = resolve(values, viewer=viewer, made={"container": made})
    faults = Faults()
    lines = []
    for number, row in enumerate(values["lines"]):
        ordered = _find_ordered(row["ordered"], viewer, Pointer() / "lines" / number / "ordered", faults)
        end = End(row["target"]["place"], row["target"]["container"])
        lines.append(
            ArrivedLine(
                row["material"],
                row["amount"],
                end,
                ordered,
                row["finding"],
                row["unit_cost"],
                row["lot"],
                row["note"],
            )
        )
    faults.raise_if_any()
    named = {line.target.container.label for line in lines if line.target.container}
    named |= {line.lot.label for line in lines if line.lot}
    empties = [container for label, container in made.items() if label not in named]
    return {**values, "lines": lines, "empties": empties}


def read_outcome(data: Any, viewer: Viewer) -> tuple[Values, Decision]:
    values = read_values(OUTCOME, data, viewer)
    faults = Faults()
    serves = _find_ordered(values.pop("ordered"), viewer, Pointer() / "ordered", faults)
    faults.raise_if_any()
    head = {name: values.pop(name) for name in MADE}
    return head, Decision(serves=serves, **values)


def read_shipment(data: Any, viewer: Viewer) -> Values:
    values = read_values(SHIPMENT, data, viewer)
    values["lines"] = [
        SentLine(row["material"], row["amount"], row["place"], row["lot"]) for row in values["lines"]
    ]
    return values


def read_arrival(data: Any, viewer: Viewer) -> Values:
    values = read_values(ARRIVAL, data, viewer)
    values["unloaded"] = [Unloaded(**row) for row in values["unloaded"]]
    return values


def read_count_plan(data: Any, viewer: Viewer) -> Values:
    values = read_values(COUNT_PLAN, data, viewer)
    values["rules"] = [
        ClassRule(
            upto_share=round(row["upto_share"] * MILLION),
            counts_per_year=row["counts_per_year"],
            limit_share=round(row["limit_share"] * MILLION),
            limit_value=row["limit_value"] or 0,
        )
        for row in values["rules"]
    ]
    return values


def read_count(data: Any, viewer: Viewer) -> tuple[Values, Finding]:
    values = read_values(COUNT_OF_LINE, data, viewer)
    return values, _read_finding(values)


def read_found_count(data: Any, viewer: Viewer) -> tuple[Values, Come, Finding]:
    values = read_values(COUNT_OF_FOUND, data, viewer)
    vessel = values["vessel"]
    if vessel is not None:
        tare = vessel["tare_kg"]
        vessel = NewVessel(**{**vessel, "tare_kg": None if tare is None else float(tare)})
    come = Come(values["place"], values["material"], values["owner"], values["container"], vessel)
    return values, come, _read_finding(values)


def _read_finding(values: Values) -> Finding:
    tag = values["instrument"]
    instrument = Instrument.objects.filter(tag=tag).first() if tag else None
    if tag and instrument is None:
        raise BadInput.of([Fault("/instrument", tag, "there is no instrument of that tag")])
    temperature = values["temperature_c"]
    return Finding(
        amount=values["amount"],
        method=values["method"],
        temperature_c=float(temperature) if temperature is not None else None,
        instrument=instrument,
        note=values["note"],
    )


def _find_ordered(given: Values | None, viewer: Viewer, pointer: Pointer, faults: Faults) -> OrderLine | None:
    if given is None:
        return None
    found = find_order_line(viewer, given["order"], given["line"])
    if found is None:
        faults.add(pointer, given["order"], "there is no such line of an order")
    return found
