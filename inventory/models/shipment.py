"""Goods on their way from one of our warehouses to another."""

from django.db import models
from django.db.models import Q

from inventory.models.actor import Actor
from inventory.models.container import Container
from inventory.models.entry import Entry, Movement
from inventory.models.material import Material
from inventory.models.party import Party
from inventory.models.place import Place


class Shipment(models.Model):
    """What left one place for another and lies in a transit place of its own until it arrives.

    The place is the shipment's alone, so what is left in it after the arrival is the difference.
    """

    class State(models.TextChoices):
        ON_THE_WAY = "on_the_way", "on the way"
        PART_IN = "part_in", "part in"
        DIFFERS = "differs", "in, with a difference"
        SETTLED = "settled", "settled"

    OPEN = (State.ON_THE_WAY, State.PART_IN)

    uuid = models.UUIDField(unique=True)
    reference = models.CharField(max_length=40, unique=True)
    source = models.ForeignKey(Place, on_delete=models.PROTECT, related_name="shipments_sent")
    target = models.ForeignKey(Place, on_delete=models.PROTECT, related_name="shipments_awaited")
    transit = models.OneToOneField(Place, on_delete=models.PROTECT, related_name="shipment")
    state = models.CharField(max_length=12, choices=State.choices, default=State.ON_THE_WAY)
    sent_at = models.DateTimeField()
    sent_by = models.ForeignKey(Actor, on_delete=models.PROTECT, related_name="+")
    expected_date = models.DateField(null=True)
    entry = models.OneToOneField(Entry, on_delete=models.PROTECT, related_name="shipment")
    note = models.CharField(max_length=500, blank=True)
    fingerprint = models.CharField(max_length=64)

    class Meta:
        ordering = ["pk"]
        indexes = [models.Index(fields=["target", "state"], name="shipment_by_target_and_state")]

    def __str__(self) -> str:
        return self.reference


class ShipmentLine(models.Model):
    """So much of a material sent, loose or in a container that goes along. Millionths of the stock unit."""

    shipment = models.ForeignKey(Shipment, on_delete=models.PROTECT, related_name="lines")
    position = models.PositiveIntegerField()
    material = models.ForeignKey(Material, on_delete=models.PROTECT, null=True, related_name="+")
    owner = models.ForeignKey(Party, on_delete=models.PROTECT, related_name="+")
    # A container without material went along empty.
    container = models.ForeignKey(Container, on_delete=models.PROTECT, null=True, related_name="+")
    quantity = models.BigIntegerField()

    class Meta:
        ordering = ["shipment", "position"]
        constraints = [
            models.UniqueConstraint(fields=["shipment", "position"], name="lines_of_a_shipment_differ"),
            models.CheckConstraint(
                condition=Q(quantity__gt=0, material__isnull=False)
                | Q(quantity=0, material__isnull=True, container__isnull=False),
                name="sent_is_goods_or_an_empty_container",
            ),
        ]

    def __str__(self) -> str:
        return f"{self.shipment_id}/{self.position}"


class ShipmentArrival(models.Model):
    """What of a shipment was unloaded at one moment; a shipment may come in several."""

    uuid = models.UUIDField(unique=True)
    shipment = models.ForeignKey(Shipment, on_delete=models.PROTECT, related_name="arrivals")
    entry = models.OneToOneField(Entry, on_delete=models.PROTECT, null=True, related_name="arrival")
    occurred_at = models.DateTimeField()
    by = models.ForeignKey(Actor, on_delete=models.PROTECT, related_name="+")
    # Nothing more of the shipment is awaited after this.
    is_last = models.BooleanField()
    note = models.CharField(max_length=500, blank=True)
    fingerprint = models.CharField(max_length=64)

    class Meta:
        ordering = ["pk"]

    def __str__(self) -> str:
        return str(self.uuid)


class ArrivedLine(models.Model):
    """How much of a line was unloaded; more than was sent is possible, nothing is possible."""

    arrival = models.ForeignKey(ShipmentArrival, on_delete=models.PROTECT, related_name="lines")
    line = models.ForeignKey(ShipmentLine, on_delete=models.PROTECT, related_name="arrived")
    quantity = models.BigIntegerField()
    entered_value = models.CharField(max_length=40, blank=True)
    entered_unit = models.CharField(max_length=10, blank=True)

    class Meta:
        constraints = [
            models.UniqueConstraint(fields=["arrival", "line"], name="an_arrival_tells_of_a_line_once"),
            models.CheckConstraint(condition=Q(quantity__gte=0), name="arrived_is_not_negative"),
        ]

    def __str__(self) -> str:
        return f"{self.arrival_id} {self.line_id}"


class ShipmentDifference(models.Model):
    """Why a line did not arrive as it was sent: negative where goods are missing, positive where more came.

    Several may explain one line between them.
    """

    class Reason(models.TextChoices):
        MISCOUNTED = "miscounted", "counted wrongly on loading"
        LEFT_BEHIND = "left_behind", "left behind at the source"
        LOST = "lost", "lost on the way"
        DAMAGED = "damaged", "damaged on the way"

    uuid = models.UUIDField(unique=True)
    line = models.ForeignKey(ShipmentLine, on_delete=models.PROTECT, related_name="differences")
    quantity = models.BigIntegerField()
    reason = models.CharField(max_length=12, choices=Reason.choices)
    cause = models.CharField(max_length=20, choices=Movement.Cause.choices, blank=True)
    entry = models.OneToOneField(
        Entry, on_delete=models.PROTECT, null=True, related_name="shipment_difference"
    )
    occurred_at = models.DateTimeField()
    by = models.ForeignKey(Actor, on_delete=models.PROTECT, related_name="+")
    note = models.CharField(max_length=500, blank=True)
    fingerprint = models.CharField(max_length=64)

    class Meta:
        ordering = ["pk"]
        constraints = [models.CheckConstraint(condition=~Q(quantity=0), name="difference_is_about_something")]

    def __str__(self) -> str:
        return f"{self.line_id} {self.reason}"
