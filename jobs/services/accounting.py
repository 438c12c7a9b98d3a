"""What accounting asks of work: which jobs are over."""

from datetime import datetime
from uuid import UUID

from inventory.models import Actor, Movement, Place, SupplierInvoice
from inventory.services.accounting.bills import Bill
from inventory.services.accounting.invoices import record_invoice
from jobs.models import Job

# Jobs whose cost is stated for good: what becomes known later is shown on them, not booked to them.
OVER_STATES = (Job.State.CLOSED,)


def take_bill(*, id: UUID, by: Actor, occurred_at: datetime, bill: Bill) -> SupplierInvoice:
    """Record a supplier's or carrier's bill; what closed jobs used of the goods goes to price variance."""
    over = Job.objects.filter(state__in=OVER_STATES)
    places = Place.objects.filter(job__in=over) | Place.objects.filter(run__job__in=over)
    places |= Place.objects.filter(span__job__in=over)
    concerned = places.filter(cost_pools__material__in=_list_materials(bill))
    return record_invoice(
        id=id,
        by=by,
        occurred_at=occurred_at,
        bill=bill,
        closed_places=frozenset(concerned.values_list("pk", flat=True)),
    )


def _list_materials(bill: Bill) -> set[int]:
    _on_lines, apart = bill.split_charges()
    receipts = {receipt.pk for _number, charge in apart for receipt in charge.receipts}
    carried = Movement.objects.filter(entry__in=receipts).values_list("material", flat=True)
    return {line.material.pk for line in bill.lines} | set(carried)
