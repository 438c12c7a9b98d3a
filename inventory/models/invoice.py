"""What suppliers billed, against what came."""

from django.db import models
from django.db.models import Q

from inventory.models.actor import Actor
from inventory.models.entry import Entry
from inventory.models.material import Material
from inventory.models.party import Party
from inventory.models.place import Place


class SupplierInvoice(models.Model):
    """One bill of a supplier. What it changes about cost is its entry, whose id follows from this one's.

    Amounts are kept in millionths of the company's currency; `rate` says how many of those one unit of the
    bill's own currency was worth. A bill that was wrong is undone and its number is free again; the row
    stays, since the accruals of the days between stand on it.
    """

    uuid = models.UUIDField(unique=True)
    supplier = models.ForeignKey(Party, on_delete=models.PROTECT, related_name="invoices")
    number = models.CharField(max_length=80)
    invoice_date = models.DateField()
    currency = models.CharField(max_length=3)
    rate = models.CharField(max_length=40, default="1")
    recorded_at = models.DateTimeField()
    # The day from which it counts: that of its entry, or the one an entry would have had.
    booked_date = models.DateField()
    by = models.ForeignKey(Actor, on_delete=models.PROTECT, related_name="+")
    # None where the bill is what the receipts were booked at.
    entry = models.OneToOneField(Entry, on_delete=models.PROTECT, null=True, related_name="invoice")
    fingerprint = models.CharField(max_length=64)
    undone_at = models.DateTimeField(null=True)
    undone_by = models.ForeignKey(Actor, on_delete=models.PROTECT, null=True, related_name="+")
    # The day from which it counts no more.
    undone_date = models.DateField(null=True)
    undone_reason = models.CharField(max_length=500, blank=True)

    class Meta:
        ordering = ["pk"]
        constraints = [
            models.UniqueConstraint(
                fields=["supplier", "number"],
                condition=Q(undone_at__isnull=True),
                name="a_supplier_uses_a_bill_number_once",
            ),
            models.CheckConstraint(
                condition=Q(undone_at__isnull=True, undone_by__isnull=True, undone_date__isnull=True)
                | Q(undone_at__isnull=False, undone_by__isnull=False, undone_date__isnull=False),
                name="an_undone_bill_has_a_person_and_a_day",
            ),
        ]

    def __str__(self) -> str:
        return self.number


class InvoiceLine(models.Model):
    """What was billed for one material of one receipt.

    `matched_quantity` is what of the billed quantity had come and was not billed before: only that changes
    cost. The rest is in question with the supplier. `landed` is the price with its share of the bill's
    freight, duty and the like.

    A line that is not for goods carries a later freight or duty alone: it has no price, matches nothing, so
    that the receipt still waits for its own bill, and all of it is a difference.
    """

    invoice = models.ForeignKey(SupplierInvoice, on_delete=models.PROTECT, related_name="lines")
    position = models.PositiveIntegerField()
    receipt = models.ForeignKey(Entry, on_delete=models.PROTECT, related_name="invoice_lines")
    material = models.ForeignKey(Material, on_delete=models.PROTECT, related_name="+")
    is_for_goods = models.BooleanField(default=True)
    quantity = models.BigIntegerField()
    matched_quantity = models.BigIntegerField()
    price = models.BigIntegerField()
    landed = models.BigIntegerField()
    # What the receipt had booked for the matched quantity, and what is to be booked beyond that.
    booked = models.BigIntegerField()
    difference = models.BigIntegerField()

    class Meta:
        ordering = ["invoice", "position"]
        constraints = [
            models.UniqueConstraint(fields=["invoice", "position"], name="lines_of_an_invoice_differ"),
            models.CheckConstraint(
                condition=Q(quantity__gt=0, matched_quantity__gte=0, price__gte=0),
                name="billed_is_more_than_nothing",
            ),
            models.CheckConstraint(
                condition=Q(is_for_goods=True) | Q(matched_quantity=0, price=0, booked=0),
                name="freight_alone_bills_no_goods",
            ),
        ]

    def __str__(self) -> str:
        return f"{self.invoice_id}/{self.position}"


class InvoiceCharge(models.Model):
    """Freight, duty or the like on a bill, shared by value, weight or count.

    Over the lines of its own bill; or, where receipts are named, over what these brought, whoever billed
    that.
    """

    class ShareBy(models.TextChoices):
        VALUE = "value", "value"
        WEIGHT = "weight", "weight"
        COUNT = "count", "count"

    invoice = models.ForeignKey(SupplierInvoice, on_delete=models.PROTECT, related_name="charges")
    name = models.CharField(max_length=80)
    amount = models.BigIntegerField()
    share_by = models.CharField(max_length=6, choices=ShareBy.choices)
    receipts = models.ManyToManyField(Entry, related_name="+")

    class Meta:
        ordering = ["pk"]
        constraints = [
            models.CheckConstraint(condition=Q(amount__gt=0), name="a_charge_is_more_than_nothing")
        ]

    def __str__(self) -> str:
        return f"{self.invoice_id} {self.name}"


class InvoiceShare(models.Model):
    """Where a difference went: the place that has the goods, and whether the book has it there.

    What was used for a job that is closed, or in a period that is, goes to price variance; its place is
    kept, so that the job can be shown as it is known now. When the bill is undone it is booked there no
    more, but where the job or the period has been closed since: then it stays, and is known to be wrong.
    """

    line = models.ForeignKey(InvoiceLine, on_delete=models.PROTECT, related_name="shares")
    place = models.ForeignKey(Place, on_delete=models.PROTECT, null=True, related_name="+")
    quantity = models.BigIntegerField()
    value = models.BigIntegerField()
    is_booked_there = models.BooleanField()

    class Meta:
        ordering = ["pk"]
        indexes = [models.Index(fields=["place"], name="invoice_share_by_place")]

    def __str__(self) -> str:
        return f"{self.line_id} {self.place_id}"
