"""What was ordered from a supplier, and what came of it."""

from django.db import models
from django.db.models import F, Q

from inventory.models.actor import Actor
from inventory.models.container import Container
from inventory.models.entry import Entry
from inventory.models.material import Material
from inventory.models.party import Party
from inventory.models.place import Place


class Order(models.Model):
    """An order to one supplier for delivery at one of our places.

    Its state is what its dates and receipts say, kept so that lists can ask for it; the services that send,
    receive, call off or undo write it anew. An order is never deleted: it is called off.
    """

    class State(models.TextChoices):
        WRITTEN = "written", "written"
        SENT = "sent", "sent"
        PART_IN = "part_in", "part in"
        ALL_IN = "all_in", "all in"
        CALLED_OFF = "called_off", "called off"

    # States in which goods are still awaited.
    AWAITED = (State.SENT, State.PART_IN)

    uuid = models.UUIDField(unique=True)
    reference = models.CharField(max_length=40, unique=True)
    supplier = models.ForeignKey(Party, on_delete=models.PROTECT, related_name="orders")
    place = models.ForeignKey(Place, on_delete=models.PROTECT, related_name="orders")
    state = models.CharField(max_length=12, choices=State.choices, default=State.WRITTEN)
    written_at = models.DateTimeField()
    written_by = models.ForeignKey(Actor, on_delete=models.PROTECT, related_name="+")
    sent_at = models.DateTimeField(null=True)
    sent_by = models.ForeignKey(Actor, on_delete=models.PROTECT, null=True, related_name="+")
    called_off_at = models.DateTimeField(null=True)
    called_off_by = models.ForeignKey(Actor, on_delete=models.PROTECT, null=True, related_name="+")
    # The day for which the supplier has confirmed it; without one the lead time is what is known.
    promised_date = models.DateField(null=True)
    # What the supplier asks for the order as a whole, in millionths of the currency.
    order_cost = models.BigIntegerField(default=0)
    note = models.CharField(max_length=500, blank=True)
    # Hash of what the client asked for, normalised: tells a retry from another request under the same id.
    fingerprint = models.CharField(max_length=64)
    # Counts changes, so that who changes an old copy is told.
    version = models.PositiveIntegerField(default=1)

    class Meta:
        ordering = ["pk"]
        constraints = [
            models.CheckConstraint(condition=Q(order_cost__gte=0), name="cost_of_an_order_is_not_negative"),
            models.CheckConstraint(
                condition=~Q(state__in=["sent", "part_in", "all_in"]) | Q(sent_at__isnull=False),
                name="what_comes_in_was_sent_for",
            ),
        ]
        indexes = [models.Index(fields=["place", "state"], name="order_by_place_and_state")]

    def __str__(self) -> str:
        return self.reference


class OrderLine(models.Model):
    """So much of a material at a price: millionths of the stock unit, of the currency per stock unit.

    How much of it came is not kept here but in the lines received, so that an undone receipt counts no more.
    `called_off_quantity` is what is not awaited any longer.
    """

    order = models.ForeignKey(Order, on_delete=models.PROTECT, related_name="lines")
    position = models.PositiveIntegerField()
    material = models.ForeignKey(Material, on_delete=models.PROTECT, related_name="order_lines")
    quantity = models.BigIntegerField()
    unit_cost = models.BigIntegerField()
    called_off_quantity = models.BigIntegerField(default=0)
    entered_value = models.CharField(max_length=40, blank=True)
    entered_unit = models.CharField(max_length=10, blank=True)
    why = models.CharField(max_length=500, blank=True)

    class Meta:
        ordering = ["order", "position"]
        constraints = [
            models.UniqueConstraint(fields=["order", "position"], name="lines_of_an_order_differ"),
            models.CheckConstraint(
                condition=Q(quantity__gt=0, unit_cost__gte=0), name="ordered_is_more_than_nothing"
            ),
            models.CheckConstraint(
                condition=Q(called_off_quantity__gte=0, called_off_quantity__lte=F("quantity")),
                name="called_off_is_part_of_what_was_ordered",
            ),
        ]

    def __str__(self) -> str:
        return f"{self.order_id}/{self.position}"


class Receipt(models.Model):
    """What one delivery brought, as it was found on unloading: not what was ordered.

    The goods are moved by its entry, whose id follows from this one's. Undoing that entry undoes the
    receipt; the row stays, as the entry does.
    """

    uuid = models.UUIDField(unique=True)
    supplier = models.ForeignKey(Party, on_delete=models.PROTECT, related_name="receipts")
    place = models.ForeignKey(Place, on_delete=models.PROTECT, related_name="receipts")
    entry = models.OneToOneField(Entry, on_delete=models.PROTECT, related_name="receipt")
    occurred_at = models.DateTimeField()
    by = models.ForeignKey(Actor, on_delete=models.PROTECT, related_name="+")
    delivery_note = models.CharField(max_length=120, blank=True)
    note = models.CharField(max_length=500, blank=True)
    fingerprint = models.CharField(max_length=64)

    class Meta:
        ordering = ["pk"]
        indexes = [models.Index(fields=["place", "occurred_at"], name="receipt_by_place")]

    def __str__(self) -> str:
        return self.delivery_note or str(self.uuid)


class ReceivedLine(models.Model):
    """One lot of goods that came: as the material it is, with what was found about it.

    Only a sound line counts towards its order line. All others are held back in quarantine, without value,
    until an outcome says what becomes of them; meanwhile the order line stays open. `unit_cost` is the price
    at which a sound line went into stock.
    """

    class Finding(models.TextChoices):
        SOUND = "sound", "as ordered"
        OVER = "over", "more than ordered"
        SHORT = "short", "a piece shorter or emptier than it should be"
        WRONG = "wrong", "another material or size"
        DAMAGED = "damaged", "damaged"
        UNORDERED = "unordered", "no order found for it"

    receipt = models.ForeignKey(Receipt, on_delete=models.PROTECT, related_name="lines")
    position = models.PositiveIntegerField()
    order_line = models.ForeignKey(OrderLine, on_delete=models.PROTECT, null=True, related_name="received")
    material = models.ForeignKey(Material, on_delete=models.PROTECT, related_name="+")
    quantity = models.BigIntegerField()
    unit_cost = models.BigIntegerField(default=0)
    finding = models.CharField(max_length=12, choices=Finding.choices, default=Finding.SOUND)
    # Where it was put, and where it goes if it is kept after all.
    place = models.ForeignKey(Place, on_delete=models.PROTECT, related_name="+")
    wanted_place = models.ForeignKey(Place, on_delete=models.PROTECT, related_name="+")
    container = models.ForeignKey(Container, on_delete=models.PROTECT, null=True, related_name="+")
    lot = models.ForeignKey(Container, on_delete=models.PROTECT, null=True, related_name="+")
    entered_value = models.CharField(max_length=40, blank=True)
    entered_unit = models.CharField(max_length=10, blank=True)
    note = models.CharField(max_length=500, blank=True)

    class Meta:
        ordering = ["receipt", "position"]
        constraints = [
            models.UniqueConstraint(fields=["receipt", "position"], name="lines_of_a_receipt_differ"),
            models.CheckConstraint(condition=Q(quantity__gt=0), name="received_is_more_than_nothing"),
            models.CheckConstraint(
                condition=~Q(finding="sound") | Q(order_line__isnull=False), name="sound_goods_were_ordered"
            ),
        ]

    def __str__(self) -> str:
        return f"{self.receipt_id}/{self.position}"


class HeldOutcome(models.Model):
    """What became of goods held back on receipt, or of a part of them.

    Kept and matched goods went into stock at an agreed price and may count towards an order line; refused
    ones went back with the carrier; those sent back are to be credited.
    """

    class Outcome(models.TextChoices):
        MATCHED = "matched", "found to be ordered"
        KEPT = "kept", "kept at an agreed price"
        REFUSED = "refused", "refused"
        SENT_BACK = "sent_back", "sent back"

    uuid = models.UUIDField(unique=True)
    received_line = models.ForeignKey(ReceivedLine, on_delete=models.PROTECT, related_name="outcomes")
    outcome = models.CharField(max_length=12, choices=Outcome.choices)
    quantity = models.BigIntegerField()
    unit_cost = models.BigIntegerField(null=True)
    # The order line that it serves after all; none where the order stays open for the right goods.
    order_line = models.ForeignKey(OrderLine, on_delete=models.PROTECT, null=True, related_name="outcomes")
    expected_credit = models.BigIntegerField(null=True)
    entry = models.OneToOneField(Entry, on_delete=models.PROTECT, related_name="held_outcome")
    occurred_at = models.DateTimeField()
    by = models.ForeignKey(Actor, on_delete=models.PROTECT, related_name="+")
    note = models.CharField(max_length=500, blank=True)
    fingerprint = models.CharField(max_length=64)

    class Meta:
        ordering = ["pk"]
        constraints = [
            models.CheckConstraint(condition=Q(quantity__gt=0), name="outcome_is_about_something"),
            models.CheckConstraint(
                condition=Q(outcome__in=["kept", "matched"], unit_cost__gte=0)
                | Q(outcome__in=["refused", "sent_back"], unit_cost__isnull=True, order_line__isnull=True),
                name="kept_goods_have_a_price_and_others_serve_no_order",
            ),
            models.CheckConstraint(
                condition=Q(outcome="sent_back", expected_credit__gte=0) | Q(expected_credit__isnull=True),
                name="goods_sent_back_may_be_credited",
            ),
        ]

    def __str__(self) -> str:
        return f"{self.received_line_id} {self.outcome}"


class SupplierCredit(models.Model):
    """What a supplier has credited for goods that were sent back, which closes the claim.

    Money owed and not goods: goods held back have no value, so the ledger knows nothing of it. What was
    credited may be less than was expected; once credited nothing more is awaited.
    """

    uuid = models.UUIDField(unique=True)
    outcome = models.OneToOneField(HeldOutcome, on_delete=models.PROTECT, related_name="credit")
    amount = models.BigIntegerField()
    document = models.CharField(max_length=120, blank=True)
    occurred_at = models.DateTimeField()
    by = models.ForeignKey(Actor, on_delete=models.PROTECT, related_name="+")
    fingerprint = models.CharField(max_length=64)

    class Meta:
        constraints = [models.CheckConstraint(condition=Q(amount__gte=0), name="credit_is_not_negative")]

    def __str__(self) -> str:
        return self.document or str(self.uuid)
