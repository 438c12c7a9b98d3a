"""Suppliers' bills, and receipts that none covers."""

from typing import Any

from django.db.models import Prefetch, Q, QuerySet
from django.utils.timezone import now
from drf_spectacular.utils import OpenApiParameter, OpenApiResponse, extend_schema
from rest_framework.request import Request
from rest_framework.response import Response

from api.rest.accounting import DAY, AccountsDoor
from api.rest.listing import ListDoor, list_parameters
from api.wire import accounting_answers as answers
from api.wire import accounting_requests as requests
from api.wire.filters import Filter, by_day
from api.wire.input_fields import read_uuid
from api.wire.pages import Order
from api.wire.schemas import listing, of, page_of, shape
from inventory.errors import NotFound
from inventory.models import InvoiceLine, InvoiceShare, SupplierInvoice
from inventory.queries.access import require_may_account
from inventory.queries.receipt_costs import list_unbilled
from jobs.services.accounting import take_bill, undo_bill

BY_PK = Order("pk", is_number=True)
INVOICE_FILTERS: dict[str, Filter] = {
    "from": by_day("first day of the bills", lambda day: Q(invoice_date__gte=day)),
    "until": by_day("last day of the bills", lambda day: Q(invoice_date__lte=day)),
}


def _list_bills() -> QuerySet[SupplierInvoice]:
    lines = InvoiceLine.objects.select_related("receipt", "material").prefetch_related(
        Prefetch("shares", InvoiceShare.objects.select_related("place"))
    )
    found = SupplierInvoice.objects.select_related("supplier", "by", "entry", "undone_by")
    return found.prefetch_related("charges__receipts", Prefetch("lines", lines))


class Invoices(AccountsDoor, ListDoor):
    """Suppliers' bills."""

    order = BY_PK
    filters = INVOICE_FILTERS

    def rows(self) -> QuerySet[Any]:
        return _list_bills()

    def write(self, rows: list[Any]) -> list[dict[str, Any]]:
        return [answers.invoice_json(row, self.currency) for row in rows]

    @extend_schema(
        operation_id="list_invoices",
        parameters=list_parameters(BY_PK, INVOICE_FILTERS),
        responses={200: OpenApiResponse(page_of("Invoice"))},
    )
    def get(self, request: Request) -> Response:
        """List bills with what they changed."""
        return super().get(request)

    @extend_schema(
        operation_id="record_invoice",
        request={"application/json": of("InvoiceRequest")},
        responses={201: OpenApiResponse(of("Invoice"))},
    )
    def post(self, request: Request) -> Response:
        """Record a bill; its difference from the receipts follows the goods. It may be sent again."""
        values = requests.read_request(request.data, requests.INVOICE, now=now())
        require_may_account(self.viewer)
        bill = requests.make_bill(values, self.viewer)
        invoice = take_bill(id=values["id"], by=self.actor, occurred_at=values["occurred_at"], bill=bill)
        return Response(answers.invoice_json(self.rows().get(pk=invoice.pk), self.currency), status=201)


class InvoiceUndoing(AccountsDoor):
    """A bill that was wrong."""

    @extend_schema(
        operation_id="undo_invoice",
        request={"application/json": of("InvoiceUndoing")},
        responses={200: OpenApiResponse(of("Invoice"))},
    )
    def post(self, request: Request, id: str) -> Response:
        """Undo a bill: its difference goes back and its receipts wait for a bill. It may be sent again."""
        values = requests.read_request(request.data, requests.UNDOING)
        require_may_account(self.viewer)
        uuid = read_uuid(id)
        invoice = _list_bills().filter(uuid=uuid).first() if uuid is not None else None
        if invoice is None:
            raise NotFound("There is no bill of that id.")
        undo_bill(invoice=invoice, by=self.actor, occurred_at=now(), reason=values["reason"])
        return Response(answers.invoice_json(_list_bills().get(pk=invoice.pk), self.currency))


class Unbilled(AccountsDoor):
    """Receipts that no bill covers."""

    @extend_schema(
        operation_id="list_unbilled_receipts",
        parameters=[OpenApiParameter("until", DAY, required=True)],
        responses={200: OpenApiResponse(shape(results=listing(of("Unbilled"))))},
    )
    def get(self, request: Request) -> Response:
        """List what was received up to a day and was not billed by then: what was to be accrued."""
        rows = list_unbilled(until=self.day(request, "until"))
        return Response({"results": [answers.unbilled_json(row, self.currency) for row in rows]})
