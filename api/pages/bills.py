"""Suppliers' bills: what has none yet, a bill held against its receipts before it is booked, undoing one."""

from typing import Any
from uuid import UUID, uuid4

from django.db.models import Prefetch, QuerySet
from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect
from django.utils.timezone import now

from api.pages.asked import Asked, unit_options
from api.pages.page import Page
from api.wire import accounting_requests as requests
from inventory.errors import NotFound, SpanstockError
from inventory.models import Entry, InvoiceCharge, InvoiceLine, InvoiceShare, SupplierInvoice
from inventory.queries.access import require_may_account, require_sees_accounts
from inventory.queries.company import get_today
from inventory.queries.receipt_costs import Received, list_unbilled
from inventory.queries.supply_access import visible_suppliers
from jobs.services.accounting import rehearse_bill, take_bill, undo_bill

MOST_BILLS, MOST_LINES = 50, 60
MOST_CHARGES = 2


class Bills(Page):
    """What came and has no bill yet, and the bills that were recorded last."""

    def get(self, request: HttpRequest) -> HttpResponse:
        require_sees_accounts(self.viewer)
        waiting: dict[str, dict[str, Any]] = {}
        for row in list_unbilled(until=self.day):
            code = row.supplier_place.code.removeprefix("supplier:")
            part = waiting.setdefault(code, {"name": row.supplier_place.name, "rows": [], "accrued": 0})
            part["rows"].append(row)
            part["accrued"] += row.accrued
        return self.show(
            "bills",
            waiting=waiting,
            accrued=sum(part["accrued"] for part in waiting.values()),
            bills=SupplierInvoice.objects.select_related("supplier").order_by("-pk")[:MOST_BILLS],
            may_account=Entry.Kind.REVALUATION in self.viewer.postable,
        )


class NewBill(Page):
    """A bill against what a supplier brought; the differences are shown before anything is booked."""

    def get(self, request: HttpRequest, supplier: str) -> HttpResponse:
        return self._show_form(supplier, Asked())

    def post(self, request: HttpRequest, supplier: str) -> HttpResponse:
        require_may_account(self.viewer)
        asked = Asked(request.POST.dict())
        try:
            body, asked.moved = self._make_body(supplier, asked)
            values = requests.read_request(body, requests.INVOICE, now=now())
            bill = requests.make_bill(values, self.viewer)
            facts: dict[str, Any] = {"by": self.actor, "occurred_at": values["occurred_at"], "bill": bill}
            if "book" not in request.POST:
                rehearsed = rehearse_bill(id=values["id"], **facts)
                return self._show_form(supplier, asked, rehearsed)
            invoice = take_bill(id=values["id"], **facts)
        except SpanstockError as refusal:
            asked.refusal = refusal
            return self._show_form(supplier, asked)
        return redirect("pages:bill", invoice.uuid)

    def _make_body(self, supplier: str, asked: Asked) -> tuple[dict[str, Any], dict[str, str]]:
        currency = asked.text("currency", self.company.currency).upper()
        lines: list[dict[str, Any]] = []
        charges: list[dict[str, Any]] = []
        moved: dict[str, str] = {}
        for number in range(MOST_LINES):
            price = asked.money(f"line-{number}-price", currency)
            if price is None:
                continue
            moved[f"lines-{len(lines)}"] = f"line-{number}"
            receipt, material = asked.text(f"line-{number}-receipt"), asked.text(f"line-{number}-material")
            amount = asked.amount(f"line-{number}-amount")
            lines.append({"receipt": receipt, "material": material, "amount": amount, "price": price})
        for number in range(MOST_CHARGES):
            amount = asked.money(f"charge-{number}-amount", currency)
            if amount is not None:
                moved[f"charges-{len(charges)}"] = f"charge-{number}"
                share_by = asked.text(f"charge-{number}-share_by", "value")
                charges.append(
                    {"name": asked.text(f"charge-{number}-name"), "amount": amount, "share_by": share_by}
                )
        names = ("id", "occurred_at", "number", "invoice_date")
        body = {
            **{name: asked.text(name) for name in names},
            "supplier": supplier,
            "currency": currency,
            "rate": asked.text("rate", "1").replace(",", "."),
            "lines": lines,
            "charges": charges,
        }
        return body, moved

    def _show_form(
        self, supplier: str, asked: Asked, rehearsed: list[InvoiceLine] | None = None
    ) -> HttpResponse:
        require_may_account(self.viewer)
        party = visible_suppliers(self.viewer).filter(code=supplier).first()
        if party is None:
            raise NotFound("There is no supplier of that code.")
        rows = list_unbilled(until=get_today(), supplier=party)[:MOST_LINES]
        return self.show(
            "new_bill",
            supplier=party,
            asked=asked,
            refusal=asked.refusal,
            rows=[self._show_row(number, row) for number, row in enumerate(rows)],
            charges=[f"charge-{number}" for number in range(MOST_CHARGES)],
            share_options=InvoiceCharge.ShareBy.choices,
            own_currency=self.company.currency,
            differences=[_show_difference(line) for line in rehearsed or ()],
            total=sum(line.difference for line in rehearsed or ()),
            request_id=asked.text("id") or uuid4(),
            occurred_at=asked.text("occurred_at") or now().isoformat(timespec="seconds"),
        )

    def _show_row(self, number: int, row: Received) -> dict[str, Any]:
        stock_unit = row.material.stock_unit
        unit = self.units.unit_for(stock_unit)
        amount = self.units.write(row.unbilled, stock_unit).split(" ")[0]
        return {
            "name": f"line-{number}",
            "row": row,
            "amount": amount,
            "unit": unit,
            "units": unit_options(stock_unit),
        }


class BillPage(Page):
    """One bill, what it changed and where that went; it may be undone with a reason."""

    def get(self, request: HttpRequest, id: UUID) -> HttpResponse:
        return self._show_bill(id, Asked())

    def post(self, request: HttpRequest, id: UUID) -> HttpResponse:
        """Undo the bill; its receipts wait for a bill again."""
        require_may_account(self.viewer)
        asked = Asked(request.POST.dict())
        try:
            values = requests.read_request({"reason": asked.text("reason")}, requests.UNDOING)
            undo_bill(invoice=_get_bill(id), by=self.actor, occurred_at=now(), reason=values["reason"])
        except SpanstockError as refusal:
            asked.refusal = refusal
            return self._show_bill(id, asked)
        return redirect("pages:bill", id)

    def _show_bill(self, id: UUID, asked: Asked) -> HttpResponse:
        require_sees_accounts(self.viewer)
        bill = _get_bill(id)
        lines = list(bill.lines.all())
        return self.show(
            "bill",
            bill=bill,
            lines=[_show_difference(line) for line in lines],
            total=sum(line.difference for line in lines),
            asked=asked,
            refusal=asked.refusal,
            may_account=Entry.Kind.REVALUATION in self.viewer.postable,
        )


def _get_bill(id: UUID) -> SupplierInvoice:
    lines: QuerySet[InvoiceLine] = InvoiceLine.objects.select_related("receipt", "material")
    lines = lines.prefetch_related(Prefetch("shares", InvoiceShare.objects.select_related("place")))
    found = SupplierInvoice.objects.select_related("supplier", "by", "entry", "undone_by")
    bill = found.prefetch_related("charges", Prefetch("lines", lines)).filter(uuid=id).first()
    if bill is None:
        raise NotFound("There is no bill of that id.")
    return bill


def _show_difference(line: InvoiceLine) -> dict[str, Any]:
    """A billed line with what is in question: more than came, and another price than was booked."""
    return {"line": line, "over": line.quantity - line.matched_quantity, "shares": list(line.shares.all())}
