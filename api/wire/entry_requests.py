"""What a client sends to make an entry: one shape per kind, each translated into one service call.

`report` says what a job, run or span took, `recovery` what came back from one; both become entries of kind
report. `pour` is a transfer from container to container. A reversal undoes an entry.
"""

from collections.abc import Callable, Iterable, Mapping
from dataclasses import dataclass, replace
from datetime import datetime, timedelta
from typing import Any

from api.wire.calculations.faults import Faults
from api.wire.calculations.faults import Place as Pointer
from api.wire.calculations.fields import Choice, Field, Flag, Listing, Record, Schema
from api.wire.input_fields import (
    AmountField,
    MomentField,
    NoteField,
    PriceField,
    ReferenceField,
    UuidField,
)
from api.wire.new_containers import NEW_CONTAINER_FIELDS, OWNER, read_new_containers
from api.wire.references import resolve
from inventory.errors import BadInput, Fault
from inventory.models import Actor, Entry, InvoiceCharge, Movement, Place
from inventory.queries.access import Viewer, require_may_post, require_may_reverse
from inventory.queries.recorded import is_recorded_by
from inventory.services.conversions import Caught, convert, recover
from inventory.services.corrections import Revaluation, dispose, revalue
from inventory.services.counts import Found, count
from inventory.services.goods import decant, draw, return_goods, transfer
from inventory.services.hand_backs import HandedPart, hand_back
from inventory.services.landed import Charge, land
from inventory.services.lines import Line
from inventory.services.posting import End
from inventory.services.receipts import ReceiptLine, receive
from jobs.services.accounting import undo_entry

Kind = Entry.Kind
Values = dict[str, Any]
# One entry holds its locks until it is written; what a truck carries fits many times over.
MOST_LINES = 500
# Clocks differ, and some tell the time of another zone.
MOST_AHEAD = timedelta(days=1)


def listing(**fields: Field) -> Listing:
    return Listing(item=Record(fields=fields), most=MOST_LINES, default=[])


PLACE, MATERIAL = ReferenceField(noun="place"), ReferenceField(noun="material")
CONTAINER = ReferenceField(noun="container", default=None, may_be_null=True)
END = Record(fields={"place": PLACE, "container": CONTAINER})
AMOUNT, AMOUNT_OR_REST = AmountField(), AmountField(may_be_rest=True)
USES = (
    Movement.Purpose.USED.value,
    Movement.Purpose.INSTALLED.value,
    Movement.Purpose.LOST.value,
    Movement.Purpose.WORN.value,
)
LINES = listing(material=MATERIAL, amount=AMOUNT_OR_REST, source=END, target=END)
USE_LINES = listing(
    material=MATERIAL,
    amount=AMOUNT_OR_REST,
    source=END,
    target=END,
    purpose=Choice(options=USES, default=Movement.Purpose.USED.value),
    cause=Choice(options=tuple(Movement.Cause.values), default=""),
)
PARTS = listing(material=MATERIAL, amount=AMOUNT_OR_REST, place=PLACE, container=CONTAINER)
NEW_CONTAINERS = listing(**NEW_CONTAINER_FIELDS)
CHARGES = listing(
    name=NoteField(longest=80),
    amount=PriceField(about="freight, duty or the like, shared over the lines"),
    share_by=Choice(options=tuple(InvoiceCharge.ShareBy.values), default="value"),
)
COMMON: dict[str, Field] = {
    "id": UuidField(),
    "reason": NoteField(default=""),
    "document": NoteField(longest=200, default=""),
}
HAPPENED: dict[str, Field] = {**COMMON, "occurred_at": MomentField()}
# What these tell of has happened and may have been overtaken by what was told before it.
TALES = frozenset({"report", "return", "recovery"})
AS_REPORT = Flag(default=False, about="true for what has happened, false for what is meant to")
HOLDER = NoteField(longest=120, default="", about="whose promises may be used up")


@dataclass(frozen=True)
class EntryRequest:
    """One kind of request: its fields and what it becomes."""

    kind: str
    summary: str
    fields: Mapping[str, Field]
    make: Callable[[Values, Viewer, Actor], Entry]

    @property
    def record(self) -> Record:
        return Record(fields={"kind": Choice(options=(self.kind,)), **self.fields})

    def schema(self) -> Schema:
        return {"title": f"{self.kind} request", "description": self.summary, **self.record.schema()}


def make_entry(data: Any, *, viewer: Viewer, by: Actor, now: datetime | None = None) -> Entry:
    """Take a request of any kind and post it; the same request again gives the same entry.

    Where `now` is given, what has not happened yet is refused.
    """
    faults, top = Faults(), Pointer()
    kind = data.get("kind") if isinstance(data, Mapping) else None
    request = ENTRY_REQUESTS.get(kind) if isinstance(kind, str) else None
    if request is None:
        pointer = top / "kind" if isinstance(data, Mapping) else top
        words = ", ".join(ENTRY_REQUESTS)
        faults.add(
            pointer, kind, f"must be one of {words}" if isinstance(data, Mapping) else "must be an object"
        )
        faults.raise_if_any()
    assert request is not None
    values = request.record.read(data, top, faults)
    faults.raise_if_any()
    refuse_ahead(values, now)
    assert values is not None
    reader = _as_sender(viewer, request.kind, values, by)
    return request.make({name: value for name, value in values.items() if name != "kind"}, reader, by)


def refuse_ahead(values: Values | None, now: datetime | None) -> None:
    """Refuse a moment to come: a count of next year would stand against all that happens until then."""
    moment = (values or {}).get("occurred_at")
    if now is not None and moment is not None and moment > now + MOST_AHEAD:
        message = f"lies ahead: at the time of sending it is {now:%Y-%m-%dT%H:%M:%SZ}"
        raise BadInput.of([Fault("/occurred_at", moment.isoformat(), message)])


def _as_sender(viewer: Viewer, kind: str, values: Values, by: Actor) -> Viewer:
    """The viewer as the sender of this request: what it tells of, and whether it told of it before.

    A drum that was handed over has left its sender's sight, yet the same request must be taken again.
    """
    is_repeat = is_recorded_by(by, values["id"])
    tells_past = kind in TALES or bool(values.get("as_report")) or is_repeat
    return replace(viewer, is_repeat=is_repeat, tells_past=tells_past)


def _make_receipt(values: Values, viewer: Viewer, by: Actor) -> Entry:
    made = read_new_containers(values.pop("containers"), viewer)
    resolved = resolve(values, viewer=viewer, made={"container": made})
    lines = [
        ReceiptLine(line["material"], line["amount"], _end(line["target"]), line["cost"], line["lot"])
        for line in resolved["lines"]
    ]
    charges = [Charge(**charge) for charge in resolved.pop("charges")]
    lines = land(lines, charges)
    named = {line.target.container.label for line in lines if line.target.container}
    named |= {line.lot.label for line in lines if line.lot}
    empties = [container for label, container in made.items() if label not in named]
    require_may_post(
        viewer,
        Kind.RECEIPT,
        [(resolved["source"], line.target.place) for line in lines]
        + [(None, container.place) for container in made.values()],
    )
    rest = {name: value for name, value in resolved.items() if name != "lines"}
    return receive(by=by, lines=lines, empties=empties, **rest)


def _make_draw(values: Values, viewer: Viewer, by: Actor) -> Entry:
    lines, rest = _lines(values, viewer, Kind.DRAW)
    return draw(by=by, lines=lines, **rest)


def _make_report(values: Values, viewer: Viewer, by: Actor) -> Entry:
    lines, rest = _lines(values, viewer, Kind.REPORT)
    return draw(by=by, lines=lines, as_report=True, **rest)


def _make_return(values: Values, viewer: Viewer, by: Actor) -> Entry:
    lines, rest = _lines(values, viewer, Kind.RETURN)
    return return_goods(by=by, lines=lines, **rest)


def _make_hand_back(values: Values, viewer: Viewer, by: Actor) -> Entry:
    resolved = resolve(values, viewer=viewer)
    containers = [row["container"] for row in resolved.pop("containers")]
    parts = [HandedPart(**row) for row in resolved.pop("parts")]
    boxes = [*containers, *(part.container for part in parts)]
    require_may_post(viewer, Kind.RETURN, [(box.place, None) for box in boxes])
    return hand_back(by=by, containers=containers, parts=parts, **resolved)


def _make_transfer(values: Values, viewer: Viewer, by: Actor) -> Entry:
    resolved = resolve(values, viewer=viewer)
    lines = _make_lines(resolved.pop("lines"))
    containers = [(row["container"], row["place"]) for row in resolved.pop("containers")]
    moves = [(container.place, place) for container, place in containers]
    require_may_post(viewer, Kind.TRANSFER, [*_ends(lines), *moves])
    return transfer(by=by, lines=lines, containers=containers, **resolved)


def _make_pour(values: Values, viewer: Viewer, by: Actor) -> Entry:
    lines, rest = _lines(values, viewer, Kind.TRANSFER)
    return decant(by=by, lines=lines, **rest)


def _make_disposal(values: Values, viewer: Viewer, by: Actor) -> Entry:
    lines, rest = _lines(values, viewer, Kind.DISPOSAL)
    return dispose(by=by, lines=lines, **rest)


def _make_recovery(values: Values, viewer: Viewer, by: Actor) -> Entry:
    resolved = resolve(values, viewer=viewer)
    caught = [
        Caught(row["material"], row["amount"], row["source"], _end(row["target"]))
        for row in resolved.pop("caught")
    ]
    require_may_post(viewer, Kind.REPORT, [(row.source, row.target.place) for row in caught])
    return recover(by=by, caught=caught, **resolved)


def _make_count(values: Values, viewer: Viewer, by: Actor) -> Entry:
    resolved = resolve(values, viewer=viewer)
    found = [
        Found(row["material"], row["amount"], End(row["place"], row["container"]), row["owner"])
        for row in resolved.pop("found")
    ]
    require_may_post(viewer, Kind.COUNT, [(row.end.place, None) for row in found])
    return count(by=by, found=found, **resolved)


def _make_conversion(values: Values, viewer: Viewer, by: Actor) -> Entry:
    resolved = resolve(values, viewer=viewer)
    sides = {}
    for side in ("inputs", "outputs"):
        ends = [(row, End(row["place"], row["container"])) for row in resolved.pop(side)]
        sides[side] = [Line(row["material"], row["amount"], end, end) for row, end in ends]
    require_may_post(viewer, Kind.CONVERSION, _ends([*sides["inputs"], *sides["outputs"]]))
    return convert(by=by, inputs=sides["inputs"], outputs=sides["outputs"], **resolved)


def _make_revaluation(values: Values, viewer: Viewer, by: Actor) -> Entry:
    resolved = resolve(values, viewer=viewer)
    changes = [
        Revaluation(row["material"], row["place"], row["change"], row["lot"])
        for row in resolved.pop("changes")
    ]
    require_may_post(viewer, Kind.REVALUATION, [(row.place, None) for row in changes])
    return revalue(by=by, changes=changes, **resolved)


def _make_reversal(values: Values, viewer: Viewer, by: Actor) -> Entry:
    resolved = resolve(values, viewer=viewer)
    require_may_reverse(viewer, resolved["reverses"])
    return undo_entry(id=resolved["id"], by=by, entry=resolved["reverses"], reason=resolved["reason"])


def _lines(values: Values, viewer: Viewer, kind: Kind) -> tuple[list[Line], Values]:
    """The lines of a request whose viewer may post them, and its other values."""
    resolved = resolve(values, viewer=viewer)
    lines = _make_lines(resolved.pop("lines"))
    require_may_post(viewer, kind, _ends(lines))
    return lines, resolved


def _make_lines(rows: Iterable[Values]) -> list[Line]:
    return [
        Line(
            row["material"],
            row["amount"],
            _end(row["source"]),
            _end(row["target"]),
            Movement.Purpose(row["purpose"]) if "purpose" in row else None,
            row.get("cause", ""),
        )
        for row in rows
    ]


def _ends(lines: Iterable[Line]) -> list[tuple[Place | None, Place | None]]:
    return [(line.source.place, line.target.place) for line in lines]


def _end(values: Values) -> End:
    return End(values["place"], values["container"])


ENTRY_REQUESTS: dict[str, EntryRequest] = {
    request.kind: request
    for request in (
        EntryRequest(
            "receipt",
            "Goods that came from a supplier or a customer, in new containers or none.",
            {
                **HAPPENED,
                "source": PLACE,
                "containers": NEW_CONTAINERS,
                "lines": listing(
                    material=MATERIAL,
                    amount=AMOUNT,
                    target=END,
                    cost=PriceField(about="of the whole line; goods of others carry no cost"),
                    lot=CONTAINER,
                ),
                "charges": CHARGES,
            },
            _make_receipt,
        ),
        EntryRequest(
            "draw",
            "Goods to be charged to a job, run or span; refused where they are not there.",
            {**HAPPENED, "lines": USE_LINES, "holder": HOLDER},
            _make_draw,
        ),
        EntryRequest(
            "report",
            "What a job, run or span took; taken even where the book says it was not there.",
            {**HAPPENED, "lines": USE_LINES},
            _make_report,
        ),
        EntryRequest(
            "return",
            "Goods that came back unused from a job, run or span, at the cost at which they went out.",
            {**HAPPENED, "lines": LINES},
            _make_return,
        ),
        EntryRequest(
            "hand_back",
            "Goods of others back to their owner: whole containers, or part of what is in one.",
            {
                **HAPPENED,
                "containers": listing(container=ReferenceField(noun="container")),
                "parts": listing(
                    material=MATERIAL, amount=AMOUNT_OR_REST, container=ReferenceField(noun="container")
                ),
            },
            _make_hand_back,
        ),
        EntryRequest(
            "recovery",
            "Fluid that came back from spans or runs, as its recovered form.",
            {**HAPPENED, "caught": listing(material=MATERIAL, amount=AMOUNT, source=PLACE, target=END)},
            _make_recovery,
        ),
        EntryRequest(
            "transfer",
            "Goods, or whole containers with all they hold, from one of our places to another.",
            {
                **HAPPENED,
                "lines": LINES,
                "containers": listing(container=ReferenceField(noun="container"), place=PLACE),
                "as_report": AS_REPORT,
                "holder": HOLDER,
            },
            _make_transfer,
        ),
        EntryRequest(
            "pour",
            "Fluid poured from container to container.",
            {
                **{name: field for name, field in HAPPENED.items() if name != "document"},
                "lines": LINES,
                "as_report": AS_REPORT,
                "holder": HOLDER,
            },
            _make_pour,
        ),
        EntryRequest(
            "count",
            "What was found where; differences go to the book's differences.",
            {
                **HAPPENED,
                "found": listing(
                    material=MATERIAL, amount=AMOUNT, place=PLACE, container=CONTAINER, owner=OWNER
                ),
            },
            _make_count,
        ),
        EntryRequest(
            "conversion",
            "Goods made of others; what went in is what comes out costs, shared by quantity.",
            {**HAPPENED, "inputs": PARTS, "outputs": PARTS, "as_report": AS_REPORT},
            _make_conversion,
        ),
        EntryRequest(
            "disposal",
            "Goods handed over as waste; the document is the manifest.",
            {**HAPPENED, "lines": LINES, "as_report": AS_REPORT},
            _make_disposal,
        ),
        EntryRequest(
            "revaluation",
            "Value alone, put on or taken off goods: a write-down, late freight, an invoice difference.",
            {
                **HAPPENED,
                "against": PLACE,
                "changes": listing(
                    material=MATERIAL, place=PLACE, change=PriceField(may_be_negative=True), lot=CONTAINER
                ),
            },
            _make_revaluation,
        ),
        EntryRequest(
            "reversal",
            "Undoes an entry by its opposite, at the moment the original told of.",
            {
                "id": UuidField(),
                "reverses": ReferenceField(noun="entry"),
                "reason": NoteField(default=""),
            },
            _make_reversal,
        ),
    )
}
