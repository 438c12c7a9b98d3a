"""The book: entries, their movements, and the facts about containers and counts stated with them.

All four tables are immutable: triggers refuse UPDATE, DELETE and TRUNCATE. A mistake is put right by a
reversing entry. That is also why their columns were chosen before the first migration.
"""

from django.db import models
from django.db.models import F, Q

from inventory.models.actor import Actor
from inventory.models.container import Container
from inventory.models.material import Material
from inventory.models.party import Party
from inventory.models.place import Place


class Entry(models.Model):
    """One event, whole or not at all.

    `key` is given while all locks of the entry are held: among entries that share a holding, the order of
    keys is the order of commits. `uuid` is the client's and makes a retry harmless.
    """

    class Kind(models.TextChoices):
        RECEIPT = "receipt", "receipt"
        DRAW = "draw", "draw"
        RETURN = "return", "return"
        TRANSFER = "transfer", "transfer"
        REPORT = "report", "report"
        COUNT = "count", "count"
        CONVERSION = "conversion", "conversion"
        REVALUATION = "revaluation", "revaluation"
        DISPOSAL = "disposal", "disposal"

    key = models.BigAutoField(primary_key=True)
    uuid = models.UUIDField(unique=True)
    kind = models.CharField(max_length=12, choices=Kind.choices)
    occurred_at = models.DateTimeField()
    recorded_at = models.DateTimeField()
    # The day of the company's calendar on which the accounts see it.
    booked_date = models.DateField(db_index=True)
    actor = models.ForeignKey(Actor, on_delete=models.PROTECT, related_name="entries")
    reason = models.CharField(max_length=500, blank=True)
    document = models.CharField(max_length=200, blank=True)
    reverses = models.OneToOneField("self", on_delete=models.PROTECT, null=True, related_name="reversed_by")
    # Hash of what the client asked for, normalised: tells a retry from another request under the same id.
    fingerprint = models.CharField(max_length=64)

    class Meta:
        verbose_name_plural = "entries"

    def __str__(self) -> str:
        return f"{self.kind} {self.uuid}"


class Movement(models.Model):
    """Goods or value going from one end to another; it balances by construction.

    Quantity without value is goods of others; value without quantity is a revaluation. `lot` is the cost
    layer that travels with the goods (none for weighted average). `effective_at` differs from the entry's
    moment only where a late entry takes its goods out of a later count's difference: then it is the
    moment of that count.
    """

    class Purpose(models.TextChoices):
        RECEIVED = "received", "received"
        MOVED = "moved", "moved"
        USED = "used", "used"
        INSTALLED = "installed", "installed"
        LOST = "lost", "lost"
        WORN = "worn", "worn"
        RETURNED = "returned", "returned"
        RECOVERED = "recovered", "recovered"
        POURED = "poured", "poured"
        CONVERTED = "converted", "converted"
        COUNTED = "counted", "count difference"
        COUNT_SETTLED = "count_settled", "taken out of a count's difference"
        BOOK_SHORT = "book_short", "book short"
        FOUND_HERE = "found_here", "found here"
        DISPOSED = "disposed", "disposed"
        REVALUED = "revalued", "revalued"
        PRICE_VARIANCE = "price_variance", "price variance"

    class Cause(models.TextChoices):
        SPILL = "spill", "spill"
        DAMAGE_BY_OTHERS = "damage_by_others", "damage by others"
        LEAK = "leak", "leak"
        THEFT = "theft", "theft"
        CONTAMINATION = "contamination", "contamination"
        LEFT_IN_PLANT = "left_in_plant", "left in plant"
        UNKNOWN = "unknown", "unknown"

    entry = models.ForeignKey(Entry, on_delete=models.PROTECT, related_name="movements")
    line = models.PositiveIntegerField()
    # The indexes below lead with these columns, so none gets one of its own: each costs every posting.
    material = models.ForeignKey(Material, on_delete=models.PROTECT, related_name="+", db_index=False)
    owner = models.ForeignKey(Party, on_delete=models.PROTECT, related_name="+", db_index=False)
    source_place = models.ForeignKey(Place, on_delete=models.PROTECT, related_name="+", db_index=False)
    source_container = models.ForeignKey(
        Container, on_delete=models.PROTECT, null=True, related_name="+", db_index=False
    )
    target_place = models.ForeignKey(Place, on_delete=models.PROTECT, related_name="+", db_index=False)
    target_container = models.ForeignKey(
        Container, on_delete=models.PROTECT, null=True, related_name="+", db_index=False
    )
    lot = models.ForeignKey(Container, on_delete=models.PROTECT, null=True, related_name="+", db_index=False)
    quantity = models.BigIntegerField()
    value = models.BigIntegerField()
    purpose = models.CharField(max_length=16, choices=Purpose.choices)
    cause = models.CharField(max_length=20, choices=Cause.choices, blank=True)
    effective_at = models.DateTimeField()
    entered_value = models.CharField(max_length=40, blank=True)
    entered_unit = models.CharField(max_length=10, blank=True)

    class Meta:
        constraints = [
            models.UniqueConstraint(fields=["entry", "line"], name="lines_of_an_entry_differ"),
            models.CheckConstraint(condition=Q(quantity__gte=0), name="movement_quantity_is_not_negative"),
            models.CheckConstraint(condition=Q(value__gte=0), name="movement_value_is_not_negative"),
            models.CheckConstraint(
                condition=Q(quantity__gt=0) | Q(value__gt=0), name="movement_moves_something"
            ),
            models.CheckConstraint(
                condition=~Q(
                    source_place=F("target_place"),
                    source_container__isnull=True,
                    target_container__isnull=True,
                ),
                name="movement_has_two_ends",
            ),
            models.CheckConstraint(
                condition=~Q(source_place=F("target_place"), source_container=F("target_container")),
                name="movement_has_two_containers_within_a_place",
            ),
        ]
        indexes = [
            models.Index(fields=["source_place", "material", "effective_at"], name="movement_by_source"),
            models.Index(fields=["target_place", "material", "effective_at"], name="movement_by_target"),
            models.Index(
                fields=["source_container", "effective_at"],
                condition=Q(source_container__isnull=False),
                name="movement_by_source_container",
            ),
            models.Index(
                fields=["target_container", "effective_at"],
                condition=Q(target_container__isnull=False),
                name="movement_by_target_container",
            ),
        ]

    def __str__(self) -> str:
        return f"{self.entry_id}/{self.line}"


class ContainerChange(models.Model):
    """What an entry changed about a container: where it stands, its state, its contents' state.

    Kept apart from movements because an empty drum moves too, and moves nothing.
    """

    entry = models.ForeignKey(Entry, on_delete=models.PROTECT, related_name="container_changes")
    container = models.ForeignKey(Container, on_delete=models.PROTECT, related_name="changes")
    source_place = models.ForeignKey(Place, on_delete=models.PROTECT, null=True, related_name="+")
    target_place = models.ForeignKey(Place, on_delete=models.PROTECT, null=True, related_name="+")
    state_before = models.CharField(max_length=8)
    state_after = models.CharField(max_length=8)
    contents_state_before = models.CharField(max_length=8)
    contents_state_after = models.CharField(max_length=8)

    class Meta:
        constraints = [
            models.UniqueConstraint(fields=["entry", "container"], name="entry_changes_a_container_once")
        ]

    def __str__(self) -> str:
        return f"{self.entry_id} {self.container_id}"


class CountReading(models.Model):
    """What a count found in one holding at a moment, beside what the book said of that moment.

    Written also where nothing differed, since "counted and right" is a fact, and because a later entry
    about an earlier moment must know that the holding was counted.
    """

    entry = models.ForeignKey(Entry, on_delete=models.PROTECT, related_name="readings")
    place = models.ForeignKey(Place, on_delete=models.PROTECT, related_name="+")
    material = models.ForeignKey(Material, on_delete=models.PROTECT, related_name="+", db_index=False)
    owner = models.ForeignKey(Party, on_delete=models.PROTECT, related_name="+", db_index=False)
    container = models.ForeignKey(Container, on_delete=models.PROTECT, null=True, related_name="+")
    counted_at = models.DateTimeField()
    counted_quantity = models.BigIntegerField()
    book_quantity = models.BigIntegerField()
    entered_value = models.CharField(max_length=40, blank=True)
    entered_unit = models.CharField(max_length=10, blank=True)

    class Meta:
        constraints = [
            models.CheckConstraint(
                condition=Q(counted_quantity__gte=0), name="counted_quantity_is_not_negative"
            )
        ]
        indexes = [
            models.Index(fields=["place", "material", "owner", "counted_at"], name="reading_by_holding")
        ]

    def __str__(self) -> str:
        return f"{self.entry_id} {self.place_id} {self.material_id}"
