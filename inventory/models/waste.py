"""What leaves as waste, and vessels that go back to whom they belong to for their deposit."""

from django.db import models
from django.db.models import Q

from inventory.models.actor import Actor
from inventory.models.container import Container
from inventory.models.entry import Entry
from inventory.models.party import Party


class WasteManifest(models.Model):
    """The paper under which waste was handed over, at the desk or in the field.

    Its goods are the movements of its entry and what field reports told of under its number. One that only
    reports told of has no entry of its own: theirs move the goods.
    """

    number = models.CharField(max_length=100, unique=True)
    receiver = models.CharField(max_length=200)
    entry = models.OneToOneField(Entry, on_delete=models.PROTECT, null=True, related_name="waste_manifest")
    handed_at = models.DateTimeField()
    by = models.ForeignKey(Actor, on_delete=models.PROTECT, related_name="+")

    class Meta:
        ordering = ["handed_at", "pk"]

    def __str__(self) -> str:
        return self.number


class WasteDrum(models.Model):
    """A vessel that gathers waste since its start date, to be handed over within so many days of it.

    How many days is the company's word per drum, since law differs by place and by waste. Where nobody set
    any, the list says "no limit approved" and never that there is time.
    """

    container = models.ForeignKey(Container, on_delete=models.PROTECT, related_name="waste_drums")
    started_date = models.DateField()
    day_limit = models.PositiveIntegerField(null=True)
    started_by = models.ForeignKey(Actor, on_delete=models.PROTECT, related_name="+")
    manifest = models.ForeignKey(
        WasteManifest, on_delete=models.PROTECT, null=True, related_name="waste_drums"
    )

    class Meta:
        ordering = ["started_date", "pk"]
        constraints = [
            models.UniqueConstraint(
                fields=["container"],
                condition=Q(manifest__isnull=True),
                name="a_vessel_gathers_waste_since_one_date",
            )
        ]

    def __str__(self) -> str:
        return f"{self.container_id} {self.started_date}"


class DepositTerms(models.Model):
    """What a supplier charges for a vessel of a kind until it is back, in millionths of the currency."""

    supplier = models.ForeignKey(Party, on_delete=models.PROTECT, related_name="deposit_terms")
    container_kind = models.CharField(max_length=12, choices=Container.Kind.choices)
    amount = models.BigIntegerField()

    class Meta:
        verbose_name_plural = "deposit terms"
        constraints = [
            models.UniqueConstraint(
                fields=["supplier", "container_kind"], name="a_supplier_asks_one_deposit_for_a_kind"
            ),
            models.CheckConstraint(condition=Q(amount__gt=0), name="deposit_asked_is_positive"),
        ]

    def __str__(self) -> str:
        return f"{self.supplier_id} {self.container_kind}"


class Deposit(models.Model):
    """Money paid for a vessel until it is back, in millionths of the currency.

    A claim on the supplier and no cost of goods, so it is kept apart from the ledger's value. What is not
    paid back is a cost; `refunded` may be less than `amount`, never more.
    """

    container = models.ForeignKey(Container, on_delete=models.PROTECT, related_name="deposits")
    supplier = models.ForeignKey(Party, on_delete=models.PROTECT, related_name="deposits")
    amount = models.BigIntegerField()
    paid_date = models.DateField()
    paid_document = models.CharField(max_length=200, blank=True)
    refunded = models.BigIntegerField(null=True)
    # The entry under which the vessel went back.
    return_entry = models.ForeignKey(
        Entry, on_delete=models.PROTECT, null=True, related_name="returned_deposits"
    )

    class Meta:
        ordering = ["paid_date", "pk"]
        constraints = [
            models.UniqueConstraint(
                fields=["container"],
                condition=Q(return_entry__isnull=True),
                name="one_deposit_is_open_for_a_vessel",
            ),
            models.CheckConstraint(condition=Q(amount__gt=0), name="deposit_is_positive"),
            models.CheckConstraint(
                condition=Q(return_entry__isnull=True, refunded__isnull=True)
                | Q(return_entry__isnull=False, refunded__gte=0, refunded__lte=models.F("amount")),
                name="at_most_the_deposit_comes_back_when_the_vessel_does",
            ),
        ]

    def __str__(self) -> str:
        return f"{self.container_id} {self.supplier_id}"
