"""What happens to a truck's goods between reports: handed over, bought at a counter, not reported at all."""

from django.db import models
from django.db.models import F, Q

from inventory.models import Actor, Place
from jobs.models.crew import CrewDay


class HandOver(models.Model):
    """Goods given from one truck to another. The book moves them at once, as the giver told it.

    It stands as unconfirmed until somebody of the receiving truck confirms or disputes it; a dispute moves
    nothing by itself, since only a count can say who is right. What was given are the movements of
    `entry_uuid`.
    """

    uuid = models.UUIDField(unique=True)
    source = models.ForeignKey(Place, on_delete=models.PROTECT, related_name="given_over")
    target = models.ForeignKey(Place, on_delete=models.PROTECT, related_name="taken_over")
    occurred_at = models.DateTimeField()
    recorded_at = models.DateTimeField()
    by = models.ForeignKey(Actor, on_delete=models.PROTECT, related_name="+")
    entry_uuid = models.UUIDField(unique=True)
    note = models.CharField(max_length=500, blank=True)
    answered_at = models.DateTimeField(null=True)
    answered_by = models.ForeignKey(Actor, on_delete=models.PROTECT, null=True, related_name="+")
    # None until the receiver answers.
    is_confirmed = models.BooleanField(null=True)
    answer_note = models.CharField(max_length=500, blank=True)

    class Meta:
        ordering = ["occurred_at", "pk"]
        constraints = [
            models.CheckConstraint(
                condition=~Q(source=F("target")), name="goods_are_handed_over_between_two_trucks"
            ),
            models.CheckConstraint(
                condition=Q(answered_at__isnull=True, answered_by__isnull=True, is_confirmed__isnull=True)
                | Q(answered_at__isnull=False, answered_by__isnull=False, is_confirmed__isnull=False),
                name="a_hand_over_is_answered_by_somebody",
            ),
        ]
        indexes = [
            models.Index(
                fields=["target"], condition=Q(is_confirmed__isnull=True), name="unconfirmed_hand_over"
            )
        ]

    def __str__(self) -> str:
        return str(self.uuid)


class CounterPurchase(models.Model):
    """Goods bought at a counter straight onto a truck, with the ticket that proves it.

    A ticket of a supplier is booked once. What was bought and paid are the movements of `entry_uuid`.
    """

    uuid = models.UUIDField(unique=True)
    crew_day = models.ForeignKey(CrewDay, on_delete=models.PROTECT, null=True, related_name="purchases")
    vehicle = models.ForeignKey(Place, on_delete=models.PROTECT, related_name="+")
    supplier = models.ForeignKey(Place, on_delete=models.PROTECT, related_name="+")
    ticket_number = models.CharField(max_length=100)
    occurred_at = models.DateTimeField()
    recorded_at = models.DateTimeField()
    by = models.ForeignKey(Actor, on_delete=models.PROTECT, related_name="+")
    entry_uuid = models.UUIDField(unique=True)
    note = models.CharField(max_length=500, blank=True)

    class Meta:
        ordering = ["occurred_at", "pk"]
        constraints = [
            models.CheckConstraint(condition=~Q(ticket_number=""), name="a_purchase_has_a_ticket"),
            models.UniqueConstraint(
                fields=["supplier", "ticket_number"], name="a_ticket_of_a_supplier_is_booked_once"
            ),
        ]

    def __str__(self) -> str:
        return self.ticket_number


class UnreportedDay(models.Model):
    """A crew-day whose kit was loaded and that nobody had reported at the cut-off.

    While it is open the stock of the truck is unconfirmed: what was used is on the truck only by the book.
    A report of the day or a count of the truck settles it.
    """

    class Settled(models.TextChoices):
        REPORT = "report", "reported since"
        COUNT = "count", "truck counted"

    crew_day = models.OneToOneField(CrewDay, on_delete=models.PROTECT, related_name="unreported")
    flagged_at = models.DateTimeField()
    settled_at = models.DateTimeField(null=True)
    settled_how = models.CharField(max_length=6, choices=Settled.choices, blank=True)

    class Meta:
        ordering = ["flagged_at", "pk"]
        constraints = [
            models.CheckConstraint(
                condition=Q(settled_at__isnull=True, settled_how="")
                | (Q(settled_at__isnull=False) & ~Q(settled_how="")),
                name="an_unreported_day_is_settled_somehow",
            )
        ]

    def __str__(self) -> str:
        return f"{self.crew_day_id}"
