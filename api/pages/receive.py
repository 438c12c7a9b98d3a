"""Taking goods in: what a delivery brought, line by line as it was found, and the labels to stick on."""

from collections.abc import Iterator
from typing import Any
from urllib.parse import urlencode
from uuid import uuid4

from django.db.models import QuerySet
from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect
from django.urls import reverse
from django.utils.timezone import now

from api.pages.asked import Asked, common_units
from api.pages.page import Page
from api.wire.supply_requests import read_receipt
from inventory.errors import SpanstockError
from inventory.models import Container, Material, Order, OrderLine, Place, ReceivedLine
from inventory.queries.access import visible_containers, visible_holdings, visible_materials, visible_places
from inventory.queries.order_progress import find_progress
from inventory.queries.supply_access import (
    get_order,
    get_receipt,
    require_may_buy,
    visible_orders,
    visible_receipts,
    visible_suppliers,
)
from inventory.services.orders.life import send_order
from inventory.services.receiving.receipts import receive_delivery
from inventory.units import MILLION, from_millionths

MOST_ORDERS, MOST_RECEIPTS, MOST_ROWS = 100, 20, 60
# A pallet of drums is unloaded one by one; more than this comes as a number.
MOST_VESSELS = 12
SPARE_ROWS = 3
KINDS = [("", "loose"), *((kind.value, kind.label) for kind in Container.Kind if kind != "truck_tank")]
FINDINGS = [
    (finding.value, finding.label)
    for finding in ReceivedLine.Finding
    # Whether more came than was ordered, or what nobody ordered, is seen from the numbers.
    if finding not in {ReceivedLine.Finding.OVER, ReceivedLine.Finding.UNORDERED}
]
LENGTH_UNITS = [("[ft_i]", "ft"), ("m", "m")]
# Fields that are seldom needed and stand folded away; a fault opens them.
FOLDED = (
    "material", "line", "outer_mark", "inner_mark", "stated_length", "best_before_date", "tare_kg",
    "unit_cost", "note",
)  # fmt: skip
VESSEL_OF = {Material.Kind.FLUID: "drum", Material.Kind.FIBRE: "reel"}


class Receive(Page):
    """What is awaited, what came last, and where to begin."""

    def get(self, request: HttpRequest) -> HttpResponse:
        return self._show_awaited()

    def post(self, request: HttpRequest) -> HttpResponse:
        """Note that a written order was sent: from now on it is awaited."""
        try:
            order = get_order(self.viewer, request.POST.get("sent", "")[:40].replace("\x00", ""))
            require_may_buy(self.viewer, order.place)
            send_order(order=order, by=self.actor, occurred_at=now())
        except SpanstockError as refusal:
            return self._show_awaited(refusal)
        return redirect("pages:receive")

    def _show_awaited(self, refusal: SpanstockError | None = None) -> HttpResponse:
        require_may_buy(self.viewer)
        written = visible_orders(self.viewer).filter(state=Order.State.WRITTEN)
        orders = visible_orders(self.viewer).filter(state__in=Order.AWAITED)
        receipts = visible_receipts(self.viewer).order_by("-pk")[:MOST_RECEIPTS]
        return self.show(
            "receive",
            written=written.order_by("pk")[:MOST_ORDERS],
            orders=orders.order_by("promised_date", "pk")[:MOST_ORDERS],
            receipts=receipts,
            refusal=refusal,
        )


class ReceiveDelivery(Page):
    """One delivery, against an order or without one, in rows: each drum and reel has a row of its own."""

    def get(self, request: HttpRequest, reference: str = "") -> HttpResponse:
        return self._show_form(reference, Asked())

    def post(self, request: HttpRequest, reference: str = "") -> HttpResponse:
        require_may_buy(self.viewer)
        asked = Asked(request.POST.dict())
        if "more" in request.POST:
            return self._show_form(reference, asked)
        try:
            body, asked.moved = self._make_body(reference, asked)
            values = read_receipt(body, self.viewer)
            for line in values["lines"]:
                require_may_buy(self.viewer, line.target.place)
            require_may_buy(self.viewer, values["place"])
            receipt = receive_delivery(by=self.actor, **values)
        except SpanstockError as refusal:
            asked.refusal = refusal
            return self._show_form(reference, asked)
        return redirect("pages:receipt", receipt.uuid)

    def _make_body(self, reference: str, asked: Asked) -> tuple[dict[str, Any], dict[str, str]]:
        """The delivery as a program would send it, and where each of its faults is shown."""
        order = get_order(self.viewer, reference) if reference else None
        lines: list[dict[str, Any]] = []
        containers: list[dict[str, Any]] = []
        moved: dict[str, str] = {}
        for number in range(self._count_rows(asked)):
            row = f"row-{number}"
            if not asked.text(f"{row}-amount"):
                continue
            moved[f"lines-{len(lines)}-target-place"] = f"{row}-place"
            moved[f"lines-{len(lines)}-target-container"] = f"{row}-label"
            moved[f"lines-{len(lines)}-lot"] = f"{row}-label"
            moved[f"lines-{len(lines)}-ordered"] = f"{row}-line"
            moved[f"lines-{len(lines)}"] = row
            line, container = _read_row(asked, row, reference, self.company.currency)
            if container is not None:
                moved[f"containers-{len(containers)}-kind"] = f"{row}-vessel"
                moved[f"containers-{len(containers)}"] = row
                containers.append(container)
            lines.append(line)
        body = {
            "id": asked.text("id"),
            "occurred_at": asked.text("occurred_at"),
            "supplier": order.supplier.code if order else asked.text("supplier"),
            "place": order.place.code if order else asked.text("place"),
            "delivery_note": asked.text("delivery_note"),
            "note": asked.text("note"),
            "lines": lines,
            "containers": containers,
        }
        return body, moved

    def _count_rows(self, asked: Asked) -> int:
        given = asked.text("rows")
        return min(int(given), MOST_ROWS) if given.isascii() and given.isdigit() and len(given) < 4 else 0

    def _show_form(self, reference: str, asked: Asked) -> HttpResponse:
        require_may_buy(self.viewer)
        order = get_order(self.viewer, reference) if reference else None
        proposed = list(_propose_rows(order, self.units.unit_for)) if order else []
        proposed += [{} for _ in range(SPARE_ROWS)] if order is None else []
        while len(proposed) < self._count_rows(asked) + (3 if "more" in asked.given else 0):
            proposed.append({})
        warehouse = order.place if order else None
        return self.show(
            "receive_delivery",
            order=order,
            asked=asked,
            refusal=asked.refusal,
            rows=[
                {
                    "name": f"row-{number}",
                    "number": number + 1,
                    "is_open": any(asked.fault(f"row-{number}-{field}") for field in FOLDED),
                    **row,
                }
                for number, row in enumerate(proposed[:MOST_ROWS])
            ],
            order_lines=[("", "none")]
            + [(str(row.position), f"{row.position} {row.material.name}") for row in _lines(order)],
            materials=visible_materials(self.viewer).order_by("name"),
            places=self._list_places(warehouse),
            warehouses=self._list_places(None, is_whole=True),
            suppliers=[
                ("", "choose"),
                *visible_suppliers(self.viewer).order_by("name").values_list("code", "name"),
            ],
            kinds=KINDS,
            findings=FINDINGS,
            length_units=LENGTH_UNITS,
            all_units=common_units(),
            request_id=asked.text("id") or uuid4(),
            occurred_at=asked.text("occurred_at") or now().isoformat(timespec="seconds"),
        )

    def _list_places(self, warehouse: Place | None, *, is_whole: bool = False) -> list[tuple[str, str]]:
        """Where goods may be put: a warehouse and its bins, or all of them."""
        kinds = {Place.Kind.WAREHOUSE} if is_whole else {Place.Kind.WAREHOUSE, Place.Kind.BIN}
        rows = visible_places(self.viewer).filter(kind__in=kinds, is_withdrawn=False).order_by("code")
        # What has no bin of its own stands in the warehouse, so that comes first.
        return [
            (row.code, row.name)
            for row in sorted(rows, key=lambda row: row.kind != Place.Kind.WAREHOUSE)
            if warehouse is None or warehouse.pk in {row.pk, row.parent_id}
        ]


class ReceiptPage(Page):
    """One receipt: what was found, what is held back, and labels for what came."""

    def get(self, request: HttpRequest, id: str) -> HttpResponse:
        receipt = get_receipt(self.viewer, id)  # type: ignore[arg-type]
        related = ("material", "place", "container", "lot", "order_line__order")
        lines = list(receipt.lines.select_related(*related).prefetch_related("outcomes"))
        labels = [row.label for line in lines for row in (line.container, line.lot) if row is not None]
        return self.show(
            "receipt",
            receipt=receipt,
            lines=lines,
            labels=labels,
            labels_address=label_address(labels),
            held=[line for line in lines if line.finding != ReceivedLine.Finding.SOUND],
        )


class Unlabelled(Page):
    """A drum or reel whose label is gone: found by what is known of it, and labelled anew."""

    def get(self, request: HttpRequest) -> HttpResponse:
        asked = Asked(request.GET.dict())
        known = {name: asked.text(name) for name in ("vessel", "material", "place")}
        found: list[dict[str, Any]] = []
        if any(known.values()):
            rows = visible_containers(self.viewer).exclude(state=Container.State.GONE).exclude(kind="lot")
            for name, path in (("vessel", "kind"), ("material", "material__code"), ("place", "place__code")):
                if known[name]:
                    rows = rows.filter(**{path: known[name]})
            vessels = list(rows.select_related("place", "material").order_by("label")[:MOST_ORDERS])
            held = visible_holdings(self.viewer).filter(container__in=vessels).select_related("material")
            inside: dict[int | None, list[Any]] = {}
            for row in held:
                inside.setdefault(row.container_id, []).append(row)
            found = [
                {"vessel": row, "contents": inside.get(row.pk, []), "label": label_address([row.label])}
                for row in vessels
            ]
        places = visible_places(self.viewer).filter(kind__in=Place.STOCK_KINDS, is_withdrawn=False)
        return self.show(
            "unlabelled",
            asked=asked,
            is_asked=any(known.values()),
            found=found,
            kinds=[("", "any"), *KINDS[1:-1]],
            materials=[
                ("", "any"),
                *visible_materials(self.viewer).order_by("name").values_list("code", "name"),
            ],
            places=[("", "anywhere"), *places.order_by("name").values_list("code", "name")],
        )


def label_address(labels: list[str]) -> str:
    """Where the labels of these containers are printed."""
    return f"{reverse('container-labels')}?{urlencode([('container', label) for label in labels])}"


def name_all(rows: QuerySet[Any]) -> list[tuple[str, str]]:
    """Code and name of each row, for choosing one."""
    return list(rows.order_by("name").values_list("code", "name"))


def _lines(order: Order | None) -> list[OrderLine]:
    return list(order.lines.select_related("material")) if order else []


def _propose_rows(order: Order, unit_for: Any) -> Iterator[dict[str, Any]]:
    """A row for each thing that is awaited: drums and reels one by one, all else as a number."""
    lines = _lines(order)
    progress = find_progress(lines)
    terms = order.supplier.supply_terms.filter(material__in={line.material_id for line in lines})
    packs = dict(terms.values_list("material_id", "pack"))
    made = 0
    for line in lines:
        awaited, vessel = progress[line.pk].awaited, VESSEL_OF.get(line.material.kind, "")  # type: ignore[call-overload]
        if not awaited:
            continue
        pack = packs.get(line.material_id, 0) if vessel else 0
        parts = min(max(1, round(awaited / pack)) if pack > MILLION else 1, MOST_VESSELS)
        for part in range(parts):
            amount = pack if parts > 1 and part < parts - 1 else awaited - pack * (parts - 1)
            made += 1
            unit = unit_for(line.material.stock_unit)
            yield {
                "line": str(line.position),
                "material": line.material.code,
                "about": line,
                "awaited": awaited,
                "amount": f"{from_millionths(amount, line.material.stock_unit, unit).normalize():f}",
                "unit": unit,
                "vessel": vessel,
                "label": f"{order.reference}-{made}" if vessel else "",
            }


def _read_row(
    asked: Asked, row: str, reference: str, currency: str
) -> tuple[dict[str, Any], dict[str, Any] | None]:
    place, vessel, label = asked.text(f"{row}-place"), asked.text(f"{row}-vessel"), asked.text(f"{row}-label")
    position = asked.text(f"{row}-line")
    line: dict[str, Any] = {
        "material": asked.text(f"{row}-material"),
        "amount": asked.amount(f"{row}-amount"),
        "target": {"place": place},
        "finding": asked.text(f"{row}-finding", "sound"),
        "unit_cost": asked.money(f"{row}-unit_cost", currency),
        "note": asked.text(f"{row}-note"),
    }
    if reference and position:
        number = int(position) if position.isascii() and position.isdigit() and len(position) < 6 else 0
        line["ordered"] = {"order": reference, "line": number}
    if not vessel:
        return line, None
    container: dict[str, Any] = {"label": label, "kind": vessel, "material": line["material"]}
    if vessel == Container.Kind.LOT:
        line["lot"] = label
    else:
        container["place"] = place
        line["target"]["container"] = label
    unit = asked.text(f"{row}-marks-unit")
    for name in ("outer_mark", "inner_mark", "stated_length"):
        value = asked.text(f"{row}-{name}").replace(",", ".")
        if value:
            container[name] = {"value": value, "unit": unit}
    if asked.text(f"{row}-best_before_date"):
        container["best_before_date"] = asked.text(f"{row}-best_before_date")
    if asked.text(f"{row}-tare_kg"):
        container["tare_kg"] = asked.text(f"{row}-tare_kg").replace(",", ".")
    return line, container
