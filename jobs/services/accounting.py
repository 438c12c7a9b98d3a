"""What accounting asks of work: which jobs are over."""

from datetime import datetime
from uuid import UUID

from django.db import transaction
from django.db.models import QuerySet

from inventory.models import Actor, Entry, InvoiceLine, Place, SupplierInvoice
from inventory.services.accounting.bills import Bill
from inventory.services.accounting.invoices import record_invoice, undo_invoice
from inventory.services.corrections import reverse
from jobs.models import Job

# Jobs whose cost is stated for good: what becomes known later is shown on them, not booked to them.
OVER_STATES = (Job.State.CLOSED,)


def take_bill(*, id: UUID, by: Actor, occurred_at: datetime, bill: Bill) -> SupplierInvoice:
    """Record a supplier's or carrier's bill; what closed jobs used of the goods goes to price variance."""
    return record_invoice(
        id=id, by=by, occurred_at=occurred_at, bill=bill, closed_places=_list_closed_places()
    )


def rehearse_bill(*, id: UUID, by: Actor, occurred_at: datetime, bill: Bill) -> list[InvoiceLine]:
    """What a bill would come to, line by line with where each difference would go; nothing of it is kept."""
    with transaction.atomic():
        invoice = take_bill(id=id, by=by, occurred_at=occurred_at, bill=bill)
        lines = invoice.lines.select_related("receipt", "material").prefetch_related("shares__place")
        found = list(lines.order_by("position"))
        transaction.set_rollback(True)
    return found


def undo_bill(*, invoice: SupplierInvoice, by: Actor, occurred_at: datetime, reason: str) -> SupplierInvoice:
    """Take a bill back; what it had put on jobs that are closed by now stays there, as price variance."""
    return undo_invoice(
        invoice=invoice,
        by=by,
        occurred_at=occurred_at,
        reason=reason,
        closed_places=_list_closed_places(),
    )


def undo_entry(*, id: UUID, by: Actor, entry: Entry, reason: str) -> Entry:
    """Undo an entry of the book; where it is a bill's difference, closed jobs stay as they are."""
    return reverse(id=id, by=by, entry=entry, reason=reason, closed_places=_list_closed_places())


def _list_closed_places() -> QuerySet[Place]:
    over = Job.objects.filter(state__in=OVER_STATES)
    return (
        Place.objects.filter(job__in=over)
        | Place.objects.filter(run__job__in=over)
        | Place.objects.filter(span__job__in=over)
    )
